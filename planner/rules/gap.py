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
    """Hours or days since (or until) other work. Elapsed time, so a clock change does not alter it."""

    kind: Literal["gap"] = "gap"
    direction: Literal["since", "until"] = Field(description="since: after other work. until: before it.")
    other: tuple[str, ...] = Field(description="Jobs or kinds of job that count.")
    unit: str = Field(default="h", pattern="^(h|d)$", description="h or d.")

    @property
    def is_after(self) -> bool:
        return False

    def edges_h(self, trial: Trial) -> tuple[float, ...]:
        if self.direction == "since" or self.hard_min is None:
            return ()
        wait_h = trial.duration_h + self.hard_min * UNITS_H[self.unit]
        moments = self.matches((*trial.done, *trial.planned))
        return tuple(wait_h - work.at.timestamp() / 3600.0 for work in moments)

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
            else _until(starts + trial.duration_h, moments)
        )
        # With no such work on record a mere minimum holds; a maximum cannot be read.
        unlimited_above = self.hard_max is None and self.best_to is None
        figure = np.where(np.isinf(hours) & (not unlimited_above), np.nan, hours) / UNITS_H[self.unit]
        figure = np.atleast_2d(figure)
        return Reading(low=figure, high=figure)


def _since(starts: Array, moments: list[float]) -> Array:
    since = np.full(starts.shape, np.inf)
    for moment in moments:
        since = np.where(starts >= moment, starts - moment, since)
    return since


def _until(finishes: Array, moments: list[float]) -> Array:
    until = np.full(finishes.shape, np.inf)
    for moment in reversed(moments):
        # Work that is planned within the job itself leaves no gap at all.
        until = np.where(finishes <= moment + 1e-9, moment - finishes, until)
    for moment in moments:
        until = np.where((finishes > moment) & (finishes - moment < 1.0), 0.0, until)
    return until
