"""What a warning is."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field, replace
from datetime import datetime, timedelta

from planner.diary.consequences import Consequences
from planner.planning.conditions import SiteConditions
from planner.planning.plan import Plan
from planner.site import Sowing, WorkDone

#: Steps of a warning, from the mildest up.
LEVELS = ("note", "care", "act")
#: A strength that moved by this since the last message is worth another. Judgement.
STEP = 0.2


@dataclass(frozen=True, slots=True, kw_only=True)
class Scene:
    """What a warning is read from."""

    plan: Plan
    now: datetime
    sowings: tuple[Sowing, ...]
    done: tuple[WorkDone, ...]
    thresholds: Mapping[str, float]
    consequences: Consequences = field(default_factory=Consequences)
    """What the diary changes; empty when no diary was read."""
    members: SiteConditions | None = None
    """The same ground under an ensemble, for the chance."""
    stale_at: datetime | None = None
    """From then on the forecast counts as stale."""

    def floor(self, name: str) -> float:
        """A threshold less the hysteresis: down to there a warning that stands is kept."""
        return max(0.0, self.thresholds[name] - self.hysteresis)

    @property
    def hysteresis(self) -> float:
        """How far below its threshold a figure falls before its warning ends."""
        return self.thresholds.get("hysteresis", 0.04)

    @property
    def margin(self) -> float:
        """How far a figure must pass a level to leave it, and a threshold for a warning that ended to come back."""
        return self.thresholds.get("margin", 0.1)


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
    """The figure that raised it, 0..1; a warning ends only once this falls below a margin."""
    says: str
    advice: tuple[str, ...]
    figures: Mapping[str, float | str | None] = field(default_factory=dict)
    job: str = ""
    """The job it is about, for kinds that are about one."""
    raised_from: float = 0.0
    """Strength from which it is raised; one that stands already is kept below this, too."""
    calm_level: str = ""
    """The level it would have with a margin added: a level is left downwards only when this is left, too."""
    step: float = STEP
    """Change of strength that is worth another message."""
    share: float | None = None
    """Share of the members in which it comes about; nobody has calibrated it."""
    is_slow: bool = False
    """Whether it comes over days, so that a begin that shifts is no news; its level is."""
    onset: datetime | None = None
    """When it really set in, where `begins` is shown later than that; its moves are measured by this."""
    known_as: str = ""
    """The id it was raised under; empty before."""

    @property
    def id(self) -> str:
        """The id it was raised under, else one made of kind, surface, job and the day it begins (UTC)."""
        return self.known_as or self.first_id

    @property
    def first_id(self) -> str:
        """The id for a warning that is new: the day of a night is that of its evening."""
        day = self.begins - timedelta(hours=12) if self.kind == "frost" else self.begins
        parts = (self.kind, self.surface or "all", *([self.job] if self.job else []))
        return "-".join([*(part.replace(" ", "_") for part in parts), day.strftime("%Y%m%d")])

    @property
    def set_in(self) -> datetime:
        """When it sets in: its onset where that is told apart from what is shown."""
        return self.onset or self.begins

    @property
    def about(self) -> tuple[str, str, str]:
        """What must be the same in two warnings of the same thing."""
        return self.kind, self.surface or "", self.job

    def known(self, warning_id: str, level: str) -> Notice:
        """The same under the id and level it stands at."""
        return replace(self, known_as=warning_id, level=level)


def level_of(strength: float, care: float, act: float | None = None) -> str:
    """The level of a strength; `act` None where nothing is to be done at once."""
    if act is not None and strength >= act:
        return LEVELS[2]
    return LEVELS[1] if strength >= care else LEVELS[0]
