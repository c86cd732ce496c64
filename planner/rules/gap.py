"""Needs on other work on the same surface: the time between, and how often it was done lately."""

from __future__ import annotations

from typing import Literal

import numpy as np
from pydantic import Field, model_validator

from planner.margin import MOST_MARGIN
from planner.rules.base import Attempt, Need, Reading, ResultKey, YesNo
from planner.site import Surface
from planner.weather import Array, Mask

UNITS_H = {"h": 1.0, "d": 24.0}
#: Ten years: what a limit beyond it means nobody can wait for, and it leads out of the calendar.
LONGEST_H = 24.0 * 3652


class Gap(Need):
    """Hours or days since (or until) other work. Elapsed time, so a clock change does not alter it.

    Work is known by one moment: when done work was finished, when planned work begins. A moment that falls
    inside the job leaves no gap at all, on either side.
    """

    kind: Literal["gap"] = "gap"
    direction: Literal["since", "until"] = Field(description="since: after other work. until: before it.")
    other: tuple[str, ...] = Field(description="Jobs or kinds of job that count.")
    unit: str = Field(default="h", pattern="^(h|d)$", description="h or d.")
    or_within: float | None = Field(
        default=None,
        gt=0,
        description="It holds this soon after the other work, too: starter feed with the seed.",
    )
    after_emergence: YesNo = Field(
        default=False, description="Counted from when seed of the surface's grass is up, not from its sowing."
    )

    @model_validator(mode="after")
    def _within_years(self) -> Gap:
        for name in ("hard_min", "best_from", "best_to", "hard_max"):
            limit = getattr(self, name)
            if limit is not None and abs(limit) * UNITS_H[self.unit] > LONGEST_H:
                raise ValueError(f"{name} {limit:g} {self.unit} is more than ten years")
        return self

    def on(self, surface: Surface) -> tuple[Need, ...]:
        """The need with its limits put off by the days that the grass takes to come up, where it counts from then."""
        if not self.after_emergence or not self.fits(surface):
            return super().on(surface)
        later = surface.grass.emergence_days * 24.0 / UNITS_H[self.unit]
        limits = {
            name: limit + later
            for name in ("hard_min", "best_from")
            if (limit := getattr(self, name)) is not None
        }
        return (
            self.model_copy(update={**limits, "label": self.label.replace("new seed came up", "sowing")}),
        )

    def margin(self, reading: Reading) -> Array:
        margin = super().margin(reading)
        if self.or_within is None:
            return margin
        return np.where(reading.low <= self.or_within, MOST_MARGIN, margin)

    def holds(self, reading: Reading) -> Mask:
        holds = super().holds(reading)
        return holds if self.or_within is None else holds | (reading.low <= self.or_within)

    def edges_h(self, attempt: Attempt) -> tuple[float, ...]:
        """Where a limit is crossed as the start moves within its hour, and where a moment enters the job."""
        moments = _moments_h(self.other, attempt)
        unit_h = UNITS_H[self.unit]
        limits = (self.hard_min, self.hard_max, self.or_within)
        waits = [limit * unit_h for limit in limits if limit is not None]
        if self.direction == "since":
            # The start at which `wait` hours have gone by is moment + wait; its edge is the negative of that.
            return tuple(-(moment + wait) for moment in moments for wait in (0.0, *waits))
        return tuple(attempt.duration_h + wait - moment for moment in moments for wait in (0.0, *waits))

    def is_idle(self, attempt: Attempt) -> bool:
        """Whether it holds for want of anything on record: a mere minimum without such work."""
        if self.hard_max is not None or self.best_to is not None:
            return False
        return not _moments_h(self.other, attempt)

    def opens_h(self, attempt: Attempt) -> tuple[float, ...]:
        if self.direction == "until" or self.hard_min is None:
            return ()
        wait = self.hard_min * UNITS_H[self.unit]
        return tuple(moment + wait for moment in _moments_h(self.other, attempt))

    def key(self, attempt: Attempt) -> ResultKey:
        moments = _moments_h(self.other, attempt)
        if not moments:
            # Without such work on record all gaps of these limits are alike.
            return ResultKey(self.kind, limits=self._limits(), settings=(self.unit,))
        settings = (self.unit, self.or_within or 0.0, self.direction, attempt.duration_h, attempt.offset_h)
        return ResultKey(self.kind, limits=self._limits(), settings=settings, moments_h=moments)

    def reading(self, attempt: Attempt, key: ResultKey) -> Reading:
        starts = attempt.quantities.weather.epoch_s / 3600.0 + attempt.offset_h
        moments = key.moments_h
        hours = (
            _since(starts, moments)
            if self.direction == "since"
            else _until(starts, attempt.duration_h, moments)
        )
        # With no such work on record a mere minimum holds; a maximum cannot be read.
        unlimited_above = self.hard_max is None and self.best_to is None
        figure = np.where(np.isinf(hours) & (not unlimited_above), np.nan, hours) / UNITS_H[self.unit]
        figure = np.atleast_2d(figure)
        return Reading(low=figure, high=figure)


class Count(Need):
    """How many times other work was finished on the surface in the days before the start."""

    kind: Literal["count"] = "count"
    other: tuple[str, ...] = Field(description="Jobs or kinds of job that count.")
    days: float = Field(gt=0, le=400, description="How far back is counted.")
    unit: str = "times"

    def key(self, attempt: Attempt) -> ResultKey:
        moments = _moments_h(self.other, attempt)
        settings = (self.days, attempt.offset_h) if moments else ()
        return ResultKey(self.kind, limits=self._limits(), settings=settings, moments_h=moments)

    def reading(self, attempt: Attempt, key: ResultKey) -> Reading:
        starts = attempt.quantities.weather.epoch_s / 3600.0 + attempt.offset_h
        figure = np.zeros(starts.shape)
        for moment in key.moments_h:
            ago = starts - moment
            figure += (ago >= 0) & (ago < self.days * 24.0)
        figure = np.atleast_2d(figure)
        return Reading(low=figure, high=figure)


def _moments_h(other: tuple[str, ...], attempt: Attempt) -> tuple[float, ...]:
    """Times of the work that counts, in hours since 1970 and in order."""
    work = (each for each in (*attempt.done, *attempt.planned) if each.job in other or each.kind in other)
    return tuple(sorted(each.at.timestamp() / 3600.0 for each in work))


def _since(starts: Array, moments: tuple[float, ...]) -> Array:
    since = np.full(starts.shape, np.inf)
    for moment in moments:
        since = np.where(starts >= moment - 1e-9, np.maximum(starts - moment, 0.0), since)
    return since


def _until(starts: Array, duration_h: float, moments: tuple[float, ...]) -> Array:
    finishes = starts + duration_h
    until = np.full(finishes.shape, np.inf)
    for moment in reversed(moments):
        until = np.where(finishes <= moment + 1e-9, np.maximum(moment - finishes, 0.0), until)
    for moment in moments:
        until = np.where((starts < moment - 1e-9) & (moment < finishes - 1e-9), 0.0, until)
    return until
