"""What the week is asked to hold, and at which starts each of it may stand, with what a start is worth.

Work that is wanted again and again is asked for as often as it falls due. It may come a little early or late;
before that it brings nothing, so that a poor hour today never beats a good one near the due day.
"""

from __future__ import annotations

import math
from collections.abc import Collection, Iterable, Sequence
from dataclasses import dataclass
from datetime import UTC, date, datetime, time, timedelta
from itertools import combinations
from typing import Protocol
from zoneinfo import ZoneInfo

from planner.margin import NARROW
from planner.planning.plan import Judged
from planner.terms import SPRAYING

#: Work may be done this share of its interval before it is due, but no more than so many days. Judgement.
_EARLY_SHARE, _EARLY_MOST_D = 0.2, 3.0
#: Two turns of the same work lie at least this share of its interval apart. Judgement.
APART_SHARE = 0.6
#: Share of its worth that work keeps for each day early, for each day late, and for each day of waiting where
#: nothing is due on a day of its own: nearer hours are better known. Judgement.
_KEPT_EARLY, _KEPT_LATE, _KEPT_WAITING = 0.8, 0.9, 0.97
#: What is left of the worth once the day that work was wanted by has gone. Judgement.
_TOO_LATE = 0.5
#: Starts of one day that are tried: the best of them.
_STARTS_A_DAY = 8
#: One pass for two jobs saves a pass. Judgement.
_ONE_PASS_GAIN = 1.05
#: Worth of a day outside the best days before a play day. Judgement.
_OFF_PLAY = 0.6
#: Work is put off by up to this share of its interval for the best days before play. Judgement.
_PUT_OFF_SHARE = 0.6


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Ask:
    """One job on one surface, asked for once."""

    judged: Judged
    due: datetime | None = None
    """When it is due; None where any time of the days ahead will do."""
    every_d: float | None = None
    """Days from one turn to the next; None for work that is wanted once."""
    is_last: bool = True
    """Whether no later turn of it falls into the week."""
    is_by: bool = False
    """Whether it is wanted once, at any time up to `due`."""
    not_before: datetime | None = None
    ends_by: datetime | None = None
    """For the morning of a play day: finished by then, on that day."""
    play: datetime | None = None
    """The play day that it is counted back from."""
    worth: float = 1.0

    @property
    def sprays(self) -> bool:
        """Whether it takes the sprayer."""
        return self.judged.job.kind == SPRAYING

    def due_day(self, today: date, zone: ZoneInfo) -> date | None:
        """The local day it is due on; today for what is overdue."""
        return None if self.due is None else max(self.due.astimezone(zone).date(), today)

    def days_of(self, today: date, days: int, zone: ZoneInfo) -> tuple[date, date]:
        """First and last local day on which it may stand."""
        end = today + timedelta(days=days)
        day = self.due_day(today, zone)
        if self.ends_by is not None:
            day = self.ends_by.astimezone(zone).date()
            return day, day
        if day is None or self.is_by:
            return today, end
        early = math.floor(min(_EARLY_SHARE * (self.every_d or 5.0), _EARLY_MOST_D))
        late = end if self.is_last else day + timedelta(days=max(0, math.ceil(self.every_d or 1.0) - 1))
        return max(today, day - timedelta(days=early)), late

    def kept_on(self, day: date, at: datetime, now: datetime, zone: ZoneInfo) -> float:
        """Share of its worth that it keeps on a day."""
        waiting = _KEPT_WAITING ** ((at - now) / timedelta(days=1))
        due = self.due_day(now.astimezone(zone).date(), zone)
        counted_back = self._before_play(at, due or now.astimezone(zone).date(), zone)
        if counted_back is not None:
            is_late = self.is_by and self.due is not None and at > self.due
            return float(counted_back * waiting**0.1 * (_TOO_LATE if is_late else 1.0))
        if due is None or self.ends_by is not None:
            kept = waiting
        elif self.is_by:
            # What must be out sooner waits less willingly.
            presses = 1.0 / (1.0 + max((due - now.astimezone(zone).date()).days, 0))
            kept = (1.0 + 0.2 * presses) * waiting ** (1.0 + 3.0 * presses)
            kept = kept if at <= (self.due or at) else kept * _TOO_LATE
        else:
            early = (due - day).days
            # Of two starts as good on one day the sooner is taken.
            kept = (_KEPT_EARLY**early if early > 0 else _KEPT_LATE**-early) * waiting**0.1
        return float(kept)

    def _before_play(self, at: datetime, due: date, zone: ZoneInfo) -> float | None:
        """Share kept by work that is counted back from a play day; None where none is near enough to wait for."""
        best = self.judged.job.before_play_d
        if self.play is None or best is None or at > self.play:
            return None
        best_day = (self.play - timedelta(days=0.5 * (best[0] + best[1]))).astimezone(zone).date()
        if (best_day - due).days > max(_PUT_OFF_SHARE * (self.every_d or 14.0), 1.0):
            return None
        ahead = (self.play - at) / timedelta(days=1)
        outside = max(best[0] - ahead, ahead - best[1] - 0.5, 0.0)
        off_middle = abs((best_day - at.astimezone(zone).date()).days)
        return (_OFF_PLAY if outside > 0.0 else 1.0) * max(1.0 - 0.03 * off_middle, 0.5)

    def apart_h(self) -> float:
        """Hours that two turns of it lie apart at least."""
        return 0.0 if self.every_d is None else APART_SHARE * self.every_d * 24.0


