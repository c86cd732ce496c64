"""Needs on how often work was done lately, and on a slope that is wet."""

from __future__ import annotations

import math
from typing import Literal

import numpy as np
from pydantic import Field

from planner.rules.base import Assay, Need, Reading, Trial


class Count(Need):
    """How many times other work was finished on the surface in the days before the start."""

    kind: Literal["count"] = "count"
    other: tuple[str, ...] = Field(description="Jobs or kinds of job that count.")
    days: float = Field(gt=0, le=400, description="How far back is counted.")
    unit: str = "times"

    def assay(self, trial: Trial) -> Assay:
        if any(work.job in self.other or work.kind in self.other for work in (*trial.done, *trial.planned)):
            return super().assay(trial)
        # Nothing on record counts the same for every such need.
        limits = (self.hard_min, self.best_from, self.best_to, self.hard_max, self.unit, self.optional)
        return trial.spans.recall(("none counted", *limits), lambda: super(Count, self).assay(trial))

    def reading(self, trial: Trial) -> Reading:
        starts = trial.quantities.weather.epoch_s / 3600.0 + trial.offset_h
        figure = np.zeros(starts.shape)
        for work in (*trial.done, *trial.planned):
            if work.job in self.other or work.kind in self.other:
                ago = starts - work.at.timestamp() / 3600.0
                figure += (ago >= 0) & (ago < self.days * 24.0)
        figure = np.atleast_2d(figure)
        return Reading(low=figure, high=figure)


class Slope(Need):
    """Angle of the ground while the leaf is wet; nought while it is dry, unknown where wetness is."""

    kind: Literal["slope"] = "slope"
    label: str = "slope while the leaf is wet"
    unit: str = "degrees"

    def reading(self, trial: Trial) -> Reading:
        angle = math.degrees(math.atan(trial.quantities.ground.slope_pct / 100.0))
        # Wetness is a nought or a one, unknown where it is not known.
        figure = trial.quantities["leaf_wet"] * angle
        return Reading(low=figure, high=figure)
