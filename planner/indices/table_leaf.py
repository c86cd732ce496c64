"""Rows of the leaf under the sky: temperature, dew, wetness and the night's frost."""

from __future__ import annotations

from datetime import datetime, time, timedelta

import numpy as np

from planner.indices import frost, leaf_wetness, soil_temp
from planner.indices import surface_temp as surface
from planner.indices.quantities import LocalDays, Quantities
from planner.indices.table import Rows
from planner.weather import Array

#: Sunlight at which a shift learned at night no longer counts.
SHIFT_GONE_WM2 = 100.0
#: So many hours in a row without cloud are taken as clear, the cold side; a longer gap leaves the night unread.
SHORT_GAP_H = 3
#: Air this warm keeps the turf off freezing whatever else is missing: no turf is 10 K below the air (judgement; over
#: stations and years one night in a hundred is more than 9.6 K below).
NO_FROST_AIR_C = 10.0
#: Hours with the screen at or below freezing from which the turf counts as frozen without any cloud. Judgement.
FROZEN_AIR_H = 2
rows = Rows()


def _sunlight_at_label(q: Quantities) -> Array:
    """Sunlight at the start of each hour, half way between the means of the hours beside it."""
    here = q["sunlight_wm2"]
    before = np.concatenate([here[:, :1], here[:, :-1]], axis=-1)
    return np.where(np.isnan(before), here, 0.5 * (before + here))


def _under_thatch_c(q: Quantities) -> Array:
    """Soil as forecast; else the day's mean air, with which the balance was fitted."""
    forecast = q["soil_temp_6cm_c"]
    if not np.isnan(forecast).any():
        return forecast
    return np.where(np.isnan(forecast), soil_temp.trailing_day_mean_c(q["air_temp_c"]), forecast)


@rows.sky(
    unit="C",
    says="Temperature of the leaf surface",
    bounds=(-60, 80),
    needs=(
        "air_temp_c",
        "rel_humidity_pct",
        "wind_10m_ms",
        "cloud_pct",
        "soil_temp_6cm_c",
        "station_pressure_hpa",
        "sunlight_wm2",
    ),
    source="own-balance",
    valid="-50 to 50 C; not high basins",
    check="tests/indices/test_surface_temp.py::test_payerne_nights_better_than_air",
)
def surface_temp_c(q: Quantities) -> Array:
    return _under_cloud_c(q, q["cloud_pct"])


def _under_cloud_c(q: Quantities, cloud_pct: Array) -> Array:
    light = _sunlight_at_label(q)
    computed = surface.surface_temp_c(
        q["air_temp_c"],
        q["rel_humidity_pct"],
        q["wind_10m_ms"],
        cloud_pct / 100.0,
        _under_thatch_c(q),
        q["station_pressure_hpa"],
        light,
    )
    shift = q.constants.get("surface_shift_k", 0.0)
    if shift == 0.0:
        return computed
    # The shift was learned on nights, so it fades out as the sun comes up.
    return np.clip(computed + shift * np.clip(1.0 - light / SHIFT_GONE_WM2, 0.0, 1.0), -60.0, 80.0)


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
    clear = _under_cloud_c(q, np.where(short, 0.0, q["cloud_pct"]))
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


def _leaf_loss_mm(q: Quantities) -> Array:
    return leaf_wetness.leaf_loss_mm_per_h(
        q["air_temp_c"],
        q["rel_humidity_pct"],
        q["wind_10m_ms"],
        q["sunlight_wm2"],
        surface.longwave_down_wm2(q["air_temp_c"], q["rel_humidity_pct"], q["cloud_pct"] / 100.0),
        soil_temp.trailing_day_mean_c(q["air_temp_c"]),
        q["station_pressure_hpa"],
    )


@rows.sky(
    unit="mm",
    says="Dew that forms on the leaf in the hour",
    bounds=(0, 0.3),
    needs=("air_temp_c", "rel_humidity_pct", "wind_10m_ms", "sunlight_wm2", "cloud_pct"),
    source="penman-monteith",
    valid="-40 to 50 C",
    check="tests/indices/test_leaf_wetness.py::test_dew_falls_on_clear_humid_nights_only",
)
def dew_mm(q: Quantities) -> Array:
    return np.maximum(-_leaf_loss_mm(q), 0.0)


@rows.sky(
    unit="0/1",
    says="Leaf wet from dew or rain",
    needs=("rain_mm", "air_temp_c", "rel_humidity_pct", "wind_10m_ms", "sunlight_wm2", "cloud_pct"),
    source="own-leaf-store",
    valid="short turf",
    check="tests/indices/test_leaf_wetness.py::test_wet_nights_and_dry_days",
)
def leaf_wet(q: Quantities) -> Array:
    rule = leaf_wetness.wet_by_humidity(q["rel_humidity_pct"], q["rain_mm"])
    return leaf_wetness.wet_leaf(q["rain_mm"], _leaf_loss_mm(q), rule)


@rows.sky(
    unit="h",
    says="Hours until the leaf is dry",
    bounds=(0, 100000),
    needs=("leaf_wet",),
    source="own-drying",
    valid="short turf; known up to the end of the hours",
    check="tests/indices/test_drying.py::test_leaf_is_dry_again_some_hours_after_rain",
)
def leaf_dry_in_h(q: Quantities) -> Array:
    return leaf_wetness.hours_until(1.0 - q["leaf_wet"])


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
