"""The week on one sheet of paper, for the shed wall."""

from __future__ import annotations

from typing import Any

from planner.page.frame import Answers, clock, write
from planner.page.home import due, week
from planner.page.rows import cautions, days, place

_DAYS = 7


def sheet(answers: Answers) -> bytes:
    """Days across, jobs down: the windows, the warnings, and room to write."""
    now = clock(answers)
    cards = days(answers, now)[:_DAYS]
    dates = [card["date"] for card in cards]
    lines: dict[tuple[Any, ...], dict[str, Any]] = {}
    without: dict[str, list[str]] = {}
    for ribbon in sorted(answers["ribbons"]["ribbons"], key=lambda row: place(row["kind"])):
        mine = [
            row
            for row in sorted(answers["windows"]["windows"], key=lambda row: str(row["start"]))
            if (row["job"], row["surface"]) == (ribbon["job"], ribbon["surface"])
        ]
        cells = [[row for row in mine if now.at(row["start"]).date().isoformat() == day] for day in dates]
        if not any(cells):
            without.setdefault(ribbon["label"], []).append(ribbon["surface"])
            continue
        key = (ribbon["job"], *((row["start"], row["end"], row["state"]) for cell in cells for row in cell))
        lines.setdefault(key, {"label": ribbon["label"], "surfaces": [], "cells": cells})
        lines[key]["surfaces"].append(ribbon["surface"])
    return write(
        "sheet.html.j2",
        answers,
        days=cards,
        lines=list(lines.values()),
        in_order=_in_order(answers, dates),
        left=week(answers)["left"],
        without=[f"{label} ({', '.join(names)})" for label, names in without.items()],
        warnings=answers["warnings"]["warnings"],
        due=due(answers),
        cautions=cautions(row for row in answers["ribbons"]["ribbons"] if row["kind"] == "spraying")[:2],
    )


def _in_order(answers: Answers, dates: list[str]) -> list[list[dict[str, Any]]]:
    """For each day what the week places on it, in order of time; empty when it places nothing."""
    now, told = clock(answers), week(answers)
    rows = [row for row in (*told["work"], *told["planned"]) if now.at(row["end"]) > now.now]
    rows.sort(key=lambda row: now.at(row["start"]))
    by_day = [[row for row in rows if now.at(row["start"]).date().isoformat() == date] for date in dates]
    return by_day if any(by_day) else []
