"""Needs on quantities of weather or ground, at the start or over hours before, during or after the work."""

from __future__ import annotations

import math
from functools import lru_cache
from typing import Literal

import numpy as np
from pydantic import Field, model_validator

from planner.margin import MOST_MARGIN, lower_margin
from planner.rules.base import Attempt, MemberResult, Need, Reading, ResultKey
from planner.rules.figures import Figure, Summary, always, touched
from planner.site import Surface
from planner.weather import Array

#: A minute, less what a start told to the minute may be off by.
_A_MINUTE_H = 1.0 / 60.0 - 2e-6
#: The quantity that each edge of a surface has for itself.
TO_EDGE = "drift_to_edge"


class Limit(Need):
    """Limits on a weather column or index over a span."""

    kind: Literal["limit"] = "limit"
    quantity: str = Field(description="A weather column or an index.")
    when: Literal["start", "before", "during", "after"] = Field(
        default="during", description="Which hours: at the start, before it, during the work, after its end."
    )
    hours: tuple[float, float] = Field(
        default=(0.0, 0.0),
        description="before: [from, to] hours before the start. after: [from, to] hours after the end. "
        "during: hours added in front of the start and behind the end.",
    )
    sum_up: Literal["every", "lowest", "highest", "total", "mean", "mean_ahead"] = Field(
        default="every",
        description="How the hours are summed up; every: each hour by itself; mean_ahead: their mean, without those "
        "past the end of the forecast where a day of them is left.",
    )

    hose_mm: float = Field(
        default=0.0, ge=0, description="Water that can be given by hose, counted toward the lower limit."
    )
    task: str = Field(default="", description="What is to be done where the hose makes up what rain lacks.")

    @model_validator(mode="after")
    def _hours_in_order(self) -> Limit:
        first, last = self.hours
        if self.when == "after" and not 0 <= first < last:
            raise ValueError(f"hours {list(self.hours)} after the end must be [from, to] with to above from")
        if self.when == "before" and not first > last >= 0:
            raise ValueError(f"hours {list(self.hours)} before the start must be [from, to], from above to")
        if self.when in ("start", "during") and min(first, last) < 0:
            raise ValueError("hours added around the work cannot be negative")
        return self

    @property
    def is_after(self) -> bool:
        return self.when == "after"

    def on(self, surface: Surface) -> tuple[Need, ...]:
        """A need on air that moves toward what lies beside becomes one for each edge, by its name.

        An edge further off than `NEAR_M` does not bar: then the hour is narrow.
        """
        if self.quantity != TO_EDGE or not self.fits(surface):
            return super().on(surface)
        return tuple(
            self.model_copy(
                update={
                    "id": f"{self.id}_{edge.name.replace(' ', '_')}",
                    "quantity": f"{TO_EDGE}:{edge.name}",
                    "label": f"air toward {edge.called}",
                    "high": f"air moves toward {edge.called}",
                    "hard_max": self.hard_max if edge.is_near else None,
                    # Where the air goes must be known beside what lies near.
                    "optional": self.optional and not edge.is_near,
                }
            )
            for edge in surface.edges
        )

    def span_h(self, duration_h: float) -> tuple[float, float]:
        """The span in hours from the start."""
        return _span_of(self.when, self.hours, duration_h)

    def edges_h(self, attempt: Attempt) -> tuple[float, ...]:
        if self.when == "start":
            return ()
        first, last = self.span_h(attempt.duration_h)
        return (first + _A_MINUTE_H, last) if self._wants_its_hours else (first, last)

    @property
    def _wants_its_hours(self) -> bool:
        """Whether an hour that leaves the span may be the one it held by: it is lost at that very moment, so that
        the start must be a minute sooner."""
        return self.hard_min is not None and self.sum_up not in ("every", "lowest")

    def _hours(self, attempt: Attempt) -> tuple[int, int]:
        """First and last hour that count, from the start hour."""
        first, last = _hours_of(self.when, self.hours, attempt.duration_h, attempt.offset_h)
        if attempt.offset_h > 0.0 and self._wants_its_hours and self.when != "start":
            first, _ = _hours_of(self.when, self.hours, attempt.duration_h, attempt.offset_h + _A_MINUTE_H)
        return first, last

    def key(self, attempt: Attempt) -> ResultKey:
        hours = self._hours(attempt)
        summaries = self._worst if self.sum_up == "every" else (self.sum_up,)
        figures = tuple(attempt.figure(self.quantity, hours, summary) for summary in summaries)
        hose = (self.hose_mm, self.sum_up) if self.hose_mm else ()
        return ResultKey(self.kind, figures, self._limits(), hose)

    def key_at(self, attempt: Attempt, before: ResultKey) -> ResultKey:
        first, last = self._hours(attempt)
        if (before.figures[0].first, before.figures[0].last) == (first, last):
            return before
        return self.key(attempt)

    @property
    def _worst(self) -> tuple[Summary, ...]:
        """What shows the hour that is worst, on each side that has limits."""
        if self.hard_min is None and self.best_from is None:
            return ("highest",)
        return ("lowest",) if self.hard_max is None and self.best_to is None else ("lowest", "highest")

    def reading(self, attempt: Attempt, key: ResultKey) -> Reading:
        held = attempt.shared.figures
        low, high = held[key.figures[0]], held[key.figures[-1]]
        return Reading(low=low if self.sum_up == "every" else self._hosed(low), high=high)

    def member_figures(self, attempt: Attempt, key: ResultKey) -> tuple[Figure, ...]:
        return () if self._is_by_hour(attempt) else super().member_figures(attempt, key)

    def _is_by_hour(self, attempt: Attempt) -> bool:
        """Whether there are members, and each of their hours must hold by itself."""
        is_one_sided = self.hard_max is None if self.sum_up == "lowest" else self.hard_min is None
        is_by_hour = self.sum_up == "every" or (self.sum_up in ("lowest", "highest") and is_one_sided)
        return is_by_hour and attempt.quantities[self.quantity].shape[0] > 1

    def _of_members(self, attempt: Attempt, key: ResultKey) -> MemberResult:
        if not self._is_by_hour(attempt):
            return super()._of_members(attempt, key)
        column = attempt.quantities[self.quantity]
        # A limit that holds for a span holds in each of its hours. So members need no figures of their own, only
        # a yes or no an hour, which slides many times faster.
        first, last = self._hours(attempt)
        every_hour = key.figures[0]._replace(summary="lowest", of_members=True)
        known = attempt.shared.known.get(every_hour)
        if known is None:
            known = attempt.shared.known[every_hour] = always(~np.isnan(column), first, last)
        holds = always(self.holds(Reading(low=column, high=column)), first, last)
        return MemberResult(holds=holds, known=known, is_whole=bool(known.all()))

    def _hosed(self, figure: Array) -> Array:
        """What rain and hose come to: the hose gives no more than comfort asks, and nothing where rain does."""
        if not self.hose_mm:
            return figure
        wanted = self.best_from if self.best_from is not None else self.hard_min
        return np.asarray(figure + np.clip((wanted or 0.0) - figure, 0.0, self.hose_mm))

    def presses_low(self, low: float, high: float) -> bool:
        # What the hose makes up is a task, not what presses.
        made_up = self.hose_mm > 0 and lower_margin(low, self) >= 1.0
        return not made_up and super().presses_low(low, high)

    def sides(self, reading: Reading) -> tuple[Array, Array]:
        low, high = super().sides(reading)
        # What the hose makes up is a task, not what presses.
        return (np.where(low >= 1.0, MOST_MARGIN, low) if self.hose_mm else low), high


