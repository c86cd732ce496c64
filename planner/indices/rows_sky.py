"""What the sky alone decides: adapters from the hours of weather to the formulas."""

from __future__ import annotations

from datetime import datetime, time, timedelta

import numpy as np

from planner.indices import drying, frost, humidity, leaf_wetness, rain_energy, snow, soil_temp, sun
from planner.indices import evapotranspiration as evaporation
from planner.indices import surface_temp as surface
from planner.indices.frame import LocalDays, Quantities
from planner.indices.validity import flag
from planner.units import KMH_PER_MS, WIND_2M_PER_10M
from planner.weather import Array

MJ_PER_WM2_HOUR = 0.0036
#: Sunlight at which a shift learned at night no longer counts.
SHIFT_GONE_WM2 = 100.0
#: Heat over which cool-season greens spend more than they make (golf association updates).
HEAT_C = 32.0


def wind_2m_kmh(q: Quantities) -> Array:
    return q["wind_10m_ms"] * (WIND_2M_PER_10M * KMH_PER_MS)


def gust_kmh(q: Quantities) -> Array:
    return q["gust_10m_ms"] * KMH_PER_MS


def pressure_hpa(q: Quantities) -> Array:
    given = q["pressure_hpa"]
    return np.where(np.isnan(given), humidity.pressure_at_hpa(q.site.elevation_m), given)


def wet_bulb_c(q: Quantities) -> Array:
    return humidity.wet_bulb_c(q["air_temp_c"], q["rel_humidity_pct"], q["station_pressure_hpa"])


def delta_t_k(q: Quantities) -> Array:
    return q["air_temp_c"] - q["wet_bulb_c"]


def vpd_kpa(q: Quantities) -> Array:
    return humidity.vapour_pressure_deficit_kpa(q["air_temp_c"], q["rel_humidity_pct"])


def sun_altitude_deg(q: Quantities) -> Array:
    return sun.sun_position_deg(q.weather.epoch_s, q.site.latitude_deg, q.site.longitude_deg)[0]


def mid_hour_altitude_deg(q: Quantities) -> Array:
    middle = q.weather.epoch_s + 1800
    return np.atleast_2d(sun.sun_position_deg(middle, q.site.latitude_deg, q.site.longitude_deg)[0])


def near_night(q: Quantities) -> Array:
    """1 for hours that touch the time from an hour before sunset to an hour after sunrise."""
    labels = q.weather.epoch_s
    around = np.concatenate([[labels[0] - 3600], labels, [labels[-1] + 3600, labels[-1] + 7200]])
    below = sun.sun_position_deg(around, q.site.latitude_deg, q.site.longitude_deg)[0] < sun.RISE_DEG
    count = labels.size
    dark = below[:count] | below[1 : count + 1] | below[2 : count + 2] | below[3 : count + 3]
    return dark.astype(np.float64)


def sunlight_wm2(q: Quantities) -> Array:
    given = q["shortwave_wm2"]
    if not np.isnan(given).any():
        return given
    estimate = sun.cloudy_sky_wm2(mid_hour_altitude_deg(q), q["cloud_pct"] / 100.0)
    return np.where(np.isnan(given), estimate, given)


def sunlight_mj(q: Quantities) -> Array:
    return q["sunlight_wm2"] * MJ_PER_WM2_HOUR


def soil_temp_c(q: Quantities) -> Array:
    given = q["soil_temp_6cm_c"]
    if not np.isnan(given).any():
        return given
    return np.where(np.isnan(given), soil_temp.hourly_soil_temp_c(q["air_temp_c"]), given)


def soil_frozen(q: Quantities) -> Array:
    soil = q["soil_temp_c"]
    return flag(soil <= 0.0, ~np.isnan(soil))


def _sunlight_at_label(q: Quantities) -> Array:
    """Sunlight at the start of each hour, half way between the means of the hours beside it."""
    here = q["sunlight_wm2"]
    before = np.concatenate([here[:, :1], here[:, :-1]], axis=-1)
    return np.where(np.isnan(before), here, 0.5 * (before + here))


def _under_thatch_c(q: Quantities) -> Array:
    """Soil as forecast; else the day's mean air, with which the balance was fitted."""
    given = q["soil_temp_6cm_c"]
    if not np.isnan(given).any():
        return given
    return np.where(np.isnan(given), soil_temp.trailing_day_mean_c(q["air_temp_c"]), given)


def surface_temp_c(q: Quantities) -> Array:
    light = _sunlight_at_label(q)
    reckoned = surface.surface_temp_c(
        q["air_temp_c"],
        q["rel_humidity_pct"],
        q["wind_10m_ms"],
        q["cloud_pct"] / 100.0,
        _under_thatch_c(q),
        q["station_pressure_hpa"],
        light,
    )
    shift = q.constants.get("surface_shift_k", 0.0)
    if shift == 0.0:
        return reckoned
    # The shift was learned on nights, so it fades out as the sun comes up.
    return np.clip(reckoned + shift * np.clip(1.0 - light / SHIFT_GONE_WM2, 0.0, 1.0), -60.0, 80.0)


def turf_least_c(q: Quantities) -> Array:
    """The surface where it can be reckoned, else the coldest that the air allows: the cautious side of frost."""
    reckoned = q["surface_temp_c"]
    deepest = surface.GRASS_SURFACE.deepest_below_air_k
    return np.where(np.isnan(reckoned), q["air_temp_c"] - deepest, reckoned)


