"""A need on a quantity of weather or ground, summed up over hours before, during or after the work."""

from __future__ import annotations

from typing import Literal

from pydantic import Field, model_validator

from planner.rules.base import Need, Reading, Trial
from planner.rules.spans import touched


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
    sum_up: Literal["every", "lowest", "highest", "total", "mean"] = Field(
        default="every", description="How the hours are summed up; every: each hour by itself."
    )

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

    def span_h(self, duration_h: float) -> tuple[float, float]:
        """The span in hours from the start."""
        first, last = self.hours
        if self.when == "start":
            return 0.0, 0.0
        if self.when == "before":
            return -first, -last
        if self.when == "after":
            return duration_h + first, duration_h + last
        return -first, duration_h + last

    def edges_h(self, duration_h: float) -> tuple[float, ...]:
        return () if self.when == "start" else self.span_h(duration_h)

    def reading(self, trial: Trial) -> Reading:
        column = trial.quantities[self.quantity]
        first, last = self.span_h(trial.duration_h)
        if self.when == "start":
            low, high = 0, 0
        else:
            low, high = touched(first + trial.offset_h, last + trial.offset_h)
        if self.sum_up != "every":
            figure = trial.spans.over(column, low, high, self.sum_up)
            return Reading(low=figure, high=figure)
        bounded_below = self.hard_min is not None or self.best_from is not None
        bounded_above = self.hard_max is not None or self.best_to is not None
        lowest = trial.spans.over(column, low, high, "lowest") if bounded_below else None
        highest = trial.spans.over(column, low, high, "highest") if bounded_above else None
        either = lowest if lowest is not None else highest
        assert either is not None
        return Reading(
            low=lowest if lowest is not None else either, high=highest if highest is not None else either
        )