class Slope(Need):
    """Angle of the ground while the leaf is wet; nought while it is dry, unknown where wetness is."""

    kind: Literal["slope"] = "slope"
    label: str = "slope while the leaf is wet"
    unit: str = "degrees"

    def key(self, attempt: Attempt) -> ResultKey:
        wet = attempt.figure("leaf_wet", (0, 0), "lowest")
        return ResultKey(self.kind, (wet,), self._limits(), (attempt.quantities.surface_here.slope_pct,))

    def reading(self, attempt: Attempt, key: ResultKey) -> Reading:
        angle = math.degrees(math.atan(attempt.quantities.surface_here.slope_pct / 100.0))
        # Wetness is a nought or a one, unknown where it is not known.
        figure = attempt.shared.figures[key.figures[0]] * angle
        return Reading(low=figure, high=figure)


def _span_of(when: str, hours: tuple[float, float], duration_h: float) -> tuple[float, float]:
    first, last = hours
    if when == "start":
        return 0.0, 0.0
    if when == "before":
        return -first, -last
    if when == "after":
        return duration_h + first, duration_h + last
    return -first, duration_h + last


@lru_cache(maxsize=4096)
def _hours_of(when: str, hours: tuple[float, float], duration_h: float, offset_h: float) -> tuple[int, int]:
    if when == "start":
        return 0, 0
    first, last = _span_of(when, hours, duration_h)
    return touched(first + offset_h, last + offset_h)
