"""The pages: a report in, HTML out. Nothing is read, fetched or computed here, and no clock is looked at."""

from __future__ import annotations

from planner.page.details import addresses, day, help_page, job
from planner.page.ground import ground
from planner.page.home import home
from planner.page.layout import CONTENT_POLICY, HTML, edition, empty, refused, write
from planner.page.sites import site_line, sites
from planner.page.week_sheet import week_sheet

__all__ = [
    "CONTENT_POLICY",
    "HTML",
    "addresses",
    "day",
    "edition",
    "empty",
    "ground",
    "help_page",
    "home",
    "job",
    "refused",
    "site_line",
    "sites",
    "week_sheet",
    "write",
]
