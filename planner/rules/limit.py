"""A need on a quantity of weather or ground, summed up over hours before, during or after the work."""

from __future__ import annotations

from dataclasses import replace
from functools import lru_cache
from typing import Literal

import numpy as np
from pydantic import Field, model_validator

from planner.rules.base import MOST_ROOM, Assay, Mask, Need, Reading, Trial
from planner.rules.spans import always, touched
from planner.weather import Array


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

    def span_h(self, duration_h: float) -> tuple[float, float]:
        """The span in hours from the start."""
        return _span_of(self.when, self.hours, duration_h)

    def edges_h(self, trial: Trial) -> tuple[float, ...]:
        return () if self.when == "start" else self.span_h(trial.duration_h)

    def shifts(self, trial: Trial, offset_h: float) -> bool:
        return self.when != "start" and self._hours(trial, offset_h) != self._hours(trial, 0.0)

    def _hours(self, trial: Trial, offset_h: float) -> tuple[int, int]:
        """First and last hour that count, from the start hour."""
        return _hours_of(self.when, self.hours, trial.duration_h, offset_h)

    def assay(self, trial: Trial) -> Assay:
        column = trial.quantities[self.quantity]
        key = (id(column), self._hours(trial, trial.offset_h), self._alike)
        return trial.spans.recall(key, lambda: self._held(trial, column))

    def _held(self, trial: Trial, column: Array) -> Assay:
        one_sided = self.hard_max is None if self.sum_up == "lowest" else self.hard_min is None
        by_hour = self.sum_up == "every" or (self.sum_up in ("lowest", "highest") and one_sided)
        if column.shape[0] == 1 or not by_hour:
            return Assay(self, self.reading(trial))
        # A limit that holds for a span holds in each of its hours. So members need no figures of their own, only
        # a yes or no an hour, which slides many times faster.
        control = replace(trial, quantities=trial.quantities.control())
        low, high = self._hours(trial, trial.offset_h)

        def members() -> tuple[Mask, Mask]:
            _, known = trial.spans.recall(("known", id(column)), lambda: (column, ~np.isnan(column)))
            holds = self.holds(Reading(low=column, high=column))
            return always(holds, low, high), always(known, low, high)

        return Assay(self, self.reading(control), members)

    def _hosed(self, figure: Array) -> Array:
        """What rain and hose come to: the hose gives no more than comfort asks, and nothing where rain does."""
        if not self.hose_mm:
            return figure
        wanted = self.best_from if self.best_from is not None else self.hard_min
        given = np.clip((wanted or 0.0) - figure, 0.0, self.hose_mm)
        return np.asarray(figure + given)

    def sides(self, reading: Reading, member: int | None = None) -> tuple[Array, Array]:
        low, high = super().sides(reading, member)
        # What the hose makes up is a task, not what presses.
        return (np.where(low >= 1.0, MOST_ROOM, low) if self.hose_mm else low), high

    @property
    def _alike(self) -> tuple[object, ...]:
        """What two needs must share to be held against the same figures with the same outcome."""
        return (
            self.sum_up,
            self.hose_mm,
            self.hard_min,
            self.best_from,
            self.best_to,
            self.hard_max,
            self.unit,
            self.optional,
        )

    def reading(self, trial: Trial) -> Reading:
        column = trial.quantities[self.quantity]
        low, high = self._hours(trial, trial.offset_h)
        bounded_below = self.hard_min is not None or self.best_from is not None
        bounded_above = self.hard_max is not None or self.best_to is not None
        key = (
            "reading",
            id(column),
            low,
            high,
            self.sum_up,
            self.hose_mm,
            bounded_below,
            bounded_above,
            self.best_from,
        )
        return trial.spans.recall(
            key, lambda: self._read(trial, column, low, high, bounded_below, bounded_above)
        )

    def _read(
        self, trial: Trial, column: Array, low: int, high: int, bounded_below: bool, bounded_above: bool
    ) -> Reading:
        spans = trial.spans
        if self.sum_up != "every":
            figure = spans.over(column, low, high, self.sum_up)
            return Reading(low=self._hosed(figure), high=figure)
        if bounded_below and bounded_above:
            return Reading(
                low=spans.over(column, low, high, "lowest"), high=spans.over(column, low, high, "highest")
            )
        figure = spans.over(column, low, high, "lowest" if bounded_below else "highest")
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
