"""The week on one sheet of paper, for the shed wall."""

from __future__ import annotations

from typing import Any

from planner.page.frame import Answers, clock, write
from planner.page.home import due
from planner.page.ribbon import alike
from planner.page.rows import cautions, days, place

_DAYS = 7


def sheet(answers: Answers) -> bytes:
    """Days across, jobs down: the windows, the warnings, and room to write."""
    now = clock(answers)
    cards = days(answers, now)[:_DAYS]
    lines: list[dict[str, Any]] = []
    for ribbon, surfaces in sorted(
        alike(answers["ribbons"]["ribbons"]), key=lambda pair: place(pair[0]["kind"])
    ):
        cells = []
        for card in cards:
            cells.append(
                [
                    row
                    for row in sorted(answers["windows"]["windows"], key=lambda row: str(row["start"]))
                    if (row["job"], row["surface"]) == (ribbon["job"], surfaces[0])
                    and now.at(row["start"]).date().isoformat() == card["date"]
                ]
            )
        lines.append({"label": ribbon["label"], "surfaces": surfaces, "cells": cells})
    return write(
        "sheet.html.j2",
        answers,
        days=cards,
        lines=lines,
        warnings=answers["warnings"]["warnings"],
        due=due(answers),
        cautions=cautions(row for row in answers["ribbons"]["ribbons"] if row["kind"] == "spraying")[:3],
    )
