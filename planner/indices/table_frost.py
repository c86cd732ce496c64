"""Rows of frost: how cold the grass may be, the hours to keep off it, and the chance of the night."""

from __future__ import annotations

from datetime import datetime, time, timedelta

import numpy as np

from planner.indices import frost
from planner.indices import surface_temp as surface
from planner.indices.quantities import LocalDays, Quantities
from planner.indices.table import Rows
from planner.indices.table_leaf import under_cloud_c
from planner.weather import Array

#: So many hours in a row without cloud are taken as clear, the cold side; a longer gap leaves the night unread.
SHORT_GAP_H = 3
#: Air this warm keeps the turf off freezing whatever else is missing: no turf is 10 K below the air (judgement; over
#: stations and years one night in a hundred is more than 9.6 K below).
NO_FROST_AIR_C = 10.0
#: Hours with the screen at or below freezing from which the turf counts as frozen without any cloud. Judgement.
FROZEN_AIR_H = 2
rows = Rows()


def bridged_surface_c(q: Quantities) -> Array:
    """The surface, computed under a clear sky where cloud alone is missing for at most `SHORT_GAP_H` hours. [degC]

    Shape (members or 1, hours). A clear sky is the cold side of what it can have been.
    """
    known = q["surface_temp_c"]
    gap = np.isnan(q["cloud_pct"])
    if not (np.isnan(known).any() and gap.any()):
        return known
    # The run of gaps that an hour lies in reaches from the last known hour before it to the next one after it.
    hours = np.arange(gap.shape[1])
    before = np.maximum.accumulate(np.where(gap, -1, hours), axis=1)
    after = np.minimum.accumulate(np.where(gap, hours.size, hours)[:, ::-1], axis=1)[:, ::-1]
    short = gap & (after - before - 1 <= SHORT_GAP_H)
    if not short.any():
        return known
    clear = under_cloud_c(q, np.where(short, 0.0, q["cloud_pct"]))
    return np.where(np.isnan(known), clear, known)


@rows.sky(
    unit="C",
    says="Temperature the leaf surface has at the least: known, or as far below the air as it may fall",
    bounds=(-66, 75),
    needs=("air_temp_c", "surface_temp_c"),
    source="own-balance",
    valid="-50 to 50 C",
    check="tests/indices/test_rows.py::test_turf_is_held_at_its_coldest_where_cloud_is_not_known",
)
def turf_least_c(q: Quantities) -> Array:
    """The surface where it can be computed, else the coldest that the air allows: the cautious side of frost."""
    computed = bridged_surface_c(q)
    deepest = surface.GRASS_SURFACE.deepest_below_air_k
    return np.where(np.isnan(computed), q["air_temp_c"] - deepest, computed)


@rows.sky(
    unit="0/1",
    says="Frost on the turf, or gone for less than an hour: keep off",
    needs=("turf_least_c", "air_temp_c", "sun_altitude_deg"),
    source="own-frost-chance",
    valid="nights known up to the thaw",
    check="tests/indices/test_frost.py::test_off_frost_waits_for_a_full_hour",
)
def frost_keep_off(q: Quantities) -> Array:
    return frost.keep_off(q["turf_least_c"], q["air_temp_c"], q["sun_altitude_deg"])


def night_lowest(q: Quantities, name: str) -> Array:
    """Lowest of each noon-to-noon night, (members, nights); NaN where a dark hour is not known.

    Nor is a night known that the hours leave before the sun is up, or enter after it.
    """
    return _lowest(q, q[name])


def _lowest(q: Quantities, values: Array) -> Array:
    nights, up = q.nights, q["sun_altitude_deg"] > 0.0
    lowest = nights.lowest(np.where(np.isnan(values) & up, np.inf, values))
    whole = np.ones(len(nights.dates), dtype=bool)
    whole[0] = _since_noon_h(q, 0) < 1.0 or not up[0, 0]
    end = _since_noon_h(q, q.weather.hours - 1)
    whole[-1] &= end >= 23.0 or (end >= 12.0 and bool(up[0, -1]))
    return np.where(whole & np.isfinite(lowest), lowest, np.nan)


def _since_noon_h(q: Quantities, hour: int) -> float:
    local = q.weather.time(hour).astimezone(q.site.zone)
    return (local.hour + local.minute / 60.0 - 12.0) % 24.0


def night_lead_days(q: Quantities, nights: LocalDays) -> Array:
    """Days from now to the midnight of each night."""
    zone = q.site.zone
    middles = [datetime.combine(day + timedelta(days=1), time(0), zone) for day in nights.dates]
    return np.array([(middle - q.now).total_seconds() / 86400.0 for middle in middles])


def _turf_lowest(q: Quantities) -> Array:
    """Lowest of the turf in each night, (members, nights), for the chance of frost.

    Missing cloud does not blank a night where the air decides: warm air rules frost out, and air at or below freezing
    for hours is frost on the grass, which is then at most as warm as the air.
    """
    air = q["air_temp_c"]
    turf = bridged_surface_c(q)
    warm = np.isnan(turf) & (air >= NO_FROST_AIR_C)
    lowest = _lowest(q, np.where(warm, air - surface.GRASS_SURFACE.deepest_below_air_k, turf))
    frozen = q.nights.total((air <= 0.0).astype(np.float64)) >= FROZEN_AIR_H
    coldest_air = q.nights.lowest(np.where(np.isnan(air), np.inf, air))
    return np.where(np.isnan(lowest) & frozen, coldest_air, lowest)


def _frost_chance(q: Quantities, lowest: Array) -> Array:
    # Members may share one air temperature and differ in rain and wind alone.
    if q["air_temp_c"].shape[0] > 1:
        spread = np.array(frost.MEMBER_SPREAD_K)
    else:
        spread = frost.forecast_spread_k(night_lead_days(q, q.nights))
    return q.nights.spread(frost.frost_chance(lowest, spread))


@rows.sky(
    unit="0-1",
    says="Chance of frost on the grass in the night from noon to noon",
    needs=("surface_temp_c",),
    source="own-frost-chance",
    valid="nights known up to sunrise",
    check="tests/indices/test_frost.py::test_frost_chance_worked_values",
)
def frost_chance_ground(q: Quantities) -> Array:
    return _frost_chance(q, _turf_lowest(q))


@rows.sky(
    unit="0-1",
    says="Chance of frost in the air in the night from noon to noon",
    needs=("air_temp_c",),
    source="own-frost-chance",
    valid="nights known up to sunrise",
    check="tests/indices/test_frost.py::test_frost_chance_worked_values",
)
def frost_chance_air(q: Quantities) -> Array:
    return _frost_chance(q, night_lowest(q, "air_temp_c"))
