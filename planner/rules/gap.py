"""A need on the time between this job and another one on the same surface."""

from __future__ import annotations

from collections.abc import Iterable
from typing import Literal

import numpy as np
from pydantic import Field

from planner.rules.base import Assay, Need, Reading, Trial
from planner.site import WorkDone
from planner.weather import Array

UNITS_H = {"h": 1.0, "d": 24.0}


class Gap(Need):
    """Hours or days since (or until) other work. Elapsed time, so a clock change does not alter it.

    Work is known by one moment: when done work was finished, when planned work begins. A moment that falls
    inside the job leaves no gap at all, on either side.
    """

    kind: Literal["gap"] = "gap"
    direction: Literal["since", "until"] = Field(description="since: after other work. until: before it.")
    other: tuple[str, ...] = Field(description="Jobs or kinds of job that count.")
    unit: str = Field(default="h", pattern="^(h|d)$", description="h or d.")

    @property
    def is_after(self) -> bool:
        return False

    def edges_h(self, trial: Trial) -> tuple[float, ...]:
        """Where a limit is crossed as the start moves within its hour, and where a moment enters the job."""
        moments = [work.at.timestamp() / 3600.0 for work in self.matches((*trial.done, *trial.planned))]
        unit_h = UNITS_H[self.unit]
        waits = [limit * unit_h for limit in (self.hard_min, self.hard_max) if limit is not None]
        if self.direction == "since":
            # The start at which `wait` hours have gone by is moment + wait; an edge is told as its negative.
            return tuple(-(moment + wait) for moment in moments for wait in (0.0, *waits))
        return tuple(trial.duration_h + wait - moment for moment in moments for wait in (0.0, *waits))

    def is_idle(self, trial: Trial) -> bool:
        """Whether it holds for want of anything on record: a mere minimum without such work."""
        if self.hard_max is not None or self.best_to is not None:
            return False
        return not (trial.done or trial.planned) or not self.matches((*trial.done, *trial.planned))

    def opens_h(self, trial: Trial) -> tuple[float, ...]:
        if self.direction == "until" or self.hard_min is None:
            return ()
        wait = self.hard_min * UNITS_H[self.unit]
        return tuple(
            work.at.timestamp() / 3600.0 + wait for work in self.matches((*trial.done, *trial.planned))
        )

    def matches(self, work: Iterable[WorkDone]) -> list[WorkDone]:
        """The work that counts, in order of time."""
        return sorted((w for w in work if w.job in self.other or w.kind in self.other), key=lambda w: w.at)

    def assay(self, trial: Trial) -> Assay:
        if self.matches((*trial.done, *trial.planned)):
            return super().assay(trial)
        # Nothing on record reads the same for every such need.
        limits = (self.hard_min, self.best_from, self.best_to, self.hard_max, self.unit, self.optional)
        return trial.spans.recall(("no record", *limits), lambda: super(Gap, self).assay(trial))

    def reading(self, trial: Trial) -> Reading:
        weather = trial.quantities.weather
        starts = weather.epoch_s / 3600.0 + trial.offset_h
        moments = [w.at.timestamp() / 3600.0 for w in self.matches((*trial.done, *trial.planned))]
        hours = (
            _since(starts, moments)
            if self.direction == "since"
            else _until(starts, trial.duration_h, moments)
        )
        # With no such work on record a mere minimum holds; a maximum cannot be read.
        unlimited_above = self.hard_max is None and self.best_to is None
        figure = np.where(np.isinf(hours) & (not unlimited_above), np.nan, hours) / UNITS_H[self.unit]
        figure = np.atleast_2d(figure)
        return Reading(low=figure, high=figure)


def _since(starts: Array, moments: list[float]) -> Array:
    since = np.full(starts.shape, np.inf)
    for moment in moments:
        since = np.where(starts >= moment - 1e-9, np.maximum(starts - moment, 0.0), since)
    return since


def _until(starts: Array, duration_h: float, moments: list[float]) -> Array:
    finishes = starts + duration_h
    until = np.full(finishes.shape, np.inf)
    for moment in reversed(moments):
        until = np.where(finishes <= moment + 1e-9, np.maximum(moment - finishes, 0.0), until)
    for moment in moments:
        until = np.where((starts < moment - 1e-9) & (moment < finishes - 1e-9), 0.0, until)
    return until
