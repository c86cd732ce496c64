"""What a pass has worked out, before it is put into rows: plan, warnings and days, bound to their forecast."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from datetime import datetime, timedelta

from planner.diary.consequences import Consequences
from planner.diary.due import Wanted
from planner.indices.outlook import DayFigures, day_figures
from planner.planning.apart import Away
from planner.planning.conditions import SiteConditions
from planner.planning.plan import Plan
from planner.planning.shared import Shared
from planner.warnings.base import Notice
from planner.warnings.life import Life
from planner.warnings.unread import Unread
from planner.weather import Forecast

#: From this age on a model run has been overtaken, however often the service confirms it: services run at
#: least twice a day. Judgement.
RUN_LASTS_H = 18.0


@dataclass(frozen=True, slots=True, kw_only=True)
class Assessment:
    """Everything that a pass has computed from a forecast, with what it was computed from."""

    made_at: datetime
    plan: Plan
    notices: tuple[Notice, ...]
    forecast: Forecast
    members: int
    stale: bool
    stale_after_h: float
    faults: tuple[str, ...]
    days: Mapping[str, list[DayFigures]]
    """The local days of each surface, by its name."""
    consequences: Consequences = field(default_factory=Consequences)
    """What the diary changes."""
    life: Life | None = None
    """How the warnings went on from where they stood; None when nobody asked."""
    not_read: tuple[Unread, ...] = ()
    """Kinds of warning that cannot be read within their look-ahead."""
    seen_at: datetime | None = None
    """When this very answer first came; a service that only confirms it since has said nothing new."""
    age_known: bool = True
    """False for a file that does not tell when it was made."""

    wanted: tuple[Wanted, ...] = ()
    """What the keeper wants done."""
    keeper_jobs: tuple[str, ...] = ()
    """The jobs this keeper does; empty for all of them."""
    hours_a_day: float | None = None
    has_hours: bool = False
    """Whether the site file tells the keeper's hours."""
    mixes: frozenset[tuple[str, frozenset[str]]] = frozenset()
    """Surfaces, each with two jobs whose materials may share a tank."""
    shared: Shared | None = None
    """The keeper or the sprayer, where other sites have them too."""
    week_days: int = 7
    away: tuple[Away, ...] = ()
    """The keeper's time, for the order of the week."""

    def kind_of(self, job: str) -> str:
        """The kind of a job by its name; empty for one that the rules do not have."""
        return next((judged.job.kind for judged in self.plan.judged if judged.job.name == job), "")

    @property
    def age_h(self) -> float | None:
        """Hours since the forecast was issued where that is known, else since it was fetched; None for a file
        that tells neither."""
        if not self.age_known:
            return None
        since = self.forecast.issued_at or self.forecast.fetched_at
        return max(0.0, (self.made_at - since) / timedelta(hours=1))

    @property
    def stale_at(self) -> datetime:
        """From then on the forecast counts as stale if no newer one has come: too long since the service was
        heard, or too long since the model ran."""
        heard = self.forecast.fetched_at + timedelta(hours=self.stale_after_h)
        ran = self.forecast.issued_at or self.seen_at or self.forecast.fetched_at
        return min(heard, ran + timedelta(hours=max(RUN_LASTS_H, self.stale_after_h)))


def days_of(plan: Plan, members: SiteConditions | None = None) -> dict[str, list[DayFigures]]:
    """The days of every surface, from the local day of the pass on; frost and wash are over members, if any."""
    today = plan.made_at.astimezone(plan.conditions.site.zone).date()
    found = day_figures(plan.conditions.surfaces, None if members is None else members.surfaces)
    return {name: [day for day in days if day.date >= today] for name, days in found.items()}
