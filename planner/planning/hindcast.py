"""Past weather replayed against the rules: how often each job opens, what each limit costs, and its picture.

The diary is left out: gaps to other work hold, so the figures are those of weather and rules alone.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass, replace
from datetime import datetime
from html import escape
from zoneinfo import ZoneInfo

import numpy as np

from planner.margin import EPS, NARROW, UNREAD
from planner.planning.conditions import SiteConditions, compute_figures, tasks_of
from planner.planning.suitability import Suitability
from planner.rules.base import Need
from planner.rules.job import Job
from planner.site import Surface
from planner.weather import Array, Mask

#: How far a limit is loosened to see what that would win: half of its ramp. Judgement.
LOOSENED_BY = 0.5


@dataclass(frozen=True, slots=True, kw_only=True)
class Cost:
    """What one need takes from a job. Hours are those that clock and light leave open."""

    need: Need
    hours_lost: int
    """Hours in which it fails, whatever else does."""
    hours_alone: int
    """Hours in which nothing else fails: what dropping it would win."""
    hours_won: int
    """Hours won by loosening its hard limit by half of its ramp."""
    loosened: str
    """What that limit would then be; empty where there is no ramp to loosen."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Month:
    """One calendar month of one job."""

    month: str
    windows: int
    open_hours: int
    hours_unread: int
    lost: dict[str, int]
    """Hours lost by the id of the need that limits."""


@dataclass(frozen=True, slots=True, kw_only=True)
class JobReplay:
    """One job on one surface over the whole replay."""

    job: Job
    surface: Surface
    windows: int
    open_hours: int
    calendar_hours: int
    hours_unread: int
    longest_gap_days: float
    gap_from: datetime
    months: tuple[Month, ...]
    costs: tuple[Cost, ...]
    """The dearest first."""

    @property
    def never_opens(self) -> bool:
        """No hour of the replay holds."""
        return self.open_hours == 0

    @property
    def never_closes(self) -> bool:
        """Every hour that clock and light leave open holds."""
        return self.calendar_hours > 0 and self.open_hours >= self.calendar_hours


def replay(
    conditions: SiteConditions, jobs: Iterable[Job], *, tick: Callable[[], None] | None = None
) -> tuple[JobReplay, ...]:
    """Every job on every surface it is done on. `tick` is called after each."""
    months = _months(conditions)
    by_job = [(job, tasks_of(conditions, job)) for job in jobs]
    compute_figures(task for _, tasks in by_job for task in tasks)
    records = []
    for job, tasks in by_job:
        on_surface = {}
        for task in tasks:
            record = _record_of(task.judged(), conditions, months)
            for name in task.attempts:
                on_surface[name] = replace(record, surface=conditions.site.surface(name))
                if tick is not None:
                    tick()
        records += [on_surface[surface.name] for surface in job.surfaces_of(conditions.site)]
    return tuple(records)


def _months(conditions: SiteConditions) -> tuple[tuple[str, ...], Array]:
    """Names of the local months, and the number of the month of each hour."""
    days = conditions.sky.days
    names = tuple(dict.fromkeys(f"{day:%Y-%m}" for day in days.dates))
    of_day = np.array([names.index(f"{day:%Y-%m}") for day in days.dates])
    return names, of_day[days.of_hour]


def _record_of(
    found: Suitability, conditions: SiteConditions, months: tuple[tuple[str, ...], Array]
) -> JobReplay:
    names, of_hour = months
    count = len(names)
    calendar_rows = np.array([need.is_calendar for need in found.needs])
    fails = found.margin < -EPS
    in_calendar = ~fails[calendar_rows].any(axis=0)
    is_open = found.state <= NARROW
    unread = found.state == UNREAD
    starts = np.flatnonzero(np.diff(is_open.astype(np.int8), prepend=0) == 1)
    closed = in_calendar & ~is_open & ~unread
    pairs = found.limiting[closed] * count + of_hour[closed]
    lost = np.bincount(pairs, minlength=len(found.needs) * count).reshape(len(found.needs), count)
    opened = np.bincount(of_hour[is_open], minlength=count)
    begun = np.bincount(of_hour[starts], minlength=count)
    blind = np.bincount(of_hour[unread & in_calendar], minlength=count)
    gap_h, gap_at = _longest_gap(is_open)
    return JobReplay(
        job=found.job,
        surface=found.surface,
        windows=int(starts.size),
        open_hours=int(is_open.sum()),
        calendar_hours=int((in_calendar & ~unread).sum()),
        hours_unread=int((unread & in_calendar).sum()),
        longest_gap_days=round(gap_h / 24.0, 1),
        gap_from=conditions.sky.weather.time(gap_at),
        months=tuple(
            Month(
                month=name,
                windows=int(begun[number]),
                open_hours=int(opened[number]),
                hours_unread=int(blind[number]),
                lost={
                    need.id: int(lost[row, number])
                    for row, need in enumerate(found.needs)
                    if lost[row, number]
                },
            )
            for number, name in enumerate(names)
        ),
        costs=_costs(found, fails, in_calendar & ~unread, calendar_rows),
    )