def dew_mm(q: Quantities) -> Array:
    return surface.dew_mm_per_h(
        q["air_temp_c"],
        q["rel_humidity_pct"],
        q["wind_10m_ms"],
        q["surface_temp_c"],
        q["station_pressure_hpa"],
    )


def leaf_wet(q: Quantities) -> Array:
    drying = leaf_wetness.drying_mm_per_h(
        q["air_temp_c"],
        q["rel_humidity_pct"],
        q["wind_10m_ms"],
        q["sunlight_wm2"],
        surface.longwave_down_wm2(q["air_temp_c"], q["rel_humidity_pct"], q["cloud_pct"] / 100.0),
        q["station_pressure_hpa"],
    )
    rule = leaf_wetness.wet_by_humidity(q["rel_humidity_pct"], q["rain_mm"])
    return leaf_wetness.wet_leaf(q["rain_mm"], q["dew_mm"], drying, rule)


def et0_hour_mm(q: Quantities) -> Array:
    """The forecast's own; else FAO-56 from sunlight, given or estimated; else by temperature alone."""
    given = q["et0_mm"]
    if not np.isnan(given).any():
        return given
    temp, moist = q["air_temp_c"], q["rel_humidity_pct"]
    altitude = mid_hour_altitude_deg(q)
    light = q["sunlight_mj"]
    clear = np.broadcast_to(sun.clear_sky_wm2(altitude) * MJ_PER_WM2_HOUR, light.shape)
    vapour = humidity.vapour_pressure_hpa(temp, np.minimum(moist, 100.0)) / 10.0
    net = evaporation.hourly_net_mj_m2(temp, vapour, light, evaporation.last_clearness(light, clear))
    ground = np.where(altitude > 0.0, 0.1, 0.5) * net
    wind = q["wind_10m_ms"] * WIND_2M_PER_10M
    hourly = evaporation.hourly_et0_mm(temp, moist, wind, net, ground, q["station_pressure_hpa"] / 10.0)
    made = np.where(np.isnan(given), hourly, given)
    if not np.isnan(made).any():
        return made
    above = 4.92 * np.maximum(np.sin(np.radians(altitude)), 0.0)
    by_day = evaporation.hargreaves_et0_mm(
        temp, q.days.spread(q.days.highest(temp)), q.days.spread(q.days.lowest(temp)), above
    )
    return np.where(np.isnan(made), by_day, made)


def leaf_dry_in_h(q: Quantities) -> Array:
    return drying.hours_until(1.0 - q["leaf_wet"])


def snow_melt_mm(q: Quantities) -> Array:
    snowing = q["snow_mm"]
    if not (snowing > 0.0).any():
        return np.where(np.isnan(snowing), np.nan, 0.0)
    factor = q.constants.get("snow_melt_mm_k_d", snow.MELT_MM_K_D)
    return snow.snow_melt_mm(snowing, q["air_temp_c"], melt_mm_k_d=factor)


def heat_stress(q: Quantities) -> Array:
    return np.maximum(q["air_temp_c"] - HEAT_C, 0.0)


def rain_event(q: Quantities) -> Array:
    events = rain_energy.rain_events(liquid_rain_mm(q))
    return np.where(np.isnan(q["rain_mm"]), np.nan, events.number.astype(np.float64))


def liquid_rain_mm(q: Quantities) -> Array:
    """Rain without what falls as snow, where that is known."""
    return np.maximum(q["rain_mm"] - np.nan_to_num(q["snow_mm"]), 0.0)


def night_lowest(q: Quantities, name: str) -> Array:
    """Lowest of each noon-to-noon night, (members, nights); NaN where a dark hour is not known.

    Nor is a night known that the hours leave before the sun is up, or enter after it.
    """
    nights, altitude = q.nights, q["sun_altitude_deg"]
    up = altitude > 0.0
    values = q[name]
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


def _frost_chance(q: Quantities, name: str) -> Array:
    lowest = night_lowest(q, name)
    # Members may share one air temperature and differ in rain and wind alone.
    if q["air_temp_c"].shape[0] > 1:
        spread = np.array(frost.MEMBER_SPREAD_K)
    else:
        spread = frost.forecast_spread_k(night_lead_days(q, q.nights))
    return q.nights.spread(frost.frost_chance(lowest, spread))


def frost_chance_ground(q: Quantities) -> Array:
    return _frost_chance(q, "surface_temp_c")


def frost_chance_air(q: Quantities) -> Array:
    return _frost_chance(q, "air_temp_c")


def mean_of_days(daily: Array, days: int) -> Array:
    """Mean of each day and those before it, at most `days`, fewer at the start; NaN where one is NaN."""
    padded = np.concatenate(
        [np.zeros((daily.shape[0], 1)), np.cumsum(np.nan_to_num(daily), axis=-1)], axis=-1
    )
    gaps = np.concatenate([np.zeros((daily.shape[0], 1)), np.cumsum(np.isnan(daily), axis=-1)], axis=-1)
    last = np.arange(1, daily.shape[1] + 1)
    first = np.maximum(last - days, 0)
    mean = (padded[:, last] - padded[:, first]) / (last - first)
    return np.where(gaps[:, last] - gaps[:, first] > 0, np.nan, mean)
