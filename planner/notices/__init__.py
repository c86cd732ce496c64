"""Warnings: what is about to go wrong. A new one is a function and a row."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from datetime import timedelta

import numpy as np

from planner.notices.base import LEVELS, Notice, Scene
from planner.notices.frost import frost
from planner.notices.life import Life, Standing, follow, in_order
from planner.notices.rainfast import rainfast
from planner.notices.seed_stress import seed_stress
from planner.notices.stale import stale
from planner.notices.unread import Unread, unread
from planner.notices.wash import wash
from planner.notices.work import last_window, overdue

__all__ = [
    "LEVELS",
    "NOTICES",
    "Life",
    "Notice",
    "Scene",
    "Standing",
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
}


def candidates(scene: Scene) -> list[Notice]:
    """Every warning down to its threshold less what is let go."""
    return [notice for row in NOTICES.values() for notice in row(scene)]


def read(scene: Scene) -> tuple[Notice, ...]:
    """All warnings at or above their thresholds, the gravest first, then the soonest."""
    return in_order(notice for notice in candidates(scene) if notice.strength >= notice.raised_from)


def step(scene: Scene, standing: Sequence[Standing]) -> Life:
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
    weather = scene.plan.ground.sky.weather
    ends = notice.ends or notice.begins + timedelta(hours=12)
    first = max(weather.index(max(notice.begins, scene.now)), 0)
    last = weather.index(ends - timedelta(microseconds=1)) + 1
    if not columns:
        return False
    if last > weather.hours:
        return True
    return any(bool(np.isnan(weather[name][:, first:last]).all(axis=0).any()) for name in columns)
