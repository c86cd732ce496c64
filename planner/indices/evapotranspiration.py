"""Water that well-watered short grass gives to the air (FAO-56)."""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike

from planner.weather import Array, within

#: Stefan-Boltzmann in the units of FAO-56.
_DAY_SIGMA = 4.903e-9
_HOUR_SIGMA = 2.043e-10
_SOLAR_MJ_M2_MIN = 0.0820
#: The sky's clearness at night when no daytime hour shows it (FAO-56 page 75: 0.4 to 0.8).
_NIGHT_CLEARNESS = 0.6


def saturation_kpa(temp_c: ArrayLike) -> Array:
    """Saturation vapour pressure, as FAO-56 has it.

    Parameters   temp_c : array. [degC]
    Returns      array, same shape. [kPa]
    Valid for    -60 to 60 degC; outside that NaN
    Missing      NaN in, NaN out
    Differs      none; up to 0.3 % from the Magnus form used for humidity elsewhere
    Source       fao-56, equation 11
    Check        tests/indices/test_published.py::test_printed_figure_is_reproduced
    """
    temp = within(temp_c, -60.0, 60.0)
    return np.asarray(0.6108 * np.exp(17.27 * temp / (temp + 237.3)))


def saturation_slope_kpa_k(temp_c: ArrayLike) -> Array:
    """Slope of the saturation vapour pressure, as FAO-56 has it.

    Parameters   temp_c : array. [degC]
    Returns      array, same shape. [kPa/K]
    Valid for    -60 to 60 degC; outside that NaN
    Missing      NaN in, NaN out
    Differs      none
    Source       fao-56, equation 13
    Check        tests/indices/test_published.py::test_printed_figure_is_reproduced
    """
    temp = within(temp_c, -60.0, 60.0)
    return np.asarray(4098.0 * saturation_kpa(temp) / np.square(temp + 237.3))


def psychrometric_kpa_k(pressure_kpa: ArrayLike) -> Array:
    """Psychrometric constant.

    Parameters   pressure_kpa : array. [kPa]
    Returns      array, same shape. [kPa/K]
    Valid for    50 to 110 kPa; outside that NaN
    Missing      NaN in, NaN out
    Differs      none
    Source       fao-56, equation 8
    Check        tests/indices/test_evapotranspiration.py::test_printed_parts_of_fao56
    """
    return within(pressure_kpa, 50.0, 110.0) * 0.000665


def day_sky_mj_m2(day_of_year: ArrayLike, latitude_deg: float) -> tuple[Array, Array]:
    """Sunlight above the air, and hours of day.

    Parameters   day_of_year : array. 1 to 366.
                 latitude_deg : float. [degrees]
    Returns      two arrays, same shape: sunlight of the day, length of the day. [MJ/m2/d, h]
    Valid for    any latitude; polar day and night held at 24 and 0 h
    Missing      NaN in, NaN out
    Differs      the polar hold
    Source       fao-56, equations 21 to 25 and 34
    Check        tests/indices/test_evapotranspiration.py::test_printed_parts_of_fao56
    """
    turn = 2.0 * np.pi * within(day_of_year, 1.0, 366.0) / 365.0
    near = 1.0 + 0.033 * np.cos(turn)
    tilt = 0.409 * np.sin(turn - 1.39)
    latitude = np.radians(latitude_deg)
    half = np.arccos(np.clip(-np.tan(latitude) * np.tan(tilt), -1.0, 1.0))
    light = half * np.sin(latitude) * np.sin(tilt) + np.cos(latitude) * np.cos(tilt) * np.sin(half)
    return np.asarray(1440.0 / np.pi * _SOLAR_MJ_M2_MIN * near * light), np.asarray(24.0 / np.pi * half)


