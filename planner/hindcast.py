"""Past weather replayed against the rules: how often each job opens, and what each limit costs.

The diary is left out: gaps to other work hold, so the figures tell of weather and rules alone.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable
from dataclasses import dataclass
from datetime import datetime
from functools import partial
from typing import Any

import numpy as np

from planner.plan import Ground, trial_of
from planner.rules.base import Mask, Need
from planner.rules.job import Job
from planner.site import Surface
from planner.suitability import NARROW, UNREAD, Suitability, judge
from planner.weather import Array

_EPS = 1e-7
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
class Record:
    """One job on one surface over the whole replay."""

    job: Job
    surface: Surface
    windows: int
    open_hours: int
    frame_hours: int
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
        return self.frame_hours > 0 and self.open_hours >= self.frame_hours


def replay(
    ground: Ground, jobs: Iterable[Job], *, tick: Callable[[], None] | None = None
) -> tuple[Record, ...]:
    """Every job on every surface it is done on. `tick` is called after each."""
    months = _months(ground)
    records = []
    for job in jobs:
        for surface in job.surfaces_of(ground.site):
            found = judge(job, surface, trial_of(ground, job, surface))
            key = ("record", id(found.room), *map(id, found.needs))
            told, _ = ground.spans.recall(key, partial(_kept, found, ground, months))
            records.append(Record(job=job, surface=surface, **told))
            if tick is not None:
                tick()
    return tuple(records)


def _kept(
    found: Suitability, ground: Ground, months: tuple[tuple[str, ...], Array]
) -> tuple[dict[str, Any], Array]:
    """What is told of the verdicts, with the room it was told from, so that its identity stays its own."""
    return _told(found, ground, months), found.room


def _months(ground: Ground) -> tuple[tuple[str, ...], Array]:
    """Names of the local months, and the number of the month of each hour."""
    days = ground.sky.days
    names = tuple(dict.fromkeys(f"{day:%Y-%m}" for day in days.dates))
    of_day = np.array([names.index(f"{day:%Y-%m}") for day in days.dates])
    return names, of_day[days.of_hour]


def _told(found: Suitability, ground: Ground, months: tuple[tuple[str, ...], Array]) -> dict[str, Any]:
    names, of_hour = months
    count = len(names)
    frame_rows = np.array([need.is_frame for need in found.needs])
    fails = found.room < -_EPS
    frame = ~fails[frame_rows].any(axis=0)
    is_open = found.state <= NARROW
    unread = found.state == UNREAD
    starts = np.flatnonzero(np.diff(is_open.astype(np.int8), prepend=0) == 1)
    shut = frame & ~is_open & ~unread
    pairs = found.limiting[shut] * count + of_hour[shut]
    lost = np.bincount(pairs, minlength=len(found.needs) * count).reshape(len(found.needs), count)
    opened = np.bincount(of_hour[is_open], minlength=count)
    begun = np.bincount(of_hour[starts], minlength=count)
    blind = np.bincount(of_hour[unread & frame], minlength=count)
    gap_h, gap_at = _longest_gap(is_open)
    return {
        "windows": int(starts.size),
        "open_hours": int(is_open.sum()),
        "frame_hours": int((frame & ~unread).sum()),
        "hours_unread": int((unread & frame).sum()),
        "longest_gap_days": round(gap_h / 24.0, 1),
        "gap_from": ground.sky.weather.time(gap_at),
        "months": tuple(
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
        "costs": _costs(found, fails, frame & ~unread, frame_rows),
    }


def _costs(found: Suitability, fails: Mask, frame: Mask, frame_rows: Mask) -> tuple[Cost, ...]:
    inside = fails[:, frame]
    rooms = found.room[:, frame]
    alone = inside & (inside.sum(axis=0) == 1)
    costs = []
    for row, need in enumerate(found.needs):
        if frame_rows[row] or not inside[row].any():
            continue
        won, loosened = _loosened(found, row, frame, alone[row], rooms[row])
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


def _loosened(found: Suitability, row: int, frame: Mask, alone: Mask, room: Array) -> tuple[int, str]:
    """Hours won by moving the hard limit out by half its ramp, on the side that costs more."""
    need = found.needs[row]
    near = alone & (room >= -LOOSENED_BY)
    values = found.readings[row].low[0, frame]
    highs = found.readings[row].high[0, frame]
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


def as_dict(records: Iterable[Record], ground: Ground) -> dict[str, Any]:
    """The replay as JSON-able objects."""
    weather, zone = ground.sky.weather, ground.site.zone
    return {
        "site": {"name": ground.site.name, "timezone": ground.site.timezone},
        "from": weather.start.astimezone(zone).isoformat(),
        "to": weather.end.astimezone(zone).isoformat(),
        "hours": weather.hours,
        "flaws": [str(flaw) for flaw in weather.flaws],
        "jobs": [_record(record, zone) for record in records],
    }


def _record(record: Record, zone: Any) -> dict[str, Any]:
    return {
        "job": record.job.name,
        "label": record.job.label,
        "surface": record.surface.name,
        "windows": record.windows,
        "open_hours": record.open_hours,
        "hours_to_judge": record.frame_hours,
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


def rows(records: Iterable[Record]) -> list[dict[str, Any]]:
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


def doubts(records: Iterable[Record]) -> list[str]:
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
            if record.frame_hours and cost.hours_lost >= 0.98 * record.frame_hours:
                found.append(f"{name}: need {cost.need.id} fails in nearly every hour.")
    return found
