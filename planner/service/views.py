"""What is drawn from the answers of a pass: the pages and the calendar."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from typing import Any

from planner import page

HTML = page.HTML
#: Answers without which nothing can be drawn.
NEEDED = {"now", "windows", "warnings", "days", "hours", "ribbons", "ground"}


class PageViews:
    """Draws the pages and the calendar."""

    at_once = ("page", "page/sheet", "calendar.ics")

    def names(self, answers: Mapping[str, Any]) -> Iterable[str]:
        """`page`, `page/sheet`, `calendar.ics`, and `page/day/…`, `page/job/…` for each day and job."""
        if not NEEDED.issubset(answers):
            # A pass kept by an older version; the next one brings them.
            return []
        dates = dict.fromkeys(row["date"] for row in answers["days"]["days"])
        jobs = dict.fromkeys(row["job"] for row in answers["ribbons"]["ribbons"])
        return [
            "page",
            "page/sheet",
            "calendar.ics",
            *(f"page/day/{date}" for date in dates),
            *(f"page/job/{job}" for job in jobs),
        ]

    def draw(self, name: str, answers: Mapping[str, Any], before: bytes | None) -> tuple[str, bytes]:
        """One of them. A day that is over by now reads as a page that says so."""
        if name == "calendar.ics":
            from planner.answers.calendar import CALENDAR, calendar

            return CALENDAR, calendar(answers["windows"], answers["warnings"], before)
        if name == "page":
            return HTML, page.home(answers)
        if name == "page/sheet":
            return HTML, page.sheet(answers)
        _, sort, key = name.split("/", 2)
        try:
            return HTML, page.day(answers, key) if sort == "day" else page.job(answers, key)
        except KeyError:
            return HTML, page.empty(f"Nothing of {key} is left in this forecast.")
