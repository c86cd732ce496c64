"""The pages: answers in, HTML out. Nothing is read, fetched or reckoned here, and no clock is looked at."""

from __future__ import annotations

from planner.page.addresses import addresses
from planner.page.day import day
from planner.page.frame import CONTENT_POLICY, HTML, edition, empty
from planner.page.help import help_page
from planner.page.home import home
from planner.page.job import job
from planner.page.sheet import sheet

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
    "sheet",
]
