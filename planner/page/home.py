"""The page a keeper opens in the morning, and the sheet of the week."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date

from planner.page.chart import chart
from planner.page.layout import clock_of, write
from planner.page.ribbon import Scale
from planner.page.rows import (
    Guess,
    SiteClock,
    Underfoot,
    blocks,
    by_kind,
    cautions,
    days,
    guesses,
    hours,
    mine_and_others,
    place,
    underfoot,
)
from planner.reports.best import morning_lines, wanted_first
from planner.reports.cautions import shared_caution
from planner.reports.headline import first_clause, headline
from planner.reports.mine import of_mine
from planner.reports.rows import LeftRow, Report, RibbonRow, WarningRow, WindowRow, WorkRow
from planner.reports.surface_rows import SeedRow, SurfaceRow

#: Days on the ribbons and on the wide chart; the narrow chart shows the nearest.
RIBBON_DAYS, NARROW_DAYS = 7, 3
#: Placed or waiting sprays on the first screen.
_SPRAYS = 2
#: Warnings beside those of wash there.
_OTHERS = 2

Seeds = list[tuple[str, SeedRow]]


@dataclass(frozen=True, slots=True, kw_only=True)
class SprayHours:
    """When to spray: what is due in its hour of the week, or why it has none; else what could be done."""

    placed: list[WorkRow]
    left: list[LeftRow]
    could: WindowRow | None
    could_labels: list[str]
    caution: str
    """The line beside the sprays that are named."""
    is_set_up: bool


@dataclass(frozen=True, slots=True, kw_only=True)
class FirstLight:
    """The morning's three questions: what threatens, may I walk on it, when to spray."""

    spray: SprayHours
    wash: list[WarningRow]
    seed: Seeds
    wash_not_read: str | None
    underfoot: list[Underfoot]
    guesses: list[Guess]
    others: list[tuple[WarningRow, str]]
    """The gravest warnings of another kind, each with its first clause."""


def home(report: Report) -> bytes:
    """The whole of it: sentence, warnings, windows, ribbons, days, weather, seed, forecast, cautions."""
    now = clock_of(report)
    seven = Scale.days(now.now.date(), RIBBON_DAYS, now.zone)
    near = Scale.days(now.now.date(), NARROW_DAYS, now.zone)
    coming = hours(report, report.hours.first, seven.end)
    mine, others = mine_and_others(report, blocks(report, seven))
    windows = of_mine(report, report.windows)
    return write(
        "home.html.j2",
        report,
        headline=headline(report),
        morning=morning_lines(report),
        due_caution=shared_caution(report, (row.job for row in report.due)),
        warnings=report.warnings,
        not_read=report.not_read,
        first_light=first_light(report),
        kinds=by_kind(mine),
        other_kinds=by_kind(others),
        ticks=seven.ticks(),
        days=days(report, now),
        charts=[
            ("wide", chart(coming, windows, seven, width=1040)),
            ("slim", chart(coming, windows, near, width=360)),
        ],
        rows=coming[::3],
        seed=seeds(report),
        due=report.due,
        week=report.week,
        surfaces=_with_records(report),
        cautions=cautions(report.ribbons),
    )


def first_light(report: Report) -> FirstLight:
    """What is asked first."""
    return FirstLight(
        spray=spray_hours(report),
        wash=[row for row in report.warnings if row.kind == "wash"],
        seed=seeds(report),
        wash_not_read=next((row.says for row in report.not_read if row.kind == "wash"), None),
        underfoot=underfoot(report, clock_of(report)),
        guesses=guesses(report),
        others=[(row, first_clause(row.says)) for row in report.warnings if row.kind != "wash"][:_OTHERS],
    )


def spray_hours(report: Report) -> SprayHours:
    """When to spray."""
    placed = [row for row in report.week.work if row.kind == "spraying" and row.end > report.as_of]
    left = [row for row in report.week.left if row.kind == "spraying"]
    pairs = wanted_first(report, (row for row in report.ribbons if row.kind == "spraying"))
    could = sorted(
        (row for row in of_mine(report, report.windows) if (row.job, row.surface) in pairs),
        key=lambda row: (row.state != "steady", row.start, row.rank),
    )
    first = could[0] if could and not placed else None
    labels = [
        row.label
        for row in could
        if first is not None and (row.start, row.end, row.state) == (first.start, first.end, first.state)
    ]
    return SprayHours(
        placed=placed[:_SPRAYS],
        left=left[: max(0, _SPRAYS - len(placed))],
        could=first,
        could_labels=list(dict.fromkeys(labels)),
        caution=shared_caution(report, [row.job for row in (*placed, *left, *could[:1])]),
        is_set_up=any(row.kind == "spraying" for row in report.ribbons),
    )


def seeds(report: Report) -> Seeds:
    """Every sowing with its surface."""
    return [(row.surface, seed) for row in report.ground for seed in row.seed]


def _with_records(report: Report) -> list[SurfaceRow]:
    """Surfaces of which a cut or a feed is known."""
    return [
        row
        for row in report.surfaces
        if row.leaf is not None or (row.nitrogen.month is not None and row.nitrogen.month.given_g_m2)
    ]


_DAYS = 7


@dataclass(frozen=True, slots=True, kw_only=True)
class Line:
    """A job on the surfaces where its windows are the same: a cell of windows for each day."""

    label: str
    surfaces: list[str]
    cells: list[list[WindowRow]]


def week_sheet(report: Report) -> bytes:
    """Days across, jobs down: the windows, the warnings, and room to write."""
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
