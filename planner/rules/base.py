"""What all kinds of need share: limits, comfort, the figure held against them, and the words for it.

A need gives every start hour a figure, and the figure has a margin to its limits (see `planner.margin`). The
need with the least margin limits the hour, and its own words say why.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass, field
from typing import TYPE_CHECKING, Annotated, Literal, NamedTuple

import numpy as np
from pydantic import BaseModel, ConfigDict, Field, Strict, model_validator

from planner.margin import EPS, MOST_MARGIN, YES_NO, lower_margin, upper_margin
from planner.rules.figures import Figure, Figures, Summary
from planner.site import Surface, WorkDone
from planner.weather import Array, Mask

if TYPE_CHECKING:
    from planner.indices.quantities import Quantities

#: True or false as TOML writes them: `"no"` in quotes would else be taken for a yes or a no by its letters.
YesNo = Annotated[bool, Strict()]
#: A start given to the minute may miss a limit by the rounding of that minute.
_CLOSED_EPS = 2e-6


class ResultKey(NamedTuple):
    """All that the result of a need rests on, by value: equal keys have equal results."""

    kind: str
    figures: tuple[Figure, ...] = ()
    limits: tuple[float | None, ...] = ()
    settings: tuple[float | str, ...] = ()
    moments_h: tuple[float, ...] = ()
    """Times of other work, in hours since 1970."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Reading:
    """Figures of one need at every start hour, shape (members or 1, hours).

    `low` is held against the lower limits and `high` against the upper ones; they differ only where every hour
    of a span must hold by itself.
    """

    low: Array
    high: Array


@dataclass(frozen=True, slots=True, kw_only=True)
class NeedResult:
    """A need held against its limits under the plain forecast, the first member."""

    reading: Reading
    margin: Array
    """Shape (hours,)."""
    closed: Mask
    """Shape (hours,): a hard limit is broken, or the figure is needed and unknown."""


@dataclass(frozen=True, slots=True, kw_only=True)
class MemberResult:
    """Whether a need holds in each member, shape (members or 1, hours)."""

    holds: Mask
    known: Mask
    is_whole: bool
    """Whether every figure is known."""


