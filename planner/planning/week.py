"""The week's order: one keeper, one pair of hands, the jobs that wait, the hours that hold.

Every start hour that holds is a possible start. The best set of starts is found by mixed-integer programming
(HiGHS): no two jobs at once, the gaps between jobs on a surface kept, the keeper's hours of each day kept. Where
the solver is not to be had or finds nothing in its time, jobs are placed one by one by worth, and the answer says
so. Every placed job is then judged once more with the rest of the plan as work done before it or planned after
it, so that what is said of it is true of the whole plan.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import UTC, date, datetime, timedelta
from zoneinfo import ZoneInfo

from planner.margin import NARROW
from planner.planning.plan import Judged
from planner.planning.solver import AtMost, choose
from planner.planning.suitability import judge
from planner.rules.gap import UNITS_H, Gap
from planner.site import WorkDone

#: A job that is not due counts this much of one that is. Judgement.
_NOT_DUE = 0.3
_WORTH_KEPT_PER_DAY = 0.97
#: Hours below which two times are the same.
_SAME_H = 1e-9
#: How often the week is planned anew when a placed job does not hold beside the rest.
_TRIES = 4


@dataclass(frozen=True, slots=True, kw_only=True)
class Away:
    """A time in which the keeper or the kit is elsewhere."""

    start: datetime
    end: datetime


@dataclass(frozen=True, slots=True, kw_only=True)
class Placed:
    """A job with the hour found for it."""

    judged: Judged
    start: datetime
    end: datetime
    score: float
    hour: int


@dataclass(frozen=True, slots=True, kw_only=True)
class WeekOrder:
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
    planned: Iterable[Away] = (),
    pressing: Mapping[tuple[str, str], float] | None = None,
) -> WeekOrder:
    """Place each job of `judged` at most once within the days ahead.

    `planned`: the times of work that is fixed already; it takes the keeper's hands and hours of its day.
    `pressing`: worth of a (job, surface) beside 1 for a job that is due; those not named count less.
    """
    pressing, fixed = pressing or {}, tuple(planned)
    elsewhere = [(gone.start.timestamp() / 3600.0, gone.end.timestamp() / 3600.0) for gone in (*away, *fixed)]
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
        return WeekOrder(placed=(), left=tuple(left), method="nothing to place")
    able = {start.task for start in starts}
    limits = _Hours(zone, hours_a_day, fixed)
    placed, method = _place_all(tasks, starts, limits)
    done = {number for number, _ in placed}
    left += [(tasks[n], "another job needs its hours") for n in sorted(able - done)]
    in_order = sorted((each for _, each in placed), key=lambda each: each.start)
    return WeekOrder(placed=tuple(in_order), left=tuple(left), method=method)


class _Hours:
    """The hours of work that each local day still has."""

    def __init__(self, zone: ZoneInfo, hours_a_day: float, fixed: Iterable[Away]) -> None:
        self._zone, self._whole = zone, hours_a_day
        self._taken: dict[date, float] = {}
        for work in fixed:
            day = work.start.astimezone(zone).date()
            self._taken[day] = self._taken.get(day, 0.0) + (work.end - work.start) / timedelta(hours=1)

    def day_of(self, start: _Start) -> date:
        return datetime.fromtimestamp(start.at_h * 3600.0, self._zone).date()

    def of(self, day: date) -> float:
        return max(0.0, self._whole - self._taken.get(day, 0.0))


def _place_all(
    tasks: Sequence[Judged], starts: list[_Start], limits: _Hours
) -> tuple[list[tuple[int, Placed]], str]:
    """Placed jobs, each with the number of its task. A start that fails beside the rest is not tried again."""
    for _ in range(_TRIES):
        chosen, method = _solve(tasks, starts, limits)
        alone = [(starts[index], _placed(tasks[starts[index].task], starts[index])) for index in chosen]
        whole, failing = _judged_together(alone)
        if not failing:
            return [(start.task, each) for start, each in whole], method
        starts = [start for start in starts if start not in failing]
    while failing:
        alone = [(start, each) for start, each in alone if start not in failing]
        whole, failing = _judged_together(alone)
    return [(start.task, each) for start, each in whole], method


_Pairs = list[tuple[_Start, Placed]]


def _judged_together(alone: _Pairs) -> tuple[_Pairs, set[_Start]]:
    """Each placed job judged beside the rest of the plan, and the starts that then fail."""
    plan = [each for _, each in alone]
    whole = [(start, in_plan(each, plan)) for start, each in alone]
    return whole, {start for start, each in whole if each.judged.suitability.state[each.hour] > NARROW}


def _placed(task: Judged, start: _Start) -> Placed:
    begin = datetime.fromtimestamp(round(start.at_h * 3600.0), UTC)
    return Placed(
        judged=task,
        start=begin,
        end=begin + timedelta(hours=task.job.duration_h),
        score=float(task.suitability.score[start.hour]),
        hour=start.hour,
    )


def in_plan(placed: Placed, plan: Iterable[Placed]) -> Placed:
    """The job judged again with the other work of the plan on its surface done before it or planned after it."""
    task = placed.judged
    beside = [
        each
        for each in plan
        if each.judged.surface.name == task.surface.name and each.judged.job.name != task.job.name
    ]
    if not beside:
        return placed
    before = tuple(_work(each, each.end) for each in beside if each.end <= placed.start)
    after = tuple(_work(each, each.start) for each in beside if each.end > placed.start)
    attempt = replace(
        task.attempt, done=(*task.attempt.done, *before), planned=(*task.attempt.planned, *after)
    )
    suitability = judge(task.job, task.surface, attempt)
    return replace(
        placed,
        judged=replace(task, attempt=attempt, suitability=suitability),
        score=float(suitability.score[placed.hour]),
    )


def _work(placed: Placed, at: datetime) -> WorkDone:
    job = placed.judged.job
    return WorkDone(job=job.name, kind=job.kind, surface=placed.judged.surface.name, at=at)


def _starts(
    task: Judged, number: int, now: datetime, days: int, away: list[tuple[float, float]], worth: float
) -> list[_Start]:
    weather = task.attempt.quantities.weather
    first = weather.index(now)
    last = min(weather.hours, first + days * 24)
    found = []
    for hour in range(max(first, 0), last):
        if task.suitability.state[hour] > NARROW:
            continue
        at_h = float(weather.first_hour + hour)
        if at_h * 3600.0 < now.timestamp():
            # The hour is running: what is left of it begins where its window does.
            begins = [window.start for window in task.windows if weather.index(window.start) == hour]
            if not begins:
                continue
            at_h = begins[0].timestamp() / 3600.0
        end_h = at_h + task.job.duration_h
        if any(at_h < gone[1] and end_h > gone[0] for gone in away):
            continue
        ahead = (hour - first) / 24.0
        value = worth * (0.2 + 0.8 * float(task.suitability.score[hour])) * _WORTH_KEPT_PER_DAY**ahead
        found.append(_Start(number, at_h, hour, value))
    return found


def clash(first: Judged, first_h: float, second: Judged, second_h: float) -> bool:
    """Whether two starts cannot both be: they overlap, or a gap between them on one surface is too short."""
    if first_h > second_h:
        first, first_h, second, second_h = second, second_h, first, first_h
    return second_h - first_h < first.job.duration_h + wait_h(first, second) - _SAME_H


def wait_h(first: Judged, second: Judged) -> float:
    """Hours that must lie between the end of one job and the start of the other; none on different surfaces."""
    if first.surface.name != second.surface.name:
        return 0.0
    since = _least_h(second, "since", first)
    return max([0.0, *since, *_least_h(first, "until", second)])


def _least_h(judged: Judged, direction: str, other: Judged) -> list[float]:
    """The gaps that a job asks for to another one, whether or not such work is on record yet."""
    return [
        need.hard_min * UNITS_H[need.unit]
        for need in judged.job.needs_on(judged.surface)
        if isinstance(need, Gap)
        and need.direction == direction
        and need.hard_min is not None
        and (other.job.name in need.other or other.job.kind in need.other)
    ]


def _solve(tasks: Sequence[Judged], starts: Sequence[_Start], limits: _Hours) -> tuple[list[int], str]:
    try:
        found = choose([start.value for start in starts], _rows(tasks, starts, limits))
    except ImportError:
        return _one_by_one(tasks, starts, limits), "placed one by one; the solver is not installed"
    if found is not None and found.is_best:
        return found.items, "best found by mixed-integer programming"
    plain = _one_by_one(tasks, starts, limits)
    if found is None or _worth(starts, found.items) < _worth(starts, plain):
        return plain, "placed one by one; the solver found nothing better in its time"
    return found.items, "best so far by mixed-integer programming; its time ran out"


def _worth(starts: Sequence[_Start], chosen: Iterable[int]) -> float:
    return sum(starts[index].value for index in chosen)


def _one_by_one(tasks: Sequence[Judged], starts: Sequence[_Start], limits: _Hours) -> list[int]:
    chosen: list[int] = []
    used: dict[date, float] = {}
    for index in sorted(range(len(starts)), key=lambda i: -starts[i].value):
        start, day = starts[index], limits.day_of(starts[index])
        length = tasks[start.task].job.duration_h
        if any(starts[other].task == start.task for other in chosen):
            continue
        if used.get(day, 0.0) + length > limits.of(day) + _SAME_H:
            continue
        if any(clash(tasks[start.task], start.at_h, tasks[starts[o].task], starts[o].at_h) for o in chosen):
            continue
        chosen.append(index)
        used[day] = used.get(day, 0.0) + length
    return chosen


def _rows(tasks: Sequence[Judged], starts: Sequence[_Start], limits: _Hours) -> list[AtMost]:
    """The weighted limits the solver keeps: each job once, hours of the day, one pair of hands, gaps."""
    count = len(starts)
    by_task: dict[int, list[int]] = {}
    for index, start in enumerate(starts):
        by_task.setdefault(start.task, []).append(index)
    rows = [_not_more(indices) for indices in by_task.values()]
    day_of = [limits.day_of(start) for start in starts]
    for day in sorted(set(day_of)):
        indices = [index for index in range(count) if day_of[index] == day]
        lengths = [tasks[starts[index].task].job.duration_h for index in indices]
        rows.append(AtMost(indices, lengths, limits.of(day)))
    # Two jobs are at once if and only if both are under way when the later one begins.
    for at_h in sorted({start.at_h for start in starts}):
        busy = [
            index
            for index, start in enumerate(starts)
            if start.at_h <= at_h < start.at_h + tasks[start.task].job.duration_h - _SAME_H
        ]
        if len(busy) > 1:
            rows.append(_not_more(busy))
    return rows + _gap_rows(tasks, starts, by_task)


def _not_more(indices: Sequence[int]) -> AtMost:
    """At most one of these."""
    return AtMost(indices, [1.0] * len(indices), 1.0)


def _gap_rows(
    tasks: Sequence[Judged], starts: Sequence[_Start], by_task: Mapping[int, list[int]]
) -> list[AtMost]:
    """For each start, the starts of another job on its surface that come too near it: not both.

    Of the rivals, all of one job, at most one is chosen anyway, so one row holds them all.
    """
    rows = []
    for one, own in by_task.items():
        for other, theirs in by_task.items():
            if other <= one or tasks[one].surface.name != tasks[other].surface.name:
                continue
            apart = (
                tasks[one].job.duration_h + wait_h(tasks[one], tasks[other]),
                tasks[other].job.duration_h + wait_h(tasks[other], tasks[one]),
            )
            for index in own:
                at_h = starts[index].at_h
                near = [r for r in theirs if -apart[1] + _SAME_H < starts[r].at_h - at_h < apart[0] - _SAME_H]
                if near:
                    rows.append(_not_more([index, *near]))
    return rows
