"""The days ahead in figures: one row per local day."""

from __future__ import annotations

from datetime import UTC, date, datetime, time, timedelta
from typing import Any

import numpy as np

from planner.indices import sun
from planner.indices.frame import LocalDays, Quantities
from planner.indices.frost import off_frost
from planner.indices.rows_sky import night_lowest
from planner.weather import NEEDED, Array

#: Ends of the wash band over ensemble members.
_LOW_SHARE, _HIGH_SHARE = 0.1, 0.9


def day_rows(quantities: Quantities) -> list[dict[str, Any]]:
    """A row for each local day of the hours, oldest first, for one surface.

    Temperatures in C, rain and water in mm. `date` is ISO text; `sunrise`, `sunset` and `off_frost_at` are
    aware moments. What is not known is None; figures of a cut day hold for the hours that are there. Members
    are averaged; the wash band is then their 10th and 90th percentile. Frost is that of the night which ends
    on the day. Raises NotKnown for quantities of the sky alone.
    """
    days = quantities.days
    columns = _columns(quantities, days)
    nights = _night_columns(quantities)
    known = _hours_known(quantities, days)
    rows = []
    for number, day in enumerate(days.dates):
        row: dict[str, Any] = {"date": day.isoformat(), "hours_known": int(known[number])}
        row |= {name: _figure(values[number]) for name, values in columns.items()}
        row |= nights.get(day, dict.fromkeys(_NIGHT_NAMES))
        row |= _sun_times(quantities, day)
        rows.append(row)
    return rows


_NIGHT_NAMES = ("frost_risk", "air_frost_risk", "surface_min_c", "off_frost_at")


def _figure(value: float) -> float | None:
    return None if np.isnan(value) else float(value)


def _columns(q: Quantities, days: LocalDays) -> dict[str, Array]:
    rain, water = q["rain_mm"], q["storage_pct_fc"]
    whole = q.weather.members > 1
    risk = days.highest(q["wash_risk"])
    columns = {
        "air_min_c": _mean(days.lowest(q["air_temp_c"])),
        "air_max_c": _mean(days.highest(q["air_temp_c"])),
        "rain_mm": _mean(days.total(rain)),
        "rain_hour_max_mm": _mean(days.highest(rain)),
        "wind_2m_max_kmh": _mean(days.highest(q["wind_2m_kmh"])),
        "growth_potential": _mean(days.mean(q["growth_potential"])),
        "rain_wash_risk": _mean(risk),
        "wash_low": _share(days.highest(q["wash_low"]), _LOW_SHARE),
        "wash_high": _share(days.highest(q["wash_high"]), _HIGH_SHARE),
        "soil_temp_c": _mean(days.mean(q["soil_temp_c"])),
        "et0_mm": _mean(days.total(q["et0_hour_mm"])),
        "storage_pct_fc": _mean(days.mean(water)),
        "dli_mol": _mean(days.mean(q["light_dli_mol"])),
        "degree_days": _mean(_degree_days(q, days)),
    }
    known = ~np.isnan(risk)
    over = (risk > 0.5).sum(axis=0) / np.maximum(known.sum(axis=0), 1)
    columns["wash_chance"] = np.where(known.any(axis=0) & whole, over, np.nan)
    return columns


def _degree_days(q: Quantities, days: LocalDays) -> Array:
    """Degree days that each day adds; a cut day adds those of its hours."""
    sums = q["growing_degree_days"]
    firsts, lasts = np.array(days.first_hour), np.array([*days.first_hour[1:], q.weather.hours]) - 1
    steps = np.diff(sums, axis=-1, append=np.nan)
    steps[:, -1] = steps[:, -2] if q.weather.hours - firsts[-1] > 1 else np.nan
    return np.asarray(sums[:, lasts] + steps[:, lasts] - sums[:, firsts])


def _mean(daily: Array) -> Array:
    """Mean over the members that know the day, shape (days,); NaN where none does."""
    known = ~np.isnan(daily)
    count = known.sum(axis=0)
    sums = np.where(known, daily, 0.0).sum(axis=0)
    return np.where(count > 0, sums / np.maximum(count, 1), np.nan)


def _share(daily: Array, share: float) -> Array:
    if daily.shape[0] == 1:
        return np.asarray(daily[0])
    out = np.full(daily.shape[1], np.nan)
    for day in range(daily.shape[1]):
        known = daily[~np.isnan(daily[:, day]), day]
        if known.size:
            out[day] = np.quantile(known, share)
    return out


def _night_columns(q: Quantities) -> dict[date, dict[str, Any]]:
    """Frost figures of each night, under the date of its morning."""
    nights = q.nights
    ground, air = q["frost_chance_ground"], q["frost_chance_air"]
    firsts = list(nights.first_hour)
    ground_chance, air_chance = _mean(ground[:, firsts]), _mean(air[:, firsts])
    lowest = _mean(night_lowest(q, "surface_temp_c"))
    surface = _mean(q["surface_temp_c"])
    bounds = [*firsts, q.weather.hours]
    rows: dict[date, dict[str, Any]] = {}
    for number, evening in enumerate(nights.dates):
        off = None
        hours = surface[bounds[number] : bounds[number + 1]]
        if not np.isnan(lowest[number]) and not np.isnan(hours).all():
            off = off_frost(q, after=q.weather.time(bounds[number] + int(np.nanargmin(hours))))
        rows[evening + timedelta(days=1)] = {
            "frost_risk": _figure(ground_chance[number]),
            "air_frost_risk": _figure(air_chance[number]),
            "surface_min_c": _figure(lowest[number]),
            "off_frost_at": off,
        }
    return rows


def _hours_known(q: Quantities, days: LocalDays) -> Array:
    known = np.ones((1, q.weather.hours), dtype=bool)
    for name in NEEDED:
        known = known & ~np.isnan(q[name]).all(axis=0, keepdims=True)
    return np.asarray(days.total(known.astype(np.float64))[0])


def _sun_times(q: Quantities, day: date) -> dict[str, datetime | None]:
    zone = q.site.zone
    start = datetime.combine(day, time(0), zone).timestamp()
    end = datetime.combine(day + timedelta(days=1), time(0), zone).timestamp()
    moments = sun.rise_and_set_s(int(start), int(end), q.site.latitude_deg, q.site.longitude_deg)
    rise, fall = (
        None if at is None else datetime.fromtimestamp(round(at), UTC).astimezone(zone) for at in moments
    )
    return {"sunrise": rise, "sunset": fall}
