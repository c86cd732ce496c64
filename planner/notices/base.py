"""What a warning is."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from datetime import datetime, timedelta

from planner.plan import Plan
from planner.site import Sowing, WorkDone

#: Steps of a warning, from the mildest up.
LEVELS = ("mention", "heed", "act tonight")


@dataclass(frozen=True, slots=True, kw_only=True)
class Scene:
    """What a warning is read from."""

    plan: Plan
    now: datetime
    sowings: tuple[Sowing, ...]
    done: tuple[WorkDone, ...]
    thresholds: Mapping[str, float]


@dataclass(frozen=True, slots=True, kw_only=True)
class Notice:
    """One warning: what, where, when, how sure, and what to do."""

    kind: str
    surface: str | None
    """None where it is the same for all surfaces."""
    begins: datetime
    ends: datetime | None
    level: str
    chance: float | None
    strength: float
    """The figure that raised it, 0..1; a warning is stood down only once this falls below a margin."""
    says: str
    advice: tuple[str, ...]
    figures: Mapping[str, float | str | None] = field(default_factory=dict)

    @property
    def id(self) -> str:
        """Stable while the same thing is coming: kind, surface and the day it begins (UTC, noon to noon)."""
        day = (
            (self.begins - timedelta(hours=12)).strftime("%Y%m%d")
            if self.kind == "frost"
            else self.begins.strftime("%Y%m%d")
        )
        return "-".join([self.kind, (self.surface or "all").replace(" ", "_"), day])
