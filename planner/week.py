"""The week's work in order: one keeper, one pair of hands, the jobs that wait, the hours that hold.

Every start hour that holds is a possible start. The best set of starts is found by mixed-integer programming
(HiGHS): no two jobs at once, the gaps between jobs on a surface kept, the keeper's hours of each day kept. Where
the solver is not to be had, jobs are placed one by one by worth, and the answer says so.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from datetime import date, datetime, timedelta
from zoneinfo import ZoneInfo

from planner.plan import Judged
from planner.rules.gap import UNITS_H, Gap
from planner.solver import Row, choose
from planner.suitability import NARROW

#: A job that is not due counts this much of one that is. Judgement.
_NOT_DUE = 0.3
_WORTH_KEPT_PER_DAY = 0.97


@dataclass(frozen=True, slots=True, kw_only=True)
class Away:
    """A time in which the keeper or the kit is elsewhere."""

    start: datetime
    end: datetime


@dataclass(frozen=True, slots=True, kw_only=True)
class Placed:
    """A job given its hour."""

    judged: Judged
    start: datetime
    end: datetime
    score: float
    hour: int


@dataclass(frozen=True, slots=True, kw_only=True)
class Week:
    """Jobs in order of time, those that found no hour with the reason, and how it was found."""

    placed: tuple[Placed, ...]
    left: tuple[tuple[Judged, str], ...]
    method: str


@dataclass(frozen=True, slots=True)
class _Start:
    task: int
    at_h: float
    """Hours since 1970."""
    hour: int
    value: float


def order(
    judged: Sequence[Judged],
    *,
    now: datetime,
    zone: ZoneInfo,
    days: int = 7,
    hours_a_day: float = 8.0,
    away: Iterable[Away] = (),
    pressing: Mapping[tuple[str, str], float] | None = None,
) -> Week:
    """Place each job of `judged` at most once within the days ahead.

    `pressing`: worth of a (job, surface) beside 1 for a job that is due; those not named count less.
    """
    pressing = pressing or {}
    elsewhere = [(gone.start.timestamp() / 3600.0, gone.end.timestamp() / 3600.0) for gone in away]
    tasks = list(judged)
    starts: list[_Start] = []
    left: list[tuple[Judged, str]] = []
    for number, task in enumerate(tasks):
        worth = pressing.get((task.job.name, task.surface.name), _NOT_DUE)
        found = _starts(task, number, now, days, elsewhere, worth)
        if not found:
            left.append((task, "no hour of the week holds while you are there"))
        starts += found
    if not starts:
        return Week(placed=(), left=tuple(left), method="nothing to place")
    day_of = [_local_day(start.at_h, zone) for start in starts]
    chosen, method = _solve(tasks, starts, day_of, hours_a_day)
    placed = []
    for index in chosen:
        start = starts[index]
        task = tasks[start.task]
        begin = task.trial.quantities.weather.time(start.hour)
        placed.append(
            Placed(
                judged=task,
                start=begin,
                end=begin + timedelta(hours=task.job.duration_h),
                score=float(task.suitability.score[start.hour]),
                hour=start.hour,
            )
        )
    done = {starts[index].task for index in chosen}
    able = {start.task for start in starts}
    left += [(tasks[n], "another job needs its hours") for n in sorted(able - done)]
    return Week(placed=tuple(sorted(placed, key=lambda p: p.start)), left=tuple(left), method=method)


def _starts(
    task: Judged, number: int, now: datetime, days: int, away: list[tuple[float, float]], worth: float
) -> list[_Start]:
    weather = task.trial.quantities.weather
    first = weather.index(now) + 1
    last = min(weather.hours, first + days * 24)
    found = []
    for hour in range(max(first, 0), last):
        if task.suitability.state[hour] > NARROW:
            continue
        at_h = float(weather.first_hour + hour)
        end_h = at_h + task.job.duration_h
        if any(at_h < gone[1] and end_h > gone[0] for gone in away):
            continue
        ahead = (hour - first) / 24.0
        value = worth * (0.2 + 0.8 * float(task.suitability.score[hour])) * _WORTH_KEPT_PER_DAY**ahead
        found.append(_Start(number, at_h, hour, value))
    return found


def _local_day(at_h: float, zone: ZoneInfo) -> date:
    return datetime.fromtimestamp(at_h * 3600.0, zone).date()


def clash(first: Judged, first_h: float, second: Judged, second_h: float) -> bool:
    """Whether two starts cannot both be: they overlap, or a gap between them on one surface is too short."""
    if first_h > second_h:
        first, first_h, second, second_h = second, second_h, first, first_h
    finish_h = first_h + first.job.duration_h
    if second_h < finish_h - 1e-9:
        return True
    if first.surface.name != second.surface.name:
        return False
    wait_h = second_h - finish_h
    for need in second.suitability.needs:
        if (
            isinstance(need, Gap)
            and need.direction == "since"
            and _counts(need, first)
            and _too_short(need, wait_h)
        ):
            return True
    return any(
        isinstance(need, Gap)
        and need.direction == "until"
        and _counts(need, second)
        and _too_short(need, wait_h)
        for need in first.suitability.needs
    )


def _counts(need: Gap, other: Judged) -> bool:
    return other.job.name in need.other or other.job.kind in need.other


def _too_short(need: Gap, wait_h: float) -> bool:
    return need.hard_min is not None and wait_h < need.hard_min * UNITS_H[need.unit] - 1e-9


def _solve(
    tasks: Sequence[Judged], starts: Sequence[_Start], day_of: Sequence[date], hours_a_day: float
) -> tuple[list[int], str]:
    try:
        return _by_solver(tasks, starts, day_of, hours_a_day), "best found by mixed-integer programming"
    except ImportError:
        return _one_by_one(
            tasks, starts, day_of, hours_a_day
        ), "placed one by one; the solver is not installed"


def _one_by_one(
    tasks: Sequence[Judged], starts: Sequence[_Start], day_of: Sequence[date], hours_a_day: float
) -> list[int]:
    chosen: list[int] = []
    used: dict[date, float] = {}
    for index in sorted(range(len(starts)), key=lambda i: -starts[i].value):
        start, day = starts[index], day_of[index]
        length = tasks[start.task].job.duration_h
        if any(starts[other].task == start.task for other in chosen):
            continue
        if used.get(day, 0.0) + length > hours_a_day + 1e-9:
            continue
        if any(clash(tasks[start.task], start.at_h, tasks[starts[o].task], starts[o].at_h) for o in chosen):
            continue
        chosen.append(index)
        used[day] = used.get(day, 0.0) + length
    return chosen


def _by_solver(
    tasks: Sequence[Judged], starts: Sequence[_Start], day_of: Sequence[date], hours_a_day: float
) -> list[int]:
    count = len(starts)
    by_task: dict[int, list[int]] = {}
    for index, start in enumerate(starts):
        by_task.setdefault(start.task, []).append(index)
    rows = [_not_more(indices) for indices in by_task.values()]
    for day in sorted(set(day_of)):
        indices = [index for index in range(count) if day_of[index] == day]
        rows.append(Row(indices, [tasks[starts[i].task].job.duration_h for i in indices], hours_a_day))
    for hour in sorted({int(start.at_h) for start in starts}):
        busy = [
            index
            for index, start in enumerate(starts)
            if start.at_h <= hour < start.at_h + tasks[start.task].job.duration_h
        ]
        if len(busy) > 1:
            rows.append(_not_more(busy))
    rows += _gap_rows(tasks, starts, by_task)
    return choose([start.value for start in starts], rows)


def _not_more(indices: Sequence[int]) -> Row:
    """At most one of these."""
    return Row(indices, [1.0] * len(indices), 1.0)


def _gap_rows(
    tasks: Sequence[Judged], starts: Sequence[_Start], by_task: Mapping[int, list[int]]
) -> list[Row]:
    """For each start, the starts of another job on its surface that come too near it: not both.

    Of the rivals, all of one job, at most one is chosen anyway, so one row holds them all.
    """
    rows = []
    for one, own in by_task.items():
        for other, theirs in by_task.items():
            if other <= one or tasks[one].surface.name != tasks[other].surface.name:
                continue
            for index in own:
                at_h = starts[index].at_h
                near = [r for r in theirs if clash(tasks[one], at_h, tasks[other], starts[r].at_h)]
                if near:
                    rows.append(_not_more([index, *near]))
    return rows
