"""A sprayer, or a keeper, that several sites share: one pair of hands, on whichever of them the work lies.

Each site is planned by itself. It keeps off the hours in which what is shared is placed elsewhere, so that no two
plans ever hold it at once. Work that finds no hour for that alone is told to the other sites, with the hour it would
have had: a site that holds this hour lets go of it where it is worth more there, and it is taken with the next pass.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import UTC, datetime

from msgspec import Struct

from planner.planning.asks import Ask, Start
from planner.planning.solver import AtMost

#: Hours below which two times are the same.
_SAME_H = 1e-9


class Missed(Struct, frozen=True, kw_only=True):
    """An hour that work on another site would have, were it free there; in hours since 1970."""

    at_h: float
    end_h: float
    value: float


class Elsewhere(Struct, frozen=True, kw_only=True):
    """What another site does with what is shared, and which hours it misses."""

    site: str
    """Its name."""
    taken: tuple[tuple[float, float], ...]
    """When it is placed, planned or used there, in hours since 1970."""
    missed: tuple[Missed, ...] = ()
    move_h: float = 0.0
    """Hours that it says the way takes."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Shared:
    """A sprayer or a keeper that other sites have as well."""

    name: str
    is_keeper: bool
    """Whether it is the keeper, who does all work; a sprayer does the spraying."""
    move_h: float
    """Hours from one site to another: the most that any of the sites says."""
    elsewhere: tuple[Elsewhere, ...] = ()

    @property
    def called(self) -> str:
        """As a sentence names it."""
        return self.name if self.is_keeper else "the sprayer"

    def does(self, ask: Ask) -> bool:
        """Whether the work takes it."""
        return self.is_keeper or ask.sprays

    def sites_at(self, at_h: float, end_h: float) -> tuple[str, ...]:
        """Where it is placed in those hours, or too near them to come."""
        return tuple(
            other.site
            for other in self.elsewhere
            if any(self._clash(at_h, end_h, *taken) for taken in other.taken)
        )

    def _clash(self, at_h: float, end_h: float, other_at_h: float, other_end_h: float) -> bool:
        return at_h < other_end_h + self.move_h - _SAME_H and other_at_h < end_h + self.move_h - _SAME_H

    @property
    def taken(self) -> tuple[tuple[float, float], ...]:
        """When it cannot be here, the way between the sites counted in, in hours since 1970."""
        return tuple(
            (at_h - self.move_h, end_h + self.move_h)
            for other in self.elsewhere
            for at_h, end_h in other.taken
        )

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
    def _missed(self) -> list[tuple[str, Missed]]:
        return [(other.site, missed) for other in self.elsewhere for missed in other.missed]

    @property
    def values(self) -> list[float]:
        """The worth of each hour that is missed elsewhere: the solver's items after our own."""
        return [missed.value for _, missed in self._missed]

    def wanted_at(self, mine: Start, items: Iterable[int]) -> tuple[str, ...]:
        """The sites whose missed hours, of these items of `values`, leave no room for one of our starts."""
        every = self._missed
        clashing = (every[item] for item in items)
        return tuple(
            dict.fromkeys(
                site
                for site, other in clashing
                if self._clash(mine.at_h, mine.end_h, other.at_h, other.end_h)
            )
        )

    def rows(self, asks: Sequence[Ask], starts: Sequence[Start]) -> list[AtMost]:
        """The limits between our work and the hours missed elsewhere, and among those.

        The starts are the solver's first items, those of `values` the ones after them.
        """
        missed = [(number, site, one) for number, (site, one) in enumerate(self._missed, len(starts))]
        rows = []
        for index, start in enumerate(starts):
            if any(self.does(asks[number]) for number in start.asks):
                near = [
                    n for n, _, one in missed if self._clash(start.at_h, start.end_h, one.at_h, one.end_h)
                ]
                rows += [_either(index, near)] if near else []
        for rank, (number, site, one) in enumerate(missed, 1):
            near = [
                other_number
                for other_number, other_site, other in missed[rank:]
                if self._clash(one.at_h, one.end_h, other.at_h, other.end_h)
                # On one site no way lies between them.
                and (site != other_site or (one.at_h < other.end_h and other.at_h < one.end_h))
            ]
            rows += [_either(number, near)] if near else []
        return rows


def _either(item: int, others: Sequence[int]) -> AtMost:
    """None of the others, or not the item."""
    count = float(len(others))
    return AtMost([item, *others], [count, *(1.0 for _ in others)], count)


def _moment(hours: float) -> datetime:
    return datetime.fromtimestamp(round(hours * 3600.0), UTC)
