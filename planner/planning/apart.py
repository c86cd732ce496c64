"""What in a week's plan cannot stand together: hands, hours of a day, gaps between jobs, and their order."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from datetime import date, datetime, timedelta
from zoneinfo import ZoneInfo

from planner.planning.asks import Ask, Start
from planner.planning.plan import Judged
from planner.planning.solver import AtMost
from planner.rules.gap import UNITS_H, Gap

#: Hours below which two times are the same.
SAME_H = 1e-9


@dataclass(frozen=True, slots=True, kw_only=True)
class Away:
    """A time in which the keeper or the kit is elsewhere."""

    start: datetime
    end: datetime


class HoursOfDays:
    """The hours of work that each local day still has."""

    def __init__(self, zone: ZoneInfo, hours_a_day: float, fixed: Iterable[Away]) -> None:
        self._whole = hours_a_day
        self._taken: dict[date, float] = {}
        for work in fixed:
            day = work.start.astimezone(zone).date()
            self._taken[day] = self._taken.get(day, 0.0) + (work.end - work.start) / timedelta(hours=1)

    def of(self, day: date) -> float:
        """Hours that are left of a day."""
        return max(0.0, self._whole - self._taken.get(day, 0.0))


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
        and need.or_within is None
        and (other.job.name in need.other or other.job.kind in need.other)
    ]


@dataclass(frozen=True, slots=True)
class _Pair:
    """Two asks on one surface: hours from the start of one to that of the other, and which comes first in a day."""

    one_then_other_h: float
    other_then_one_h: float
    one_is_later: bool
    other_is_later: bool

    def bars(self, one: Start, other: Start) -> bool:
        """Whether the two starts cannot both be."""
        ahead = other.at_h - one.at_h
        if -self.other_then_one_h + SAME_H < ahead < self.one_then_other_h - SAME_H:
            return True
        if one.day != other.day:
            return False
        return (self.one_is_later and ahead > -SAME_H) or (self.other_is_later and ahead < SAME_H)


#: Pairs of asks on one surface, by their numbers.
Pairs = Mapping[tuple[int, int], _Pair]


def pairs_of(asks: Sequence[Ask]) -> Pairs:
    """What each two asks on one surface keep to. Turns of the same work share what they keep."""
    waits: dict[tuple[str, str, str], float] = {}

    def wait(first: Judged, second: Judged) -> float:
        key = (first.surface.name, first.job.name, second.job.name)
        if key not in waits:
            waits[key] = wait_h(first, second)
        return waits[key]

    return {
        (one, other): _Pair(
            max(turns_h, first.job.duration_h + wait(first, second)),
            max(turns_h, second.job.duration_h + wait(second, first)),
            _comes_after(first, second),
            _comes_after(second, first),
        )
        for one, ask in enumerate(asks)
        for other, rival in enumerate(asks)
        if one != other and (first := ask.judged).surface.name == (second := rival.judged).surface.name
        for turns_h in [max(ask.apart_h(), rival.apart_h()) if first.job.name == second.job.name else 0.0]
    }


def _comes_after(one: Judged, other: Judged) -> bool:
    return bool({other.job.name, other.job.kind} & set(one.job.same_day_after))


class Apart:
    """Which starts of a week cannot stand together."""

    def __init__(self, pairs: Pairs, starts: Sequence[Start], hours: HoursOfDays) -> None:
        self._pairs, self._starts, self._hours = pairs, starts, hours

    def both(self, first: Start, second: Start) -> bool:
        """Whether two starts can both be."""
        if set(first.asks) & set(second.asks):
            return False
        if first.at_h < second.end_h - SAME_H and second.at_h < first.end_h - SAME_H:
            return False
        return not any(
            pair.bars(first, second)
            for one in first.asks
            for other in second.asks
            if (pair := self._pairs.get((one, other))) is not None
        )

    def rows(self) -> list[AtMost]:
        """The weighted limits the solver keeps: each ask once, hours of the day, one pair of hands, gaps."""
        starts = self._starts
        by_ask: dict[int, list[int]] = {}
        by_day: dict[date, list[int]] = {}
        for index, start in enumerate(starts):
            by_day.setdefault(start.day, []).append(index)
            for ask in start.asks:
                by_ask.setdefault(ask, []).append(index)
        rows = [_not_more(indices) for indices in by_ask.values()]
        for day, indices in sorted(by_day.items()):
            rows.append(AtMost(indices, [starts[index].length_h for index in indices], self._hours.of(day)))
        # Two jobs are at once if and only if both are under way when the later one begins.
        for at_h in sorted({start.at_h for start in starts}):
            busy = [i for i, start in enumerate(starts) if start.at_h <= at_h < start.end_h - SAME_H]
            if len(busy) > 1:
                rows.append(_not_more(busy))
        return rows + self._gap_rows(by_ask)

    def _gap_rows(self, by_ask: dict[int, list[int]]) -> list[AtMost]:
        """For each start, the starts of another ask on its surface that cannot stand beside it: not both.

        Of the rivals, all of one ask, at most one is chosen anyway, so one row holds them all.
        """
        rows = []
        for (one, other), pair in self._pairs.items():
            if other < one:
                continue
            theirs = [index for index in by_ask.get(other, ()) if one not in self._starts[index].asks]
            for index in by_ask.get(one, ()):
                start = self._starts[index]
                if other in start.asks:
                    continue
                near = [rival for rival in theirs if pair.bars(start, self._starts[rival])]
                if near:
                    rows.append(_not_more([index, *near]))
        return rows

    def one_by_one(self) -> list[int]:
        """Starts chosen by worth alone, each beside those chosen before."""
        chosen: list[int] = []
        used: dict[date, float] = {}
        for index in sorted(range(len(self._starts)), key=lambda i: -self._starts[i].value):
            start = self._starts[index]
            if used.get(start.day, 0.0) + start.length_h > self._hours.of(start.day) + SAME_H:
                continue
            if all(self.both(start, self._starts[other]) for other in chosen):
                chosen.append(index)
                used[start.day] = used.get(start.day, 0.0) + start.length_h
        return chosen


def _not_more(indices: Sequence[int]) -> AtMost:
    """At most one of these."""
    return AtMost(indices, [1.0] * len(indices), 1.0)