@dataclass(frozen=True, slots=True)
class Start:
    """A possible start of one ask, or of several in one pass."""

    asks: tuple[int, ...]
    """Numbers of the asks."""
    at_h: float
    """Hours since 1970."""
    hour: int
    """Index of the hour in the weather."""
    length_h: float
    day: date
    """Local day."""
    value: float

    @property
    def end_h(self) -> float:
        """When it is done, in hours since 1970."""
        return self.at_h + self.length_h

    @property
    def at(self) -> datetime:
        """The moment it begins."""
        return datetime.fromtimestamp(round(self.at_h * 3600.0), UTC)


class Elsewhere(Protocol):
    """What other sites have as well, and when it is there."""

    @property
    def taken(self) -> tuple[tuple[float, float], ...]:
        """When it cannot be here, in hours since 1970."""

    def does(self, ask: Ask) -> bool:
        """Whether the work takes it."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Frame:
    """The days ahead that work is placed in."""

    now: datetime
    zone: ZoneInfo
    days: int
    elsewhere: tuple[tuple[float, float], ...] = ()
    """When the keeper's hands are taken or away, in hours since 1970."""
    shared: Elsewhere | None = None
    """A sprayer or keeper that other sites have as well."""

    def span_h(self, ask: Ask) -> tuple[float, float]:
        """From when to when it may stand, in hours since 1970."""
        first, last = ask.days_of(self.now.astimezone(self.zone).date(), self.days, self.zone)
        begin = max(self._midnight_h(first), self.now.timestamp() / 3600.0)
        if ask.not_before is not None:
            begin = max(begin, ask.not_before.timestamp() / 3600.0)
        weather = ask.judged.attempt.quantities.weather
        # Weather that begins later than now is counted from its first hour.
        running = float(weather.first_hour + max(weather.index(self.now), 0))
        end = min(self._midnight_h(last + timedelta(days=1)), running + self.days * 24.0)
        if ask.ends_by is not None:
            end = min(end, ask.ends_by.timestamp() / 3600.0 - ask.judged.job.duration_h + 1e-6)
        return begin, end

    def _midnight_h(self, day: date) -> float:
        return datetime.combine(day, time(0), self.zone).timestamp() / 3600.0

    def is_free(self, ask: Ask, at_h: float, end_h: float) -> bool:
        """Whether the keeper's hands are free, and what is shared is not elsewhere."""
        return not any(
            at_h < gone[1] and end_h > gone[0] for gone in (*self.elsewhere, *self.taken_from(ask))
        )

    def taken_from(self, ask: Ask) -> tuple[tuple[float, float], ...]:
        """When what is shared cannot be here for this work, in hours since 1970."""
        return self.shared.taken if self.shared is not None and self.shared.does(ask) else ()