def _costs(found: Suitability, fails: Mask, in_calendar: Mask, calendar_rows: Mask) -> tuple[Cost, ...]:
    inside = fails[:, in_calendar]
    margins = found.margin[:, in_calendar]
    alone = inside & (inside.sum(axis=0) == 1)
    costs = []
    for row, need in enumerate(found.needs):
        if calendar_rows[row] or not inside[row].any():
            continue
        won, loosened = _loosened(found, row, in_calendar, alone[row], margins[row])
        costs.append(
            Cost(
                need=need,
                hours_lost=int(inside[row].sum()),
                hours_alone=int(alone[row].sum()),
                hours_won=won,
                loosened=loosened,
            )
        )
    return tuple(sorted(costs, key=lambda cost: (-cost.hours_alone, -cost.hours_lost)))


def _loosened(found: Suitability, row: int, in_calendar: Mask, alone: Mask, margin: Array) -> tuple[int, str]:
    """Hours won by moving the hard limit out by half its ramp, on the side that costs more."""
    need = found.needs[row]
    near = alone & (margin >= -LOOSENED_BY)
    values = found.readings[row].low[0, in_calendar]
    highs = found.readings[row].high[0, in_calendar]
    best: tuple[int, str] = (0, "")
    if need.hard_min is not None and need.best_from is not None and need.best_from > need.hard_min:
        moved = need.hard_min - LOOSENED_BY * (need.best_from - need.hard_min)
        won = int((near & (values < need.hard_min)).sum())
        best = max(best, (won, f"at least {moved:g} {need.unit} instead of {need.hard_min:g}"))
    if need.hard_max is not None and need.best_to is not None and need.best_to < need.hard_max:
        moved = need.hard_max + LOOSENED_BY * (need.hard_max - need.best_to)
        won = int((near & (highs > need.hard_max)).sum())
        best = max(best, (won, f"at most {moved:g} {need.unit} instead of {need.hard_max:g}"))
    return best if best[0] else (0, "")


def _longest_gap(is_open: Mask) -> tuple[float, int]:
    """Hours of the longest stretch without an open hour, and where it begins."""
    marks = np.flatnonzero(np.concatenate([[True], is_open, [True]]))
    lengths = np.diff(marks) - 1
    longest = int(np.argmax(lengths))
    return float(lengths[longest]), min(int(marks[longest]), is_open.size - 1)


def as_dict(records: Iterable[JobReplay], conditions: SiteConditions) -> dict[str, object]:
    """The replay as JSON-able objects."""
    weather, zone = conditions.sky.weather, conditions.site.zone
    return {
        "site": {"name": conditions.site.name, "timezone": conditions.site.timezone},
        "from": weather.start.astimezone(zone).isoformat(),
        "to": weather.end.astimezone(zone).isoformat(),
        "hours": weather.hours,
        "flaws": [str(flaw) for flaw in weather.flaws],
        "jobs": [_record(record, zone) for record in records],
    }