def net_longwave_mj_m2(
    temp_max_c: ArrayLike,
    temp_min_c: ArrayLike,
    vapour_kpa: ArrayLike,
    sunlight: ArrayLike,
    clear_sunlight: ArrayLike,
) -> Array:
    """Longwave that a day loses.

    Parameters   temp_max_c, temp_min_c : arrays. [degC]
                 vapour_kpa : array. Vapour pressure of the air. [kPa]
                 sunlight, clear_sunlight : arrays. As it is, and of a clear day. [MJ/m2/d]
    Returns      array, broadcast shape. [MJ/m2/d]
    Valid for    clearness held between 0.3 and 1
    Missing      NaN in, NaN out
    Differs      the lower hold
    Source       fao-56, equation 39
    Check        tests/indices/test_evapotranspiration.py::test_printed_parts_of_fao56
    """
    high, low = (np.asarray(t, dtype=np.float64) + 273.16 for t in (temp_max_c, temp_min_c))
    clear = np.clip(np.asarray(sunlight) / np.asarray(clear_sunlight), 0.3, 1.0)
    emitted = _DAY_SIGMA * 0.5 * (high**4 + low**4)
    out: Array = emitted * (0.34 - 0.14 * np.sqrt(np.asarray(vapour_kpa))) * (1.35 * clear - 0.35)
    return out


def daily_et0_mm(
    temp_max_c: ArrayLike,
    temp_min_c: ArrayLike,
    vapour_kpa: ArrayLike,
    wind_2m_ms: ArrayLike,
    sunlight_mj_m2: ArrayLike,
    day_of_year: ArrayLike,
    latitude_deg: float,
    elevation_m: float,
    *,
    ground_heat: ArrayLike = 0.0,
) -> Array:
    """Reference evapotranspiration of a day.

    Parameters   temp_max_c, temp_min_c : arrays. [degC]
                 vapour_kpa : array. [kPa]
                 wind_2m_ms : array. [m/s]
                 sunlight_mj_m2, ground_heat : arrays. [MJ/m2/d]
                 day_of_year : array.
                 latitude_deg, elevation_m : float. [degrees, m]
    Returns      array, broadcast shape, 0 or more. [mm/d]
    Valid for    -40 to 55 degC, wind up to 75 m/s, sunlight up to 45 MJ; outside that NaN
    Missing      NaN in, NaN out
    Differs      held at 0
    Source       fao-56, equation 6 (examples 17 and 18)
    Check        tests/indices/test_evapotranspiration.py::test_example_18_uccle
    """
    high, low = within(temp_max_c, -40.0, 55.0), within(temp_min_c, -40.0, 55.0)
    wind, sun = within(wind_2m_ms, 0.0, 75.0), within(sunlight_mj_m2, 0.0, 45.0)
    mean = 0.5 * (high + low)
    above, _ = day_sky_mj_m2(day_of_year, latitude_deg)
    clear = np.maximum((0.75 + 2e-5 * elevation_m) * above, 1e-6)
    net = 0.77 * sun - net_longwave_mj_m2(high, low, vapour_kpa, sun, clear)
    deficit = 0.5 * (saturation_kpa(high) + saturation_kpa(low)) - np.asarray(vapour_kpa)
    gamma = psychrometric_kpa_k(_pressure_kpa(elevation_m))
    slope = saturation_slope_kpa_k(mean)
    top = 0.408 * slope * (net - np.asarray(ground_heat)) + gamma * 900.0 / (mean + 273.0) * wind * deficit
    out: Array = np.maximum(top / (slope + gamma * (1.0 + 0.34 * wind)), 0.0)
    return out


def hourly_et0_mm(
    temp_c: ArrayLike,
    rel_humidity_pct: ArrayLike,
    wind_2m_ms: ArrayLike,
    net_mj_m2: ArrayLike,
    ground_heat_mj_m2: ArrayLike,
    pressure_kpa: ArrayLike,
) -> Array:
    """Reference evapotranspiration of an hour.

    Parameters   temp_c, rel_humidity_pct : arrays. [degC, %]
                 wind_2m_ms : array. [m/s]
                 net_mj_m2, ground_heat_mj_m2 : arrays. [MJ/m2/h]
                 pressure_kpa : array. [kPa]
    Returns      array, broadcast shape, 0 or more. [mm/h]
    Valid for    -40 to 55 degC; outside that NaN
    Missing      NaN in, NaN out
    Differs      held at 0; resistance the same by day and night (ASCE-EWRI 2005 has two)
    Source       fao-56, equation 53 (example 19)
    Check        tests/indices/test_evapotranspiration.py::test_example_19_ndiaye
    """
    temp, wind = within(temp_c, -40.0, 55.0), within(wind_2m_ms, 0.0, 75.0)
    full = saturation_kpa(temp)
    deficit = full * (1.0 - np.minimum(within(rel_humidity_pct, 0.0, 105.0), 100.0) / 100.0)
    gamma, slope = psychrometric_kpa_k(pressure_kpa), saturation_slope_kpa_k(temp)
    energy = np.asarray(net_mj_m2, dtype=np.float64) - np.asarray(ground_heat_mj_m2, dtype=np.float64)
    top = 0.408 * slope * energy + gamma * 37.0 / (temp + 273.0) * wind * deficit
    return np.maximum(top / (slope + gamma * (1.0 + 0.34 * wind)), 0.0)


