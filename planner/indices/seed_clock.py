"""How far sown seed is on its way to emergence: one clock for the page, the needs and the warnings."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import UTC, date, datetime, time, timedelta

import numpy as np

from planner.indices.growth import emergence_rate_per_day
from planner.indices.quantities import Quantities
from planner.site import Sowing
from planner.weather import HOUR_S, Array, mean_of_members

#: A forecast's day with fewer hours than this is not taken for a whole one where the day is on record.
_WHOLE_H = 20
#: Seed is past caring for long before; older days are not looked at.
_OLDEST_DAYS = 440


@dataclass(frozen=True, slots=True, kw_only=True)
class SeedClock:
    """The way to emergence of one sowing, in units of the time that it takes: 1 when the first is seen."""

    sown_s: float
    """Moment of sowing, seconds since 1970."""
    starts_s: Array
    """Starts of the local days from that of the sowing on, and the end of the last, (days + 1,)."""
    way: Array
    """Way from the first of these on, (days + 1,); NaN where no day's soil is known at all."""
    guessed_until: datetime | None
    """End of the last day whose soil was taken from the nearest day that is known; None where there is none."""

    def at(self, epoch_s: Array) -> Array:
        """Way since the sowing at these moments; 0 before it, and held after the last day that is known."""
        begun = np.interp(self.sown_s, self.starts_s, self.way)
        return np.maximum(np.interp(epoch_s, self.starts_s, self.way) - begun, 0.0)

    def reaches(self, wanted: float) -> datetime | None:
        """The full hour by which the way has reached a figure, also one long past; None where it does not."""
        first = -(-self.sown_s // HOUR_S) * HOUR_S
        hours = np.arange(first, self.starts_s[-1] + 1, HOUR_S)
        over = np.flatnonzero(self.at(hours) >= wanted - 1e-9) if hours.size else hours
        return datetime.fromtimestamp(float(hours[over[0]]), UTC) if over.size else None

    def pace(self, days: int) -> float:
        """Way of a day, over the last days. [1/d]"""
        back = min(days, self.way.size - 1)
        return float(self.way[-1] - self.way[-1 - back]) / back


def seed_clock(q: Quantities, sowing: Sowing) -> SeedClock:
    """The clock of a sowing, from the days of soil on record and those of the forecast.

    A day that neither knows takes the soil between the nearest days that are known, or of the nearest. What is on
    record stays as it was, so that soil which warms later brings no growth to the past.
    """
    zone = q.site.zone
    days = q.days
    soil = mean_of_members(days.mean_of_known(q["soil_temp_c"]))
    known = {day: kept.soil_c for day, kept in q.past.items() if kept.soil_c == kept.soil_c}
    for day, figure, hours in zip(days.dates, soil.tolist(), days.lengths.tolist(), strict=True):
        if figure == figure and (hours >= _WHOLE_H or day not in known):
            known[day] = figure
    last = days.dates[-1]
    first = max(sowing.at.astimezone(zone).date(), last - timedelta(days=_OLDEST_DAYS))
    dates = [first + timedelta(days=number) for number in range(max((last - first).days, 0) + 1)]
    starts = np.array([_start(day, q) for day in (*dates, dates[-1] + timedelta(days=1))])
    grass = sowing.grass
    if known:
        there = sorted(known)
        ordinals = [day.toordinal() for day in there]
        filled = np.interp([day.toordinal() for day in dates], ordinals, [known[day] for day in there])
    else:
        filled = np.full(len(dates), np.nan)
    rates = emergence_rate_per_day(
        filled, grass.emergence_days, grass.emergence_optimum_c, grass.emergence_base_c
    )
    guessed = [day for day in dates if day not in known]
    return SeedClock(
        sown_s=sowing.at.timestamp(),
        starts_s=starts,
        way=np.concatenate([[0.0], np.cumsum(rates)]),
        guessed_until=None
        if not guessed
        else datetime.combine(guessed[-1] + timedelta(days=1), time(0), zone).astimezone(UTC),
    )


def _start(day: date, q: Quantities) -> float:
    return datetime.combine(day, time(0), q.site.zone).timestamp()
