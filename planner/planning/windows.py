"""Windows for a job: runs of start hours that hold, with the latest start that still does."""

from __future__ import annotations

import math
from collections.abc import Iterator
from dataclasses import dataclass, replace
from datetime import datetime, timedelta

import numpy as np
from msgspec import Struct, structs

from planner.margin import EPS, NARROW, STATES, STEADY, UNREAD, State
from planner.planning.suitability import Suitability, verdicts
from planner.rules.base import Attempt, Need, ResultKey
from planner.rules.limit import Limit
from planner.terms import SPRAYING
from planner.weather import HourlyWeather, Mask

_JUST_BEFORE = 1e-6
#: An opening is rounded up to a millionth of an hour.
_A_MOMENT = 1e-5


class Window(Struct, frozen=True, kw_only=True):
    """A run of start hours in which one job on one surface holds."""

    job: str
    surface: str
    start: datetime
    latest_start: datetime
    end: datetime
    """When work begun at the latest start is finished."""
    best_start: datetime
    state: State
    score: float
    margin: float
    """Margin of the tightest need at the best start, 0..1."""
    chance: float | None
    steady_from: datetime | None
    """Start of the steady hours around the best start; None where no hour of it is steady."""
    steady_until: datetime | None
    """The end of the last of them."""
    best_hour: int
    """Index of the best start hour in the weather."""
    next_start: datetime | None = None
    """Start of the next window for the same job and surface."""
    offset_h: float = 0.0
    """For a window that opens and closes within an hour: how far into it its best start lies."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Moments:
    """The moments within an hour at which a job may begin or cease to hold, and what its needs rest on there."""

    latest: tuple[tuple[Attempt, tuple[tuple[Need, ResultKey], ...]], ...]
    """In order of time, each with the needs that rest on other figures than at the moment before."""
    earliest: tuple[tuple[Attempt, tuple[tuple[Need, ResultKey], ...]], ...]
    """From the end of the hour backward, each with all needs; empty where none begins to hold within an hour."""

    def keys(self) -> Iterator[ResultKey]:
        """All keys, for the figures that they rest on."""
        return (key for _, pairs in (*self.latest, *self.earliest) for _, key in pairs)


def moments_of(needs: tuple[Need, ...], keys: tuple[ResultKey, ...], attempt: Attempt) -> Moments:
    """What a span touches changes only where one of its edges crosses a full hour, so only those moments count."""
    edges = [need.edges_h(attempt) for need in needs]
    crossings = sorted({*(1.0 - edge % 1.0 for each in edges for edge in each), 1.0})
    moving = [(need, key) for need, key, each in zip(needs, keys, edges, strict=True) if each]
    latest = []
    for offset in crossings:
        shifted = replace(attempt, offset_h=offset - _JUST_BEFORE)
        now_on = [(need, need.key_at(shifted, key)) for need, key in moving]
        pairs = zip(now_on, moving, strict=True)
        latest.append((shifted, tuple(pair for pair, before in pairs if pair[1] is not before[1])))
        moving = now_on
    # Rounded up: a moment before it opens is closed.
    openings = {
        math.ceil((moment % 1.0) * 1e6 - 1e-3) / 1e6 for need in needs for moment in need.opens_h(attempt)
    } - {0.0, 1.0}
    backward = (1.0 - _JUST_BEFORE, *sorted(openings, reverse=True)) if openings else ()
    shifts = (replace(attempt, offset_h=offset) for offset in backward)
    whole = tuple(zip(needs, keys, strict=True))
    earliest = tuple(
        (shifted, tuple((need, need.key_at(shifted, key)) for need, key in whole)) for shifted in shifts
    )
    return Moments(latest=tuple(latest), earliest=earliest)


def find(
    suitability: Suitability, attempt: Attempt, *, now: datetime, moments: Moments | None = None
) -> tuple[Window, ...]:
    """All windows from now on, in order of time. `moments` where they are known already."""
    weather = attempt.quantities.weather
    first = max(0, weather.index(now))
    good = suitability.state <= NARROW
    good[:first] = False
    edges = np.flatnonzero(np.diff(good.astype(np.int8), prepend=0, append=0)).tolist()
    runs = [(begin, end - 1) for begin, end in zip(edges[::2], edges[1::2], strict=True)]
    needs = suitability.needs
    moments = moments or moments_of(needs, tuple(need.key(attempt) for need in needs), attempt)
    # Without a full hour that holds there may still be one that opens within an hour.
    if not runs and len(moments.earliest) < 2:
        return ()
    latest = _latest_offsets(moments, weather.hours, [last for _, last in runs])
    earliest = _earliest_offsets(moments, [begin for begin, _ in runs], first)
    # Lists are several times faster than arrays to pick single hours from.
    tightest = np.fmin.reduce(suitability.margin, axis=0)
    least = tightest.tolist()
    # Steady before narrow; then the tightest need decides, and the mean of all only where two are as tight. Beyond
    # comfort there is nothing to choose.
    worth = (
        np.round(np.minimum(tightest, 1.0), 2) - 2.0 * suitability.state + 1e-3 * suitability.score
    ).tolist()
    score, state = suitability.score.tolist(), suitability.state.tolist()
    chance = None if suitability.chance is None else suitability.chance.tolist()
    soonest = _next_five_minutes(now)
    hour_0 = weather.start
    windows: list[Window] = []
    # From the last to the first, so that each knows the one that comes after it.
    for (begin, last), sooner, offset in zip(
        reversed(runs), reversed(earliest), reversed(latest), strict=True
    ):
        latest_start = hour_0 + timedelta(hours=last, minutes=_minutes(offset))
        start = max(hour_0 + timedelta(hours=begin, minutes=-_minutes(sooner)), soonest)
        if start > latest_start:
            continue
        best = max(range(begin, last + 1), key=worth.__getitem__)
        steady = _steady_run(state, best, begin, last)
        windows.append(
            Window(
                job=suitability.job.name,
                surface=suitability.surface.name,
                start=start,
                latest_start=latest_start,
                end=latest_start + timedelta(hours=suitability.job.duration_h),
                best_start=max(hour_0 + timedelta(hours=best), start) if best > begin else start,
                state=STATES[state[best]],
                score=score[best],
                margin=min(1.0, least[best]),
                chance=None if chance is None else _known(chance[best]),
                steady_from=None if steady is None else max(hour_0 + timedelta(hours=steady[0]), start),
                steady_until=None if steady is None else hour_0 + timedelta(hours=steady[1] + 1),
                best_hour=best,
                next_start=windows[-1].start if windows else None,
            )
        )
    short = _within_hours(suitability, moments, good, first, hour_0, soonest)
    if not short:
        return tuple(reversed(windows))
    whole = sorted((*windows, *short), key=lambda window: window.start)
    later = [window.start for window in whole[1:]]
    return tuple(
        structs.replace(window, next_start=then) for window, then in zip(whole, [*later, None], strict=True)
    )


def _within_hours(
    suitability: Suitability,
    moments: Moments,
    good: Mask,
    first: int,
    hour_0: datetime,
    soonest: datetime,
) -> list[Window]:
    """Windows of which no full hour holds: hours of work that begin and end at odd minutes leave such."""
    opened: dict[int, tuple[Attempt, tuple[tuple[Need, ResultKey], ...]]] = {}
    alone = ~good & ~np.append(good[1:], False)
    alone[:first] = False
    # The first of the moments is the end of the hour; then from the latest opening to the earliest.
    for shifted, pairs in moments.earliest[1:]:
        alive = alone
        # Clocks first: they leave the fewest hours.
        for need, key in sorted(pairs, key=lambda pair: not pair[0].is_calendar):
            alive = alive & ~need.result(shifted, key).closed
            if not alive.any():
                break
        opened |= dict.fromkeys(np.flatnonzero(alive).tolist(), (shifted, pairs))
    found = []
    for hour, (shifted, pairs) in sorted(opened.items()):
        margin = np.array([[need.result(shifted, key).margin[hour]] for need, key in pairs])
        state, score, _ = verdicts(suitability.needs, margin)
        last = _last_moment(moments, suitability.needs, hour, shifted.offset_h)
        start = max(hour_0 + timedelta(hours=hour, minutes=_minutes(shifted.offset_h + _A_MOMENT)), soonest)
        latest = hour_0 + timedelta(hours=hour, minutes=_minutes(last))
        if state[0] > NARROW or start > latest:
            continue
        is_steady = state[0] == STEADY
        found.append(
            Window(
                job=suitability.job.name,
                surface=suitability.surface.name,
                start=start,
                latest_start=latest,
                end=latest + timedelta(hours=suitability.job.duration_h),
                best_start=start,
                state=STATES[state[0]],
                score=float(score[0]),
                margin=float(np.clip(np.fmin.reduce(margin[:, 0]), 0.0, 1.0)),
                chance=None,
                steady_from=start if is_steady else None,
                steady_until=latest if is_steady else None,
                best_hour=hour,
                offset_h=shifted.offset_h,
            )
        )
    return found


def _last_moment(moments: Moments, needs: tuple[Need, ...], hour: int, after_h: float) -> float:
    """The last moment within the hour, from one at which all holds, up to which all still does."""
    last = after_h
    for shifted, _ in moments.latest:
        if shifted.offset_h <= after_h:
            continue
        if any(need.result(shifted, need.key(shifted)).closed[hour] for need in needs):
            break
        last = min(shifted.offset_h + _JUST_BEFORE, 55.0 / 60.0)
    return max(last, after_h)


def _steady_run(state: list[int], best: int, begin: int, last: int) -> tuple[int, int] | None:
    """First and last hour of the steady run that holds the best hour."""
    if state[best] != STEADY:
        return None
    low = high = best
    while low > begin and state[low - 1] == STEADY:
        low -= 1
    while high < last and state[high + 1] == STEADY:
        high += 1
    return low, high


def _known(value: float) -> float | None:
    return None if value != value else value


def _minutes(hours: float) -> int:
    """Whole minutes, rounded down; moments are rounded to a millionth of an hour, which is not a minute."""
    return int(hours * 60.0 + 1e-3)


def _next_five_minutes(moment: datetime) -> datetime:
    past = timedelta(minutes=moment.minute % 5, seconds=moment.second, microseconds=moment.microsecond)
    return moment - past + timedelta(minutes=5) if past else moment


def _latest_offsets(moments: Moments, hours: int, lasts: list[int]) -> list[float]:
    """For each hour of `lasts` the latest start within it (0..1 h) at which every need still holds."""
    closed = np.zeros((len(moments.latest), hours), dtype=bool)
    for row, (shifted, pairs) in zip(closed, moments.latest, strict=True):
        for need, key in pairs:
            row |= need.result(shifted, key).closed
    # What fails at one moment cannot hold from there on: the last moment before the first failure counts.
    held = ~np.logical_or.accumulate(closed[:, lasts], axis=0)
    offsets = [0.0, *(shifted.offset_h + _JUST_BEFORE for shifted, _ in moments.latest)]
    latest = np.array(offsets)[held.sum(axis=0)]
    # A start on the next full hour belongs to the next hour, which does not hold.
    return [min(float(offset), 55.0 / 60.0) if offset >= 1.0 else float(offset) for offset in latest]


def _earliest_offsets(moments: Moments, begins: list[int], first: int) -> list[float]:
    """How much before its first full hour each run already holds, in hours.

    Only clocks and gaps open within an hour; everything else must hold in the hour before from then on.
    """
    sooner = [0.0] * len(begins)
    if not begins:
        return sooner
    before = np.maximum(np.array(begins) - 1, 0)
    alive = np.array(begins) > first
    # From the end of the hour backward: what fails at a later moment cannot hold from an earlier one on.
    for shifted, pairs in moments.earliest:
        for need, key in pairs:
            alive = alive & ~need.result(shifted, key).closed[before]
        for run in np.flatnonzero(alive):
            sooner[run] = 1.0 - shifted.offset_h
    return sooner


@dataclass(frozen=True, slots=True, kw_only=True)
class Closed:
    """Why a job has no window soon. Hours are those ahead that clock, season and light leave open."""

    hours_unread: int
    """Hours that are not read, and that nothing known closes."""
    unread_hour: int | None
    """The first of them, in the weather."""
    is_past_end: bool
    """Whether the hours that the needs look at lie past the forecast at every start."""
    lost: dict[int, int]
    """Hours that each need closes, by its row, whatever else of them is not known."""
    nearest: dict[int, int]
    """Of those, the hour that comes nearest to holding."""
    least_bad: tuple[int, ...]
    """Up to two hours that miss by least, of those that do no harm; none for a spray or a job with a label."""
    harmful: tuple[int, ...]
    """Rows of the needs past which work harms, that close hours."""


def _reach_h(suitability: Suitability) -> int:
    """Hours after the start that the needs look at, at most."""
    ends = [
        need.span_h(suitability.job.duration_h)[1]
        for need in suitability.needs
        if isinstance(need, Limit) and need.sum_up != "mean_ahead"
    ]
    return int(np.ceil(max(ends, default=0.0)))


def closed_by(suitability: Suitability, weather: HourlyWeather, *, now: datetime, hours: int) -> Closed:
    """The causes over the next `hours` hours."""
    first = max(0, weather.index(now))
    last = min(weather.hours, first + hours)
    failing = suitability.margin < -EPS
    calendar = np.array([need.is_calendar for need in suitability.needs])
    ahead = np.zeros(weather.hours, dtype=bool)
    ahead[first:last] = True
    # Hours whose after-hours lie past the forecast cannot be read by anybody: they are no reason.
    reached = ahead & (np.arange(weather.hours) < weather.hours - _reach_h(suitability))
    ahead = reached if reached.any() else ahead
    is_open = ahead & ~failing[calendar].any(axis=0)
    inside = is_open if is_open.any() else ahead
    # What is known to close an hour closes it, whatever else of it is not known.
    closed = failing & inside
    unread = np.flatnonzero(inside & (suitability.state == UNREAD) & ~closed.any(axis=0))
    lost = {int(row): int(closed[row].sum()) for row in range(len(closed)) if closed[row].any()}
    nearest = {row: int(np.argmax(np.where(closed[row], suitability.margin[row], -np.inf))) for row in lost}
    # What harms, and what a label sets, is nothing to weigh.
    barring = np.array([need.harm or need.from_label for need in suitability.needs])
    weighed = is_open & (suitability.state > NARROW) & (suitability.state != UNREAD)
    weighed &= ~failing[barring].any(axis=0)
    # Nor is what may harm and is not known.
    harmful = np.array([need.harm for need in suitability.needs])
    weighed &= ~np.isnan(suitability.margin[harmful]).any(axis=0)
    if suitability.job.has_label or suitability.job.kind == SPRAYING:
        weighed[:] = False
    candidates = np.flatnonzero(weighed)
    miss = np.fmin(suitability.margin, 0.0)
    order = sorted(candidates, key=lambda hour: ((miss[:, hour] < 0).sum(), -float(miss[:, hour].sum())))
    return Closed(
        hours_unread=int(unread.size),
        unread_hour=int(unread[0]) if unread.size else None,
        is_past_end=not reached.any(),
        lost=lost,
        nearest=nearest,
        least_bad=tuple(int(hour) for hour in order[:2]),
        harmful=tuple(row for row in sorted(lost, key=lambda row: -lost[row]) if suitability.needs[row].harm),
    )
