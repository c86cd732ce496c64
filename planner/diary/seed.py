"""How far sown seed has come, counted from its day even where the forecast does not reach back."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime, timedelta

import numpy as np

from planner.diary.timeline import Rate, Timeline
from planner.indices.emergence import emergence_rate_per_day
from planner.site import Grass, Sowing

#: Seed is past caring for once three times the time to emergence has gone by (own-emergence, judgement).
ROOTED = 3.0
#: Beyond the forecast the soil is taken to stay as it was over so many last days.
_LAST_DAYS = 5


@dataclass(frozen=True, slots=True, kw_only=True)
class SeedInGround:
    """One sowing and how far it is."""

    sowing: Sowing
    way: float | None
    """Time since sowing in units of the time to emergence; None when days on the way are not known."""
    emerges_at: datetime | None
    """When the first is seen; None when not known, or when the soil is too cold for it."""
    is_estimate: bool
    """Whether that day lies beyond the forecast."""


def emergence_rate(grass: Grass) -> Rate:
    """Share of the way to emergence of a day at its soil temperature."""
    return lambda soil_c: emergence_rate_per_day(
        soil_c, grass.emergence_days, grass.emergence_optimum_c, grass.emergence_base_c
    )


def seed_in_ground(sowing: Sowing, timeline: Timeline, now: datetime) -> SeedInGround | None:
    """How far the seed is; None once it has rooted, and for seed that is not down yet."""
    if sowing.at > now:
        return None
    rate = emergence_rate(sowing.grass)
    way = timeline.between(sowing.at, now, rate, "soil_c")
    if way != way:
        return SeedInGround(sowing=sowing, way=None, emerges_at=None, is_estimate=False)
    if way >= ROOTED:
        return None
    seen = timeline.reaches(sowing.at, 1.0, rate, "soil_c")
    if seen is not None:
        return SeedInGround(sowing=sowing, way=way, emerges_at=seen, is_estimate=False)
    ways = timeline.since(sowing.at, rate, "soil_c")
    days = sorted(day for day, told in timeline.days.items() if told.soil_c == told.soil_c)[-_LAST_DAYS:]
    known = ways[~np.isnan(ways)]
    if not days or not known.size:
        return SeedInGround(sowing=sowing, way=way, emerges_at=None, is_estimate=False)
    pace = float(np.mean(rate(np.array([timeline.days[day].soil_c for day in days]))))
    at = None
    if pace > 0.005:
        last = timeline.weather.time(int(np.flatnonzero(~np.isnan(ways))[-1]))
        at = last + timedelta(days=(1.0 - float(known[-1])) / pace)
    return SeedInGround(sowing=sowing, way=way, emerges_at=at, is_estimate=True)
