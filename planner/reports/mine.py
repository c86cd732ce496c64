"""What of a report is the keeper's: the jobs done here, and first of them what is wanted, due or placed.

Reads rows, loads nothing. Where the site file names no jobs, every job is the keeper's.
"""

from __future__ import annotations

from collections.abc import Iterable
from typing import TypeVar

from planner.reports.rows import JobRow, Report
from planner.reports.surface_rows import DueRow

Row = TypeVar("Row", bound=JobRow)


def is_mine(report: Report, job: str) -> bool:
    """Whether it is a job of this keeper: one that the site file names, or one that is wanted or stands planned."""
    if not report.keeper_jobs or job in report.keeper_jobs:
        return True
    return any(row.job == job for row in (*report.wanted, *report.week.planned))


def of_mine(report: Report, rows: Iterable[Row]) -> tuple[Row, ...]:
    """The rows of the keeper's jobs, in their order."""
    known: dict[str, bool] = {}
    return tuple(row for row in rows if known.setdefault(row.job, is_mine(report, row.job)))


def pressing(report: Report) -> frozenset[tuple[str, str]]:
    """Jobs and surfaces of which a keeper is told first: wanted, due, or placed or planned in the week."""
    week = report.week
    rows: tuple[JobRow | DueRow, ...] = (
        *report.wanted,
        *week.work,
        *week.planned,
        *week.left,
        *report.due,
    )
    return frozenset((row.job, row.surface) for row in rows)
