"""What all kinds of need share: limits, comfort, the figure held against them, and the words for it.

A need gives every start hour a figure. Held against its limits the figure has a *room*: 1 and more inside the
comfortable range, 0 at the hard limit, below 0 beyond it, straight between. Clipped to 0..1 the room is the
desirability of Derringer & Suich (1980, one- and two-sided, exponent 1; from memory). The need with the least
room limits the hour, and its own words say why.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, field
from functools import cached_property
from typing import TYPE_CHECKING, Any, ClassVar, Literal

import numpy as np
from pydantic import BaseModel, ConfigDict, Field, model_validator

from planner.rules.spans import Spans
from planner.site import WorkDone
from planner.weather import Array
from planner.words import YES_NO

if TYPE_CHECKING:
    from planner.indices.frame import Quantities

#: Room of a figure outside a comfortable range that has no hard limit behind it: judgement.
SOFT_ROOM = 0.5
#: Room of a need that cannot press: a yes or a no that holds, a clock that is open.
MOST_ROOM = 9.0
_EPS = 1e-7
#: A start told to the minute may miss a limit by the rounding of that minute.
_SHUT_EPS = 2e-6
Mask = np.ndarray[Any, np.dtype[np.bool_]]


@dataclass(frozen=True, slots=True, kw_only=True)
class Trial:
    """One job tried on one surface at every start hour of the forecast, all starts shifted by `offset_h`."""

    quantities: Quantities
    duration_h: float
    offset_h: float = 0.0
    done: tuple[WorkDone, ...] = ()
    planned: tuple[WorkDone, ...] = ()
    spans: Spans = field(default_factory=Spans)


@dataclass(frozen=True, slots=True, kw_only=True)
class Reading:
    """Figures of one need at every start hour, shape (members or 1, hours).

    `low` is held against the lower limits and `high` against the upper ones; they differ only where every hour
    of a span must hold by itself.
    """

    low: Array
    high: Array


class Assay:
    """A need held against its limits: its figures, the room of the first member, and what holds where.

    `members` gives holds and seen of all members where the figures are those of the first alone.
    """

    def __init__(
        self, need: Need, reading: Reading, members: Callable[[], tuple[Mask, Mask]] | None = None
    ) -> None:
        self._need = need
        self._members = members
        self.reading = reading
        #: Shape (hours,), of the first member.
        self.room: Array = need.room(reading, member=0)
        #: Shape (hours,), of the first member: a hard limit is broken, or the figure is needed and unknown.
        self.shut: Mask = np.where(np.isnan(self.room), not need.optional, self.room < -_SHUT_EPS)

    @cached_property
    def holds(self) -> Mask:
        """Shape (members or 1, hours): whether the hard limits hold."""
        return self._of_members[0] if self._members else self._need.holds(self.reading)

    @cached_property
    def _of_members(self) -> tuple[Mask, Mask]:
        assert self._members is not None
        return self._members()

    @cached_property
    def seen(self) -> Mask:
        """Shape (members or 1, hours): whether the figure is known."""
        if self._members:
            return self._of_members[1]
        seen = ~np.isnan(self.reading.low)
        return seen if self.reading.high is self.reading.low else seen & ~np.isnan(self.reading.high)

    @cached_property
    def whole(self) -> bool:
        """Whether every figure is known."""
        return bool(self.seen.all())


class Need(BaseModel):
    """One thing that a job wants of the weather, the ground, the clock or the diary."""

    model_config = ConfigDict(frozen=True, extra="forbid")

    id: str = Field(description="Short name, unique within the job; a later need of the same id replaces it.")
    label: str = Field(description="Trade words for the figure, as shown to people.")
    unit: str = Field(default="", description="Unit of the figure and its limits.")
    hard_min: float | None = Field(
        default=None, description="Below this the job is barred (or broken after)."
    )
    best_from: float | None = Field(default=None, description="Comfortable from here.")
    best_to: float | None = Field(default=None, description="Comfortable up to here.")
    hard_max: float | None = Field(
        default=None, description="Above this the job is barred (or broken after)."
    )
    weight: float = Field(default=1.0, gt=0, description="Weight in the score.")
    low: str = Field(default="", description="Clause for people when the figure is too low.")
    high: str = Field(default="", description="Clause for people when the figure is too high.")
    source: str = Field(default="common practice, no source", description="Where the limits come from.")
    confidence: Literal["A", "B", "C"] = Field(
        default="C", description="A regulator, extension or paper read; B one study or second-hand; C guess."
    )
    optional: bool = Field(
        default=False, description="An unknown figure is named but does not close the hour."
    )
    from_label: bool = Field(default=False, description="The product label sets this; yours overrides it.")
    surfaces: tuple[str, ...] = Field(default=(), description="Only on these surfaces (names or kinds).")
    except_surfaces: tuple[str, ...] = Field(
        default=(), description="Not on these surfaces (names or kinds)."
    )
    soils: tuple[str, ...] = Field(default=(), description="Only on these root zones: sand, loam, clay.")

    #: Whether the need looks at hours after the work, so that its failure breaks rather than bars.
    looks_ahead: ClassVar[bool] = False

    @model_validator(mode="after")
    def _limits_in_order(self) -> Need:
        given = [
            (name, value)
            for name in ("hard_min", "best_from", "best_to", "hard_max")
            if (value := getattr(self, name)) is not None
        ]
        if not given and self._needs_limits():
            raise ValueError("has no limit at all: give hard_min, best_from, best_to or hard_max")
        for (name, value), (after, above) in zip(given, given[1:], strict=False):
            if value > above:
                raise ValueError(f"{name} {value:g} lies above {after} {above:g}")
        return self

    def _needs_limits(self) -> bool:
        return True

    def reading(self, trial: Trial) -> Reading:
        """Figures at every start hour."""
        raise NotImplementedError

    def assay(self, trial: Trial) -> Assay:
        """Figures held against the limits, at every start hour."""
        return Assay(self, self.reading(trial))

    def edges_h(self, trial: Trial) -> tuple[float, ...]:
        """Hours from the start at which the verdict may change when the start moves within its hour."""
        return ()

    def opens_h(self, trial: Trial) -> tuple[float, ...]:
        """Moments, in hours (only the part within the hour counts), at which it may begin to hold."""
        return ()

    def shifts(self, trial: Trial, offset_h: float) -> bool:
        """Whether a start later by `offset_h` can read another figure than one on the full hour."""
        return bool(self.edges_h(trial))

    @property
    def is_frame(self) -> bool:
        """Whether it only says when such work is done at all: the clock, the season, the light."""
        return self.id == "light"

    @property
    def is_after(self) -> bool:
        """Whether a failure breaks the job after its start instead of barring it."""
        return type(self).looks_ahead

    def fits(self, surface_name: str, surface_kind: str, soil: str) -> bool:
        """Whether the need is meant for that surface."""
        if not (self.surfaces or self.except_surfaces or self.soils):
            return True
        here = {surface_name, surface_kind}
        if (self.surfaces and not here & set(self.surfaces)) or here & set(self.except_surfaces):
            return False
        return not self.soils or soil in self.soils

    def room(self, reading: Reading, member: int | None = None) -> Array:
        """Room of each start hour: 1 at the edge of comfort, 0 at the hard limit, negative beyond; NaN unknown."""
        both = np.minimum(*self.sides(reading, member))
        # A yes or a no that holds is never the tightest.
        return np.where(both >= 1.0, MOST_ROOM, both) if self.unit == YES_NO else both

    def sides(self, reading: Reading, member: int | None = None) -> tuple[Array, Array]:
        """Room toward the lower limit and toward the upper one, each by itself."""
        rows: Any = slice(None) if member is None else min(member, reading.low.shape[0] - 1)
        low = _side(reading.low[rows], self.hard_min, self.best_from, 1.0)
        upper = slice(None) if member is None else min(member, reading.high.shape[0] - 1)
        high = _side(reading.high[upper], self.hard_max, self.best_to, -1.0)
        if self.best_to == 0.0:
            # Nothing at all is the most room there can be: no rain is never what presses.
            high = np.where(high >= 1.0 - _EPS, MOST_ROOM, high)
        return low, high

    def holds(self, reading: Reading) -> Mask:
        """Whether the hard limits hold, for all members; False where unknown."""
        # Comparing with an unknown figure gives False, which is what is wanted.
        if self.hard_min is not None and self.hard_max is not None:
            return (reading.low >= self.hard_min - _EPS) & (reading.high <= self.hard_max + _EPS)
        if self.hard_min is not None:
            return np.asarray(reading.low >= self.hard_min - _EPS)
        if self.hard_max is not None:
            return np.asarray(reading.high <= self.hard_max + _EPS)
        return ~np.isnan(reading.low)


def _side(value: Array, hard: float | None, best: float | None, sign: float) -> Array:
    """Room on one side; `sign` 1 for a lower limit, -1 for an upper one. Inside comfort it goes on above 1."""
    if hard is None and best is None:
        return np.where(np.isnan(value), np.nan, MOST_ROOM)
    if hard is None:
        assert best is not None
        inside = sign * (value - best)
        room = np.where(inside >= -_EPS, 1.0 + inside / max(1.0, abs(best)), SOFT_ROOM)
        return np.minimum(np.where(np.isnan(value), np.nan, room), MOST_ROOM)
    beyond = sign * (value - hard)
    width = sign * (best - hard) if best is not None else 0.0
    if width > 0:
        room = beyond / width
    else:
        # A limit without a ramp: full room inside, and outside a distance in units of the limit itself.
        far = beyond / max(1.0, abs(hard))
        room = np.where(beyond >= -_EPS, 1.0 + far, far)
    return np.minimum(np.where(np.abs(beyond) < _EPS, np.maximum(room, 0.0), room), MOST_ROOM)
