"""A sprayer that several sites share: one pair of hands for the work it does, on whichever of them.

Each site is planned by itself. It keeps off the hours in which the sprayer is placed elsewhere, and weighs what the
other sites could do with an hour before it takes it: an hour that another one needs more is left to it, and that one
takes it with its next pass. So no two plans ever hold the sprayer at once, and they come to the best order of all.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import UTC, datetime
from itertools import groupby

from msgspec import Struct

from planner.planning.asks import Ask, Start
from planner.planning.solver import AtMost

#: Possible starts of one day that the other sites are told: the best of them.
_TURNS_A_DAY = 4
#: Hours below which two times are the same.
_SAME_H = 1e-9


class Turn(Struct, frozen=True, kw_only=True):
    """A possible start of spraying on another site, in hours since 1970."""

    asks: tuple[int, ...]
    """Numbers of what is asked for there; several where they share a tank."""
    at_h: float
    end_h: float
    value: float


class Elsewhere(Struct, frozen=True, kw_only=True):
    """What another site does with the sprayer, and what it could do."""

    site: str
    """Its name."""
    taken: tuple[tuple[float, float], ...]
    """When it is placed or planned there, in hours since 1970."""
    turns: tuple[Turn, ...] = ()
    move_h: float = 0.0
    """Hours that it says the way takes."""


@dataclass(frozen=True, slots=True, kw_only=True)
class SharedSprayer:
    """A sprayer that other sites use as well."""

    name: str
    move_h: float
    """Hours to bring it from one site to another: the most that any of the sites says."""
    elsewhere: tuple[Elsewhere, ...] = ()

    def sites_at(self, at_h: float, end_h: float) -> tuple[str, ...]:
        """Where it is placed in those hours, or too near them to be brought."""
        return tuple(
            other.site
            for other in self.elsewhere
            if any(self._clash(at_h, end_h, *taken) for taken in other.taken)
        )

    @property
    def taken(self) -> tuple[tuple[float, float], ...]:
        """When it cannot be here, the way between the sites counted in, in hours since 1970."""
        return tuple(
            (at_h - self.move_h, end_h + self.move_h)
            for other in self.elsewhere
            for at_h, end_h in other.taken
        )

    def _clash(self, at_h: float, end_h: float, other_at_h: float, other_end_h: float) -> bool:
        return at_h < other_end_h + self.move_h - _SAME_H and other_at_h < end_h + self.move_h - _SAME_H

    def absent(self, begin: datetime, end: datetime) -> list[tuple[str, datetime, datetime]]:
        """Site, start and end of its work elsewhere between two moments, in order of time."""
        found = [
            (other.site, _moment(at_h), _moment(end_h))
            for other in self.elsewhere
            for at_h, end_h in other.taken
            if end_h * 3600.0 > begin.timestamp() and at_h * 3600.0 < end.timestamp()
        ]
        return sorted(found, key=lambda one: one[1])

    @property
    def values(self) -> list[float]:
        """The worth of each possible start elsewhere, site by site: the solver's items after our own."""
        return [turn.value for other in self.elsewhere for turn in other.turns]

    def wanted_at(self, mine: Start, items: Iterable[int]) -> tuple[str, ...]:
        """The sites whose starts, of these items of `values`, leave no room for one of ours."""
        every = [(other.site, turn) for other in self.elsewhere for turn in other.turns]
        clashing = (every[item] for item in items)
        return tuple(
            dict.fromkeys(
                site for site, turn in clashing if self._clash(mine.at_h, mine.end_h, turn.at_h, turn.end_h)
            )
        )

    def rows(self, asks: Sequence[Ask], starts: Sequence[Start]) -> list[AtMost]:
        """The limits that hold between our spraying and that of the other sites, and within each of those.

        The starts are the solver's first items, those of `values` the ones after them.
        """
        groups: list[list[tuple[int, Turn]]] = []
        number = len(starts)
        for other in self.elsewhere:
            groups.append(list(enumerate(other.turns, number)))
            number += len(other.turns)
        rows = [row for group in groups for row in _one_pair_of_hands(group)]
        mine = [(index, one.at_h, one.end_h) for index, one in enumerate(starts) if is_spray(asks, one)]
        rows += self._apart(mine, [turn for group in groups for turn in group])
        for rank, group in enumerate(groups, 1):
            theirs = [(index, turn.at_h, turn.end_h) for index, turn in group]
            rows += self._apart(theirs, [turn for later in groups[rank:] for turn in later])
        return rows

    def _apart(
        self, items: Sequence[tuple[int, float, float]], others: Sequence[tuple[int, Turn]]
    ) -> list[AtMost]:
        """For each item the starts of other sites that cannot be beside it: none of them, or not the item."""
        rows = []
        for index, at_h, end_h in items:
            near = [other for other, turn in others if self._clash(at_h, end_h, turn.at_h, turn.end_h)]
            if near:
                rows.append(
                    AtMost([index, *near], [float(len(near)), *(1.0 for _ in near)], float(len(near)))
                )
        return rows


def _moment(hours: float) -> datetime:
    return datetime.fromtimestamp(round(hours * 3600.0), UTC)


def is_spray(asks: Sequence[Ask], start: Start) -> bool:
    """Whether a start takes the sprayer."""
    return any(asks[number].sprays for number in start.asks)


def turns_of(asks: Sequence[Ask], starts: Sequence[Start]) -> tuple[Turn, ...]:
    """What this site could do with the sprayer, as the other sites are told it: the best starts of each day."""
    sprays = sorted(
        (start for start in starts if is_spray(asks, start)),
        key=lambda start: (start.asks, start.day, -start.value),
    )
    return tuple(
        Turn(asks=start.asks, at_h=start.at_h, end_h=start.end_h, value=start.value)
        for _, some in groupby(sprays, key=lambda start: (start.asks, start.day))
        for start in list(some)[:_TURNS_A_DAY]
    )


def _one_pair_of_hands(turns: Sequence[tuple[int, Turn]]) -> list[AtMost]:
    """Within one other site: each ask once, and one start at a time."""
    rows = []
    for ask in sorted({number for _, turn in turns for number in turn.asks}):
        rows.append([index for index, turn in turns if ask in turn.asks])
    for at_h in sorted({turn.at_h for _, turn in turns}):
        rows.append([index for index, turn in turns if turn.at_h <= at_h < turn.end_h - _SAME_H])
    return [AtMost(items, [1.0] * len(items), 1.0) for items in rows if len(items) > 1]