def starts_of(
    asks: Sequence[Ask], frame: Frame, mixes: Collection[tuple[str, frozenset[str]]] = ()
) -> list[Start]:
    """The starts that are tried. `mixes`: surfaces, each with two jobs whose materials may share a tank."""
    shares = {
        (one, other)
        for one, other in combinations(range(len(asks)), 2)
        if asks[one].judged.surface.name == asks[other].judged.surface.name
        and (
            asks[one].judged.surface.name,
            frozenset((asks[one].judged.job.name, asks[other].judged.job.name)),
        )
        in mixes
    }
    sharing = {number for pair in shares for number in pair}
    found = [
        _of_ask(ask, number, frame, None if number in sharing else _STARTS_A_DAY)
        for number, ask in enumerate(asks)
    ]
    together: list[Start] = []
    for one, other in shares:
        at = {start.at_h: start for start in found[other]}
        together += [_one_pass(start, at[start.at_h]) for start in found[one] if start.at_h in at]
        for third in sharing - {one, other}:
            if third > other and {(one, third), (other, third)} <= shares:
                beside = {start.at_h: start for start in found[third]}
                together += [
                    _one_pass(_one_pass(start, at[start.at_h]), beside[start.at_h])
                    for start in found[one]
                    if start.at_h in at and start.at_h in beside
                ]
    return [start for each in found for start in each] + together


def _one_pass(one: Start, other: Start) -> Start:
    return Start(
        asks=(*one.asks, *other.asks),
        at_h=one.at_h,
        hour=one.hour,
        length_h=max(one.length_h, other.length_h),
        day=one.day,
        value=(one.value + other.value) * _ONE_PASS_GAIN,
    )


def _of_ask(ask: Ask, number: int, frame: Frame, most: int | None) -> list[Start]:
    judged = ask.judged
    begin_h, end_h = frame.span_h(ask)
    length_h = judged.job.duration_h
    by_day: dict[date, list[Start]] = {}
    # Also just before it goes and as soon as it comes: a full hour later may be too late.
    edges = [at_h for gone in frame.taken_from(ask) for at_h in (gone[0] - length_h, gone[1])]
    for at_h, hour in _moments(judged, begin_h, end_h, edges):
        if not frame.is_free(ask, at_h, at_h + length_h):
            continue
        at = datetime.fromtimestamp(at_h * 3600.0, UTC)
        day = at.astimezone(frame.zone).date()
        value = ask.worth * _quality(judged, hour) * ask.kept_on(day, at, frame.now, frame.zone)
        by_day.setdefault(day, []).append(Start((number,), at_h, hour, length_h, day, value))
    return [
        start for starts in by_day.values() for start in sorted(starts, key=lambda one: -one.value)[:most]
    ]


def _quality(judged: Judged, hour: int) -> float:
    """Worth of an hour: mostly the tightest need, for many comfortable ones must not hide one that nearly fails."""
    found = judged.suitability
    return 0.2 + 0.56 * found.tight(hour) + 0.24 * float(found.score[hour])


def _moments(
    judged: Judged, begin_h: float, end_h: float, edges: Iterable[float] = ()
) -> Iterable[tuple[float, int]]:
    """Full hours that hold, edges within such hours, and the ends of windows: (hours since 1970, hour in the
    weather)."""
    weather, state = judged.attempt.quantities.weather, judged.suitability.state
    first_h = float(weather.first_hour)
    low, high = (
        max(0, math.ceil(begin_h - first_h - 1e-9)),
        min(weather.hours, math.ceil(end_h - first_h - 1e-9)),
    )
    for hour in range(low, high):
        if state[hour] <= NARROW:
            yield first_h + hour, hour
    for at_h in sorted(set(edges)):
        hour = math.floor(at_h - first_h + 1e-9)
        if low <= hour < high and begin_h <= at_h and at_h - first_h - hour > 1e-6 and state[hour] <= NARROW:
            yield at_h, hour
    for window in judged.windows:
        for moment in {window.start, window.latest_start}:
            at_h = moment.timestamp() / 3600.0
            hour = weather.index(moment)
            within = at_h - first_h - hour > 1e-6
            if within and begin_h <= at_h < end_h and hour < weather.hours:
                # A window that opens within the hour is judged by the hour it opens into.
                yield at_h, hour if state[hour] <= NARROW else min(hour + 1, weather.hours - 1)