def hourly_net_mj_m2(
    temp_c: ArrayLike, vapour_kpa: ArrayLike, sunlight_mj_m2: ArrayLike, clearness: ArrayLike
) -> Array:
    """Net radiation of grass in an hour.

    Parameters   temp_c : array. [degC]
                 vapour_kpa : array. [kPa]
                 sunlight_mj_m2 : array. [MJ/m2/h]
                 clearness : array. Sunlight over that of a clear sky; at night that of the last day. [0-1]
    Returns      array, broadcast shape. [MJ/m2/h]
    Valid for    clearness held between 0.3 and 1
    Missing      NaN in, NaN out
    Differs      none
    Source       fao-56, equations 38 to 40, hourly
    Check        tests/indices/test_evapotranspiration.py::test_example_19_ndiaye
    """
    kelvin = within(temp_c, -60.0, 60.0) + 273.16
    sky = 0.34 - 0.14 * np.sqrt(np.maximum(np.asarray(vapour_kpa, dtype=np.float64), 0.0))
    lost = _HOUR_SIGMA * kelvin**4 * sky * (1.35 * np.clip(clearness, 0.3, 1.0) - 0.35)
    return 0.77 * within(sunlight_mj_m2, 0.0, 6.0) - lost


def last_clearness(sunlight: Array, clear_sunlight: Array) -> Array:
    """Clearness of the sky by hours, carried through the night.

    Parameters   sunlight, clear_sunlight : arrays (members, hours). As it is, and of a clear sky. [any]
    Returns      array (members, hours). [0.3-1]
    Valid for    any run of hours
    Missing      hours before the first known daylight have 0.6
    Differs      carried from the last hour of strong sun in place of two hours before sunset
    Source       fao-56, page 75
    Check        tests/indices/test_evapotranspiration.py::test_clearness_is_carried_through_the_night
    """
    day = (clear_sunlight > 0.2 * np.nanmax(clear_sunlight, initial=1e-9)) & ~np.isnan(sunlight)
    ratio = np.where(day, np.clip(sunlight / np.where(day, clear_sunlight, 1.0), 0.3, 1.0), _NIGHT_CLEARNESS)
    place = np.where(day, np.arange(sunlight.shape[-1]), -1)
    place = np.maximum.accumulate(place, axis=-1)
    carried = np.take_along_axis(ratio, np.maximum(place, 0), axis=-1)
    return np.where(place >= 0, carried, _NIGHT_CLEARNESS)


def hargreaves_et0_mm(
    mean_c: ArrayLike, highest_c: ArrayLike, lowest_c: ArrayLike, sky_mj_m2: ArrayLike
) -> Array:
    """Reference evapotranspiration of a day from temperature alone.

    Parameters   mean_c, highest_c, lowest_c : arrays. Of the day. [degC]
                 sky_mj_m2 : array. Sunlight above the air. [MJ/m2/d]
    Returns      array, broadcast shape, 0 or more. [mm/d]
    Valid for    -40 to 55 degC; outside that NaN. Poor on single days.
    Missing      NaN in, NaN out
    Differs      held at 0
    Source       fao-56, equation 52
    Check        tests/indices/test_evapotranspiration.py::test_hargreaves_near_penman_at_uccle
    """
    mean = within(mean_c, -40.0, 55.0)
    swing = np.sqrt(np.maximum(np.asarray(highest_c) - np.asarray(lowest_c), 0.0))
    out: Array = np.maximum(0.0023 * (mean + 17.8) * swing * 0.408 * np.asarray(sky_mj_m2), 0.0)
    return out


def _pressure_kpa(elevation_m: float) -> float:
    return float(101.3 * ((293.0 - 0.0065 * elevation_m) / 293.0) ** 5.26)
