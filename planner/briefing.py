"""A briefing: one pass's plan, warnings and days, bound to the forecast they were read from."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from datetime import datetime, timedelta
from typing import Any

from planner.diary.consequences import Consequences
from planner.indices.outlook import day_rows
from planner.notices.base import Notice
from planner.notices.life import Life
from planner.notices.unread import Unread
from planner.plan import Plan
from planner.weather import Forecast
from planner.week import Away

#: From this age on a model run has been overtaken, however often the service confirms it: services run at
#: least twice a day. Judgement.
RUN_LASTS_H = 18.0


@dataclass(frozen=True, slots=True, kw_only=True)
class Briefing:
    """The one thing that is stored, served and sent."""

    made_at: datetime
    plan: Plan
    notices: tuple[Notice, ...]
    forecast: Forecast
    members: int
    stale: bool
    stale_after_h: float
    faults: tuple[str, ...]
    days: Mapping[str, list[dict[str, Any]]]
    """Rows per local day, by surface."""
    consequences: Consequences = field(default_factory=Consequences)
    """What the diary changes."""
    life: Life | None = None
    """How the warnings went on from where they stood; None when nobody asked."""
    not_read: tuple[Unread, ...] = ()
    """Kinds of warning that cannot be read within their look-ahead."""
    seen_at: datetime | None = None
    """When this very answer first came; a service that only confirms it since has told nothing new."""
    age_known: bool = True
    """False for a file that does not tell when it was made."""

    hours_a_day: float = 6.0
    week_days: int = 7
    away: tuple[Away, ...] = ()
    """The keeper's time, for the order of the week."""

    @property
    def unread_kinds(self) -> frozenset[str]:
        """Kinds of which no warning stands and none can be ruled out: not to be shown as "none"."""
        return frozenset(one.kind for one in self.not_read) - {notice.kind for notice in self.notices}

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


def days_of(plan: Plan) -> dict[str, list[dict[str, Any]]]:
    """Rows per local day for every surface, from the local day of the pass on."""
    today = plan.made_at.astimezone(plan.ground.site.zone).date().isoformat()
    rows = {}
    for name, quantities in plan.ground.surfaces.items():
        rows[name] = [row for row in day_rows(quantities) if row["date"] >= today]
    return rows
