"""Warnings: what is about to go wrong. A new one is a function and a row."""

from __future__ import annotations

from collections.abc import Callable

from planner.notices.base import LEVELS, Notice, Scene
from planner.notices.frost import frost
from planner.notices.wash import wash

#: Kind -> the function that reads it from the scene.
NOTICES: dict[str, Callable[[Scene], list[Notice]]] = {"wash": wash, "frost": frost}


def read(scene: Scene) -> tuple[Notice, ...]:
    """All warnings, the gravest first, then the soonest."""
    notices = [notice for row in NOTICES.values() for notice in row(scene)]
    return tuple(sorted(notices, key=lambda notice: (-LEVELS.index(notice.level), notice.begins)))
