"""The sheet of the week, for the wall: days across, jobs down."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date

from planner.page.layout import clock_of, write
from planner.page.rows import SiteClock, cautions, days, place
from planner.reports.mine import of_mine
from planner.reports.retold import for_people
from planner.reports.rows import Report, RibbonRow, WindowRow, WorkRow

_DAYS = 7


@dataclass(frozen=True, slots=True, kw_only=True)
class Line:
    """A job on the surfaces where its windows are the same: a cell of windows for each day."""

    label: str
    surfaces: list[str]
    cells: list[list[WindowRow]]


def week_sheet(report: Report) -> bytes:
    """Days across, jobs down: the windows, the warnings, and room to write."""
    report = for_people(report, report.site.units)
    now = clock_of(report)
    cards = days(report, now)[:_DAYS]
    dates = [card.date for card in cards]
    lines: dict[tuple[object, ...], Line] = {}
    without: dict[str, list[str]] = {}
    for ribbon in sorted(of_mine(report, report.ribbons), key=lambda row: place(row.kind)):
        cells = _cells(report, ribbon, dates, now)
        if not any(cells):
            without.setdefault(ribbon.label, []).append(ribbon.surface)
            continue
        key = (ribbon.job, *((row.start, row.end, row.state) for cell in cells for row in cell))
        line = lines.setdefault(key, Line(label=ribbon.label, surfaces=[], cells=cells))
        line.surfaces.append(ribbon.surface)
    return write(
        "week_sheet.html.j2",
        report,
        days=cards,
        lines=list(lines.values()),
        in_order=_in_order(report, dates, now),
        left=report.week.left,
        done=report.week.done,
        week=report.week,
        without=[f"{label} ({', '.join(names)})" for label, names in without.items()],
        warnings=report.warnings,
        due=report.due,
        cautions=cautions(row for row in of_mine(report, report.ribbons) if row.kind == "spraying")[:2],
    )


def _cells(report: Report, ribbon: RibbonRow, dates: list[date], now: SiteClock) -> list[list[WindowRow]]:
    """For each day the windows of the job that begin on it, in order of time."""
    pair = (ribbon.job, ribbon.surface)
    mine = sorted(
        (row for row in report.windows if (row.job, row.surface) == pair), key=lambda row: row.start
    )
    return [[row for row in mine if now.at(row.start).date() == day] for day in dates]


def _in_order(report: Report, dates: list[date], now: SiteClock) -> list[list[WorkRow]]:
    """For each day what the week places on it, in order of time; empty when it places nothing."""
    rows = sorted(report.week.coming(now.now), key=lambda row: row.start)
    by_day = [[row for row in rows if now.at(row.start).date() == day] for day in dates]
    return by_day if any(by_day) else []
