"""The week's order: one keeper, one pair of hands, the jobs that wait, the hours that hold.

Every start that holds is a possible start. The best set of starts is found by mixed-integer programming
(HiGHS): no two jobs at once, the gaps between jobs on a surface kept, the keeper's hours of each day kept, what
other sites share never in two places (`shared`). Where the solver is not to be had or finds nothing in
its time, jobs are placed one by one by worth, and the answer says so. Every placed job is then judged once more with
the rest of the plan as work done before it or planned after it, so that what is said of it is true of the whole plan.
"""

from __future__ import annotations

from collections.abc import Collection, Iterable, Sequence
from dataclasses import dataclass, replace
from datetime import datetime, timedelta
from zoneinfo import ZoneInfo

import numpy as np

from planner.margin import EPS, NARROW, UNREAD
from planner.planning.apart import Apart, Away, HoursOfDays, Pairs, pairs_of
from planner.planning.asks import Ask, Frame, Start, starts_of
from planner.planning.plan import Judged
from planner.planning.shared import Missed, Shared
from planner.planning.solver import choose
from planner.planning.suitability import judge
from planner.site import WorkDone

#: How often the week is planned anew when a placed job does not hold beside the rest.
_TRIES = 6


@dataclass(frozen=True, slots=True, kw_only=True)
class Placed:
    """A job with the hour found for it."""

    ask: Ask
    judged: Judged
    start: datetime
    end: datetime
    score: float
    hour: int
    together: tuple[str, ...] = ()
    """Jobs that share its tank."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Left:
    """An ask that found no hour, and what took its hours."""

    ask: Ask
    hours: int
    """Hours of its days in which it could be begun by clock, light and season."""
    lost: tuple[tuple[int, int, int], ...] = ()
    """Needs, by row, that close such hours, how many, and the hour that comes nearest to holding; the most first."""
    is_away: bool = False
    """Whether hours hold, but the keeper is away or taken in all of them."""
    is_unread: bool = False
    """Whether most of the hours cannot be read."""
    taken_by: tuple[Judged, ...] = ()
    """Work that stands in the hours that hold."""
    beside: Placed | None = None
    """Where it failed beside the rest of the plan."""
    wanted_at: tuple[str, ...] = ()
    """Other sites that have what is shared, or need it more, in hours that hold."""


@dataclass(frozen=True, slots=True, kw_only=True)
class WeekOrder:
    """Jobs in order of time, those that found no hour with the reason, and how it was found."""

    placed: tuple[Placed, ...]
    left: tuple[Left, ...]
    method: str
    missed: tuple[Missed, ...] = ()
    """Hours that work without one would have, were it not for the other sites."""


def order(
    asks: Sequence[Ask],
    *,
    now: datetime,
    zone: ZoneInfo,
    days: int = 7,
    hours_a_day: float = 8.0,
    away: Iterable[Away] = (),
    planned: Iterable[Away] = (),
    mixes: Collection[tuple[str, frozenset[str]]] = (),
    shared: Shared | None = None,
) -> WeekOrder:
    """Place each ask at most once within the days ahead.

    `planned`: the times of work that is fixed already; it takes the keeper's hands and hours of its day.
    `mixes`: surfaces, each with two jobs whose materials may share a tank.
    `shared`: the sprayer or the keeper, where other sites have them too.
    """
    fixed = tuple(planned)
    elsewhere = tuple(
        (gone.start.timestamp() / 3600.0, gone.end.timestamp() / 3600.0) for gone in (*away, *fixed)
    )
    frame = Frame(now=now, zone=zone, days=days, elsewhere=elsewhere, shared=shared)
    # Hours of the day that a shared keeper works on other sites are gone here, too.
    spent = (
        [] if shared is None or not shared.is_keeper else shared.absent(now, now + timedelta(days=days + 1))
    )
    hours = HoursOfDays(zone, hours_a_day, (*fixed, *(Away(start=begin, end=end) for _, begin, end in spent)))
    rules = _Rules(asks, pairs_of(asks), hours, shared)
    found = _ordered(rules, frame, mixes)
    if shared is None or not any(left.wanted_at for left in found.left):
        return found
    # What would it be, were it free? That is told to the other sites.
    alone = replace(rules, hours=HoursOfDays(zone, hours_a_day, fixed), shared=None)
    free = starts_of(asks, replace(frame, shared=None), mixes)
    lacking = {left.ask for left in found.left if left.wanted_at}
    missed = tuple(
        Missed(at_h=start.at_h, end_h=start.end_h, value=start.value)
        for start, some in (_place_all(alone, free)[0] if free else [])
        if any(each.ask in lacking for each in some) and shared.sites_at(start.at_h, start.end_h)
    )
    return replace(found, missed=missed)


@dataclass(frozen=True, slots=True)
class _Rules:
    """What the starts of a week keep to."""

    asks: Sequence[Ask]
    pairs: Pairs
    hours: HoursOfDays
    shared: Shared | None

    def apart(self, starts: Sequence[Start]) -> Apart:
        return Apart(self.pairs, starts, self.hours)


def _ordered(rules: _Rules, frame: Frame, mixes: Collection[tuple[str, frozenset[str]]]) -> WeekOrder:
    """What is placed and what is left of all that is asked for."""
    asks, shared = rules.asks, rules.shared
    starts = starts_of(asks, frame, mixes)
    if not starts:
        nowhere = tuple(_without_hour(ask, frame, shared) for ask in asks)
        return WeekOrder(placed=(), left=nowhere, method="nothing to place")
    chosen, failed, method, elsewhere = _place_all(rules, starts)
    done = {ask for start, _ in chosen for ask in start.asks}
    able = {ask for start in starts for ask in start.asks}
    left = []
    for number, ask in enumerate(asks):
        if number not in able:
            left.append(_without_hour(ask, frame, shared))
        elif number not in done:
            crowded = _crowded_out(rules, number, starts, chosen, frame, elsewhere)
            left.append(replace(crowded, beside=failed.get(number)))
    placed = sorted(
        (each for _, some in chosen for each in some), key=lambda each: (each.start, each.judged.job.name)
    )
    return WeekOrder(placed=tuple(placed), left=tuple(left), method=method)


#: A start with what it places: several jobs where they share a tank.
_Chosen = list[tuple[Start, list[Placed]]]


def _place_all(rules: _Rules, starts: list[Start]) -> tuple[_Chosen, dict[int, Placed], str, Collection[int]]:
    """What is placed, what of each ask failed beside the rest, how it was found, and which hours missed
    elsewhere are left to them.

    A start that fails beside the rest is not tried again.
    """
    failed: dict[int, Placed] = {}
    for _ in range(_TRIES):
        picked, method = _solve(rules, starts)
        mine = [index for index in picked if index < len(starts)]
        theirs = [index - len(starts) for index in picked if index >= len(starts)]
        alone = [(starts[index], _placed(rules.asks, starts[index])) for index in mine]
        whole, failing = _judged_together(alone, failed)
        if not failing:
            return whole, failed, method, theirs
        starts = [start for start in starts if start not in failing]
    while failing:
        alone = [(start, each) for start, each in alone if start not in failing]
        whole, failing = _judged_together(alone, failed)
    return whole, failed, method, theirs


def _judged_together(alone: _Chosen, failed: dict[int, Placed]) -> tuple[_Chosen, set[Start]]:
    """Each placed job judged beside the rest of the plan, and the starts that then fail."""
    plan = [each for _, some in alone for each in some]
    whole = [(start, [in_plan(each, plan) for each in some]) for start, some in alone]
    failing = set()
    for start, some in whole:
        for number, each in zip(start.asks, some, strict=True):
            if each.judged.suitability.state[each.hour] > NARROW:
                failed[number] = each
                failing.add(start)
    return whole, failing


def _placed(asks: Sequence[Ask], start: Start) -> list[Placed]:
    jobs = [asks[number].judged.job.name for number in start.asks]
    return [
        Placed(
            ask=asks[number],
            judged=asks[number].judged,
            start=start.at,
            end=start.at + timedelta(hours=start.length_h),
            score=float(asks[number].judged.suitability.score[start.hour]),
            hour=start.hour,
            together=tuple(name for name in jobs if name != asks[number].judged.job.name),
        )
        for number in start.asks
    ]


def in_plan(placed: Placed, plan: Iterable[Placed]) -> Placed:
    """The job judged again at its very start, with the other work of the plan on its surface done before it or
    planned after it. What shares its tank is one pass with it."""
    task = placed.judged
    beside = [
        each
        for each in plan
        if each.judged.surface.name == task.surface.name
        and each.ask is not placed.ask
        and not (each.judged.job.name in placed.together and each.start == placed.start)
    ]
    weather = task.attempt.quantities.weather
    hour = weather.index(placed.start)
    offset_h = (placed.start - weather.time(hour)) / timedelta(hours=1)
    if not beside and offset_h < EPS:
        return placed
    before = tuple(_work(each, each.end) for each in beside if each.end <= placed.start)
    after = tuple(_work(each, each.start) for each in beside if each.end > placed.start)
    attempt = replace(
        task.attempt,
        done=(*task.attempt.done, *before),
        planned=(*task.attempt.planned, *after),
        offset_h=offset_h,
    )
    suitability = judge(task.job, task.surface, attempt)
    return replace(
        placed,
        judged=replace(task, attempt=attempt, suitability=suitability),
        score=float(suitability.score[hour]),
        hour=hour,
    )


def _work(placed: Placed, at: datetime) -> WorkDone:
    job = placed.judged.job
    return WorkDone(job=job.name, kind=job.kind, surface=placed.judged.surface.name, at=at)


def _without_hour(ask: Ask, frame: Frame, shared: Shared | None) -> Left:
    """Why no start of an ask is possible: which needs close the hours of its days."""
    judged = ask.judged
    begin_h, end_h = frame.span_h(ask)
    weather, found = judged.attempt.quantities.weather, judged.suitability
    first = max(0, int(np.ceil(begin_h - weather.first_hour - 1e-9)))
    last = min(weather.hours, int(np.ceil(end_h - weather.first_hour - 1e-9)))
    inside = np.zeros(weather.hours, dtype=bool)
    inside[first : max(first, last)] = True
    holds = bool((inside & (found.state <= NARROW)).any())
    failing = found.margin < -EPS
    calendar = np.array([need.is_calendar for need in found.needs])
    is_open = inside & ~failing[calendar].any(axis=0)
    counted = is_open if is_open.any() else inside
    closed = failing & counted
    lost = {row: int(closed[row].sum()) for row in range(len(closed))}
    most = [
        (row, count, int(np.argmax(np.where(closed[row], found.margin[row], -np.inf))))
        for row, count in sorted(lost.items(), key=lambda pair: -pair[1])
        if count
    ]
    unread = int((counted & (found.state == UNREAD) & ~closed.any(axis=0)).sum())
    return Left(
        ask=ask,
        hours=int(is_open.sum()),
        lost=tuple(most),
        is_away=holds,
        is_unread=not holds and unread > 0 and unread >= max(lost.values(), default=0),
        wanted_at=() if shared is None else _wanted_at(ask, frame, shared, inside & (found.state <= NARROW)),
    )


def _wanted_at(ask: Ask, frame: Frame, shared: Shared, holds: np.ndarray) -> tuple[str, ...]:
    """The sites that have what is shared in the hours that hold and in which the keeper is not away."""
    if not shared.does(ask):
        return ()
    here, length_h = replace(frame, shared=None), ask.judged.job.duration_h
    first_h = ask.judged.attempt.quantities.weather.first_hour
    hours = [first_h + float(hour) for hour in np.flatnonzero(holds)]
    found = (shared.sites_at(h, h + length_h) for h in hours if here.is_free(ask, h, h + length_h))
    return tuple(dict.fromkeys(site for sites in found for site in sites))


def _crowded_out(
    rules: _Rules,
    number: int,
    starts: Sequence[Start],
    chosen: _Chosen,
    frame: Frame,
    elsewhere: Collection[int],
) -> Left:
    """Which work stands in the hours that an ask could have had, here or on another site."""
    ask, shared, apart = rules.asks[number], rules.shared, rules.apart(starts)
    mine = sorted((start for start in starts if number in start.asks), key=lambda start: -start.value)
    rivals: dict[str, Judged] = {}
    sites: list[str] = []
    for start in mine[:12]:
        for other, some in chosen:
            if not apart.both(start, other):
                rivals |= {f"{one.judged.job.name} {one.judged.surface.name}": one.judged for one in some}
        if shared is not None and shared.does(ask):
            sites += shared.wanted_at(start, elsewhere)
    closed = _without_hour(ask, frame, shared)
    at = tuple(dict.fromkeys((*closed.wanted_at, *sites)))
    return replace(closed, is_away=False, taken_by=tuple(rivals.values()), wanted_at=at)


def _solve(rules: _Rules, starts: Sequence[Start]) -> tuple[list[int], str]:
    """The starts taken, and after them, by number, the hours missed elsewhere that are left to them."""
    apart = rules.apart(starts)
    values, rows = [start.value for start in starts], apart.rows()
    if rules.shared is not None:
        values, rows = values + rules.shared.values, rows + rules.shared.rows(rules.asks, starts)
    try:
        found = choose(values, rows)
    except ImportError:
        return apart.one_by_one(), "placed one by one; the solver is not installed"
    if found is not None and found.is_best:
        return found.items, "the best order there is"
    plain = apart.one_by_one()
    if found is None or _worth(starts, found.items) < _worth(starts, plain):
        return plain, "placed one by one; the solver found nothing better in its time"
    return found.items, "the best order found in the time there was"


def _worth(starts: Sequence[Start], chosen: Iterable[int]) -> float:
    return sum(starts[index].value for index in chosen if index < len(starts))
