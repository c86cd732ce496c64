"""The pages: a report in, HTML out. Nothing is read, fetched or computed here, and no clock is looked at."""

from __future__ import annotations

from planner.page.details import addresses, day, help_page, job
from planner.page.home import home, week_sheet
from planner.page.layout import CONTENT_POLICY, HTML, edition, empty, write

__all__ = [
    "CONTENT_POLICY",
    "HTML",
    "addresses",
    "day",
    "edition",
    "empty",
    "help_page",
    "home",
    "job",
    "week_sheet",
    "write",
]