def _record(record: JobReplay, zone: ZoneInfo) -> dict[str, object]:
    return {
        "job": record.job.name,
        "label": record.job.label,
        "surface": record.surface.name,
        "windows": record.windows,
        "open_hours": record.open_hours,
        "hours_to_judge": record.calendar_hours,
        "hours_unread": record.hours_unread,
        "longest_gap_days": record.longest_gap_days,
        "longest_gap_from": record.gap_from.astimezone(zone).isoformat(),
        "never_opens": record.never_opens,
        "never_closes": record.never_closes,
        "months": [
            {
                "month": month.month,
                "windows": month.windows,
                "open_hours": month.open_hours,
                "hours_unread": month.hours_unread,
                "hours_lost": month.lost,
            }
            for month in record.months
        ],
        "limits": [
            {
                "need": cost.need.id,
                "label": cost.need.label,
                "hours_lost": cost.hours_lost,
                "hours_alone": cost.hours_alone,
                "loosened": cost.loosened or None,
                "hours_won": cost.hours_won,
                "source": cost.need.source,
            }
            for cost in record.costs
        ],
    }


def rows(records: Iterable[JobReplay]) -> list[dict[str, object]]:
    """One flat row per job, surface and month, for a table."""
    return [
        {
            "job": record.job.name,
            "surface": record.surface.name,
            "month": month.month,
            "windows": month.windows,
            "open_hours": month.open_hours,
            "hours_unread": month.hours_unread,
            "limits_most": max(month.lost, key=lambda key: month.lost[key]) if month.lost else "",
        }
        for record in records
        for month in record.months
    ]


def doubts(records: Iterable[JobReplay]) -> list[str]:
    """What looks wrong with the rules after a year of weather, a sentence each."""
    found = []
    for record in records:
        name = f"{record.job.name} on the {record.surface.name}"
        if record.never_opens:
            worst = record.costs[0] if record.costs else None
            why = f"; {worst.need.id} ({worst.need.label}) closes most" if worst else ""
            found.append(f"{name} never opens in this weather{why}.")
        elif record.never_closes:
            found.append(f"{name} never closes in this weather: its needs hold nothing back.")
        for cost in record.costs:
            if record.calendar_hours and cost.hours_lost >= 0.98 * record.calendar_hours:
                found.append(f"{name}: need {cost.need.id} fails in nearly every hour.")
    return found


_LEFT, _TOP, _CELL_W, _CELL_H, _BAR_H = 260, 64, 46, 30, 22


def svg(records: Sequence[JobReplay], title: str) -> str:
    """An SVG of its own, readable in grey: bars by height, figures beside them, empty months hatched."""
    months = [month.month for month in records[0].months] if records else []
    most = max((month.windows for record in records for month in record.months), default=1) or 1
    width, height = _LEFT + _CELL_W * len(months) + 20, _TOP + _CELL_H * len(records) + 30
    parts = [
        f'<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 {width} {height}" role="img" '
        f'font-family="sans-serif" font-size="12"><title>{escape(title)}</title>',
        "<desc>Windows a month for each job and surface; a hatched cell had none.</desc>",
        '<defs><pattern id="none" width="6" height="6" patternUnits="userSpaceOnUse">'
        '<path d="M0 6 6 0" stroke="#777" stroke-width="1"/></pattern></defs>',
        f'<rect width="{width}" height="{height}" fill="#fff"/>',
        f'<text x="16" y="26" font-size="16">{escape(title)}</text>',
    ]
    for number, month in enumerate(months):
        x = _LEFT + number * _CELL_W + _CELL_W / 2
        parts.append(f'<text x="{x:g}" y="{_TOP - 8}" text-anchor="middle">{month[2:]}</text>')
    for row, record in enumerate(records):
        y = _TOP + row * _CELL_H
        name = escape(f"{record.job.label}, {record.surface.name}")
        parts.append(f'<text x="16" y="{y + 20}">{name}</text>')
        for number, each in enumerate(record.months):
            parts.append(_cell(_LEFT + number * _CELL_W, y, each.windows, most))
    parts.append(f'<text x="16" y="{height - 10}">Bars: windows in the month; hatch: none.</text></svg>')
    return "\n".join(parts)


def _cell(x: int, y: int, windows: int, most: int) -> str:
    if windows == 0:
        return (
            f'<rect x="{x + 4}" y="{y + 6}" width="{_CELL_W - 8}" height="{_BAR_H - 2}" fill="url(#none)"/>'
        )
    tall = max(2.0, _BAR_H * windows / most)
    return (
        f'<rect x="{x + 4}" y="{y + 4 + _BAR_H - tall:.1f}" width="14" height="{tall:.1f}" fill="#333"/>'
        f'<text x="{x + 22}" y="{y + 22}">{windows}</text>'
    )
