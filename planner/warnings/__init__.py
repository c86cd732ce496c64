"""Warnings: what is about to go wrong, and the life of each; no store, clock or message goes out from here."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from datetime import timedelta

import numpy as np

from planner.warnings.base import LEVELS, Notice, Scene
from planner.warnings.disease import disease
from planner.warnings.frost import frost
from planner.warnings.life import Life, WarningState, follow, in_order
from planner.warnings.seed_stress import seed_stress
from planner.warnings.unread import Unread, unread
from planner.warnings.wash import wash
from planner.warnings.wilt import wilt
from planner.warnings.work import last_window, overdue, rainfast, stale

__all__ = [
    "LEVELS",
    "NOTICES",
    "Life",
    "Notice",
    "Scene",
    "WarningState",
    "Unread",
    "cannot_read",
    "read",
    "step",
    "unread",
]

#: Kind -> the function that reads it from the scene.
NOTICES: dict[str, Callable[[Scene], list[Notice]]] = {
    "wash": wash,
    "frost": frost,
    "rainfast": rainfast,
    "seed_stress": seed_stress,
    "disease": disease,
    "wilt": wilt,
    "last_window": last_window,
    "overdue": overdue,
    "stale": stale,
}
#: Weather columns without which a kind cannot be read.
_RESTS_ON: dict[str, tuple[str, ...]] = {
    "wash": ("rain_mm",),
    "frost": ("air_temp_c", "rel_humidity_pct", "wind_10m_ms"),
    "rainfast": ("rain_mm",),
    "seed_stress": ("air_temp_c", "rain_mm"),
    "disease": ("air_temp_c", "rel_humidity_pct"),
    "wilt": ("air_temp_c", "rain_mm"),
}


def candidates(scene: Scene) -> list[Notice]:
    """Every warning down to its threshold less the hysteresis."""
    return [notice for row in NOTICES.values() for notice in row(scene)]


def read(scene: Scene) -> tuple[Notice, ...]:
    """All warnings at or above their thresholds, the gravest first, then the soonest."""
    return in_order(notice for notice in candidates(scene) if notice.strength >= notice.raised_from)


def step(scene: Scene, standing: Sequence[WarningState]) -> Life:
    """All warnings with the life they lead, from where they stood."""
    return follow(
        candidates(scene),
        standing,
        scene.now,
        margin=scene.margin,
        unread=lambda notice: cannot_read(scene, notice),
    )


def cannot_read(scene: Scene, notice: Notice) -> bool:
    """Whether an hour that the warning was read from is not known now: then nothing is said to be over."""
    columns = _RESTS_ON.get(notice.kind, ())
    weather = scene.plan.conditions.sky.weather
    ends = notice.ends or notice.begins + timedelta(hours=12)
    first = max(weather.index(max(notice.begins, scene.now)), 0)
    last = weather.index(ends - timedelta(microseconds=1)) + 1
    if not columns:
        return False
    if last > weather.hours:
        return True
    return any(bool(np.isnan(weather[name][:, first:last]).all(axis=0).any()) for name in columns)
