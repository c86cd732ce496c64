"""The week on one sheet of paper, for the shed wall."""

from __future__ import annotations

from typing import Any

from planner.page.frame import Answers, clock, write
from planner.page.home import due
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
        without=[f"{label} ({', '.join(names)})" for label, names in without.items()],
        warnings=answers["warnings"]["warnings"],
        due=due(answers),
        cautions=cautions(row for row in answers["ribbons"]["ribbons"] if row["kind"] == "spraying")[:2],
    )