@dataclass(frozen=True, slots=True)
class Shared:
    """What the jobs and surfaces of one site share under one forecast, each computed once."""

    figures: Figures = field(default_factory=Figures)
    results: dict[ResultKey, NeedResult] = field(default_factory=dict)
    members: dict[ResultKey, MemberResult] = field(default_factory=dict)
    known: dict[Figure, Mask] = field(default_factory=dict)
    """Whether a quantity is known in all hours of a span."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Attempt:
    """One job attempted on one surface at every start hour of the forecast, all starts shifted by `offset_h`."""

    quantities: Quantities
    duration_h: float
    offset_h: float = 0.0
    done: tuple[WorkDone, ...] = ()
    planned: tuple[WorkDone, ...] = ()
    shared: Shared = field(default_factory=Shared)

    def compute(self, figures: Iterable[Figure]) -> None:
        """Compute those of the figures that no job or surface has needed before."""
        self.shared.figures.compute(figures, self.quantities)

    def figure(self, quantity: str, hours: tuple[int, int], summary: Summary) -> Figure:
        """The figure of a quantity of the surface over a span of hours, by value."""
        first, last = hours
        # Over a single hour all summaries are the same figure.
        how: Summary = "lowest" if first == last else summary
        return Figure(quantity, self.quantities.owner_of(quantity), first, last, how)


class Need(BaseModel):
    """One thing that a job wants of the weather, the ground, the clock or the diary."""

    model_config = ConfigDict(frozen=True, extra="forbid", allow_inf_nan=False)

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
    optional: YesNo = Field(
        default=False, description="An unknown figure is named but does not close the hour."
    )
    from_label: YesNo = Field(default=False, description="The product label sets this; yours overrides it.")
    surfaces: tuple[str, ...] = Field(default=(), description="Only on these surfaces (names or kinds).")
    except_surfaces: tuple[str, ...] = Field(
        default=(), description="Not on these surfaces (names or kinds)."
    )
    soils: tuple[str, ...] = Field(
        default=(), description="Only on these root zones: sand, loam, clay, or a texture by its name."
    )
    grasses: tuple[Literal["cool", "warm"], ...] = Field(
        default=(), description="Only for grass of these seasons."
    )
    sheds_to_water: YesNo | None = Field(
        default=None,
        description="true: only where hard rain runs off (a slope of 5 % or more, or water beside it); "
        "false: only elsewhere.",
    )
    harm: YesNo = Field(
        default=False,
        description="Past this limit work harms: such an hour is never offered, not even least bad.",
    )
    remedy: str = Field(
        default="", description="What would have to change, for people, where no hour holds for this need."
    )

    @model_validator(mode="after")
    def _limits_in_order(self) -> Need:
        limits = [
            (name, value)
            for name in ("hard_min", "best_from", "best_to", "hard_max")
            if (value := getattr(self, name)) is not None
        ]
        if not limits and self._needs_limits():
            raise ValueError("has no limit at all: give hard_min, best_from, best_to or hard_max")
        for (name, value), (after, above) in zip(limits, limits[1:], strict=False):
            if value > above:
                raise ValueError(f"{name} {value:g} lies above {after} {above:g}")
        return self

    def _needs_limits(self) -> bool:
        return True

    def key(self, attempt: Attempt) -> ResultKey:
        """All that the result rests on, by value."""
        raise NotImplementedError

    def key_at(self, attempt: Attempt, before: ResultKey) -> ResultKey:
        """The key at another moment of the hour, from the one of a moment before."""
        return self.key(attempt)

    def reading(self, attempt: Attempt, key: ResultKey) -> Reading:
        """The figures at every start hour, from those that the key names."""
        raise NotImplementedError

    def result(self, attempt: Attempt, key: ResultKey | None = None) -> NeedResult:
        """The need held against its limits under the plain forecast; needs that are alike by value share it."""
        key = key or self.key(attempt)
        held = attempt.shared.results.get(key)
        if held is None:
            attempt.compute(key.figures)
            reading = self.reading(attempt, key)
            margin = self.margin(reading)[0]
            closed = np.where(np.isnan(margin), not self.optional, margin < -_CLOSED_EPS)
            held = NeedResult(reading=reading, margin=margin, closed=closed)
            attempt.shared.results[key] = held
        return held

    def member_result(self, attempt: Attempt, key: ResultKey | None = None) -> MemberResult:
        """Whether it holds in each member; needs that are alike by value share it."""
        key = key or self.key(attempt)
        held = attempt.shared.members.get(key)
        if held is None:
            held = self._of_members(attempt, key)
            attempt.shared.members[key] = held
        return held

    def member_figures(self, attempt: Attempt, key: ResultKey) -> tuple[Figure, ...]:
        """The figures of all members that `member_result` rests on."""
        return tuple(figure._replace(of_members=True) for figure in key.figures)

    def _of_members(self, attempt: Attempt, key: ResultKey) -> MemberResult:
        figures = self.member_figures(attempt, key)
        attempt.compute(figures)
        reading = self.reading(attempt, key._replace(figures=figures))
        known = ~np.isnan(reading.low)
        if reading.high is not reading.low:
            known &= ~np.isnan(reading.high)
        return MemberResult(holds=self.holds(reading), known=known, is_whole=bool(known.all()))

    def _limits(self) -> tuple[float | None, ...]:
        """What decides the result of a figure: the limits, what unknown means, and whether it is a yes or a no."""
        return (
            self.hard_min,
            self.best_from,
            self.best_to,
            self.hard_max,
            self.optional,
            self.unit == YES_NO,
        )

    def edges_h(self, attempt: Attempt) -> tuple[float, ...]:
        """Hours from the start at which the result may change when the start moves within its hour."""
        return ()

    def opens_h(self, attempt: Attempt) -> tuple[float, ...]:
        """Moments, in hours (only the part within the hour counts), at which it may begin to hold."""
        return ()

    @property
    def is_calendar(self) -> bool:
        """Whether it only says when such work is done at all: the clock, the season, the light."""
        return self.id == "light"

    @property
    def is_after(self) -> bool:
        """Whether a failure breaks the job after its start instead of barring it."""
        return False

    def fits(self, surface: Surface) -> bool:
        """Whether the need is meant for that surface."""
        here = {surface.name, surface.kind}
        if (self.surfaces and not here & set(self.surfaces)) or here & set(self.except_surfaces):
            return False
        if self.sheds_to_water is not None and self.sheds_to_water != surface.sheds_to_water:
            return False
        if self.grasses and surface.grass.season not in self.grasses:
            return False
        return not self.soils or bool({surface.soil, surface.soil_class} & set(self.soils))

    def on(self, surface: Surface) -> tuple[Need, ...]:
        """The need as it is judged on a surface; a need that the surface has no part in is none there."""
        return (self,) if self.fits(surface) else ()

    def margin(self, reading: Reading) -> Array:
        """Margin of each start hour: 1 at the edge of comfort, 0 at the hard limit, negative beyond; NaN unknown."""
        both = np.minimum(*self.sides(reading))
        # A yes or a no that holds is never the tightest.
        return np.where(both >= 1.0, MOST_MARGIN, both) if self.unit == YES_NO else both

    def presses_low(self, low: float, high: float) -> bool:
        """Whether of the two figures of a span the lower one has less margin."""
        return lower_margin(low, self) < upper_margin(high, self)

    def sides(self, reading: Reading) -> tuple[Array, Array]:
        """Margin toward the lower limit and toward the upper one, each by itself."""
        return lower_margin(reading.low, self, np.minimum), upper_margin(reading.high, self, np.minimum)

    def holds(self, reading: Reading) -> Mask:
        """Whether the hard limits hold, for all members; False where unknown."""
        # Comparing with an unknown figure gives False, which is what is wanted.
        if self.hard_min is not None and self.hard_max is not None:
            return (reading.low >= self.hard_min - EPS) & (reading.high <= self.hard_max + EPS)
        if self.hard_min is not None:
            return np.asarray(reading.low >= self.hard_min - EPS)
        if self.hard_max is not None:
            return np.asarray(reading.high <= self.hard_max + EPS)
        return ~np.isnan(reading.low)
