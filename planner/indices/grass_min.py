"""Temperature that a thermometer at the tips of the grass reads: the heat balance, or the air, calibrated.

The trade calls its lowest of the night the grass minimum, and one below 0.0 degC ground frost. The balance of
`surface_temp` is the radiating surface and another quantity: bare thermometers at the tips lose more heat than the
leaf and read lower.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike

from planner.indices.frost import frost_chance
from planner.weather import Array, within

#: Wind below which the calibration does not change: no anemometer tells it from calm. [m/s]
CALM_MS = 0.5
#: Surface below the air from which the balance is taken to overdo it. Judgement. [K]
DEEP_FROM_K = 1.5
#: Height of the sun from which the grass reads as the surface does; on the way up the difference fades. Judgement.
SUN_GONE_DEG, SUN_FULL_DEG = 0.0, 10.0
#: Where the balance is not known: grass minimum less air minimum, and the spread of that. Fitted as `HOURLY`.
AIR_ALONE_K, AIR_ALONE_SPREAD_K = -2.06, 1.50
#: So far below the air the surface fell in one of a hundred days at US climate stations south of 50 N (2020,
#: infrared; 6 % of the days fell more than 6 K).
COLDEST_BELOW_AIR_K = 9.4


@dataclass(frozen=True, slots=True, kw_only=True)
class HourlyGrass:
    """Grass less balance, and the spread of what that leaves, by wind at 10 m: both change with its logarithm."""

    at_one_ms_k: float
    per_log_wind_k: float
    per_deep: float
    """For each kelvin of the surface further below the air than `DEEP_FROM_K`: there the balance itself is too cold."""
    spread_at_one_ms_k: float
    spread_power: float


@dataclass(frozen=True, slots=True, kw_only=True)
class DailyGrass:
    """Grass minimum less air minimum from the means of a day, and the spread of what that leaves."""

    constant_k: float
    per_log_wind_k: float
    per_cloud_k: float
    per_rise: float
    """For each kelvin of the day's mean air above its minimum."""
    spread_at_one_ms_k: float
    spread_power: float


#: Fitted by `planner.verification.grass_fit` to seven Irish stations, 2017, and De Bilt 1980 to 1999: what wind changes
#: is that of both, level and depth those of the Irish hours. Cloud and season add nothing that holds at both: cloud is
#: in the balance already, and the season's sign differs.
HOURLY = HourlyGrass(
    at_one_ms_k=-1.89, per_log_wind_k=0.49, per_deep=0.48, spread_at_one_ms_k=1.70, spread_power=-0.21
)
#: Fitted there to De Bilt 1980 to 1999. The balance of daily means adds nothing to these.
DAILY = DailyGrass(
    constant_k=-2.10,
    per_log_wind_k=0.66,
    per_cloud_k=0.88,
    per_rise=-0.27,
    spread_at_one_ms_k=1.30,
    spread_power=-0.15,
)


def log_wind(wind_10m_ms: ArrayLike) -> Array:
    """Natural logarithm of the wind at 10 m, as the calibration reads it.

    Parameters   wind_10m_ms : array. [m/s]
    Returns      array, same shape
    Valid for    0 to 75 m/s; outside that NaN
    Missing      NaN in, NaN out
    Differs      wind under 0.5 m/s is read as 0.5
    Source       own-grass-minimum
    Check        tests/indices/test_grass_min.py::test_wind_closes_the_gap_to_the_surface
    """
    return np.asarray(np.log(np.maximum(within(wind_10m_ms, 0.0, 75.0), CALM_MS)))


def night_share(sun_altitude_deg: ArrayLike) -> Array:
    """How much of the night's difference between grass and surface holds.

    Parameters   sun_altitude_deg : array. [degrees]
    Returns      array, same shape. 1 with the sun down, 0 from 10 degrees up. [0-1]
    Valid for    -90 to 90 degrees
    Missing      NaN in, NaN out
    Differs      a straight line between (judgement)
    Source       own-grass-minimum
    Check        tests/indices/test_grass_min.py::test_difference_fades_with_the_sun
    """
    altitude = within(sun_altitude_deg, -90.0, 90.0)
    return np.clip((SUN_FULL_DEG - altitude) / (SUN_FULL_DEG - SUN_GONE_DEG), 0.0, 1.0)


def grass_temp_c(
    surface_c: ArrayLike,
    air_temp_c: ArrayLike,
    wind_10m_ms: ArrayLike,
    sun_altitude_deg: ArrayLike,
    *,
    calibration: HourlyGrass = HOURLY,
) -> Array:
    """What a thermometer at the tips of the grass is expected to read, from the radiating surface.

    Parameters   surface_c, air_temp_c : arrays. `surface_temp_c`, and the air at screen height. [degC]
                 wind_10m_ms : array. [m/s]
                 sun_altitude_deg : array. [degrees]
    Returns      array, broadcast shape. [degC]
    Valid for    surface -60 to 80 degC, air to 55 degC, wind to 75 m/s; short grass, open ground
    Missing      NaN in, NaN out
    Differs      never warmer than the surface nor more than 9.4 K below the air; by day the surface itself
    Source       own-grass-minimum
    Check        tests/verification/test_ground_frost.py::test_shipped_calibration_is_the_fit
    """
    surface, air = within(surface_c, -60.0, 80.0), within(air_temp_c, -60.0, 55.0)
    deep = np.maximum(air - surface - DEEP_FROM_K, 0.0)
    below = calibration.at_one_ms_k + calibration.per_log_wind_k * log_wind(wind_10m_ms)
    below = np.minimum(below + calibration.per_deep * deep, 0.0)
    grass = surface + below * night_share(sun_altitude_deg)
    # In dry calm air the balance runs off.
    return np.asarray(np.maximum(grass, air - COLDEST_BELOW_AIR_K))


def grass_spread_k(wind_10m_ms: ArrayLike, *, calibration: HourlyGrass = HOURLY) -> Array:
    """Standard deviation of what a grass thermometer reads about `grass_temp_c`, the weather being known.

    Parameters   wind_10m_ms : array. [m/s]
    Returns      array, same shape. [K]
    Valid for    0 to 75 m/s; outside that NaN
    Missing      NaN in, NaN out
    Differs      holds what stations differ among themselves
    Source       own-grass-minimum
    Check        tests/verification/test_ground_frost.py::test_shipped_calibration_is_the_fit
    """
    return calibration.spread_at_one_ms_k * np.exp(calibration.spread_power * log_wind(wind_10m_ms))


def air_less_c(air_temp_c: ArrayLike, sun_altitude_deg: ArrayLike, below_k: float = AIR_ALONE_K) -> Array:
    """Grass temperature from the air alone: less a constant at night, the air itself by day.

    Parameters   air_temp_c : array. [degC]
                 sun_altitude_deg : array. [degrees]
                 below_k : float. What is added to the air at night. [K]
    Returns      array, broadcast shape. [degC]
    Valid for    -60 to 55 degC
    Missing      NaN in, NaN out
    Differs      the spread about it is `AIR_ALONE_SPREAD_K`, wider than that of the balance in wind
    Source       own-grass-minimum
    Check        tests/verification/test_ground_frost.py::test_air_alone_is_the_fit
    """
    return within(air_temp_c, -60.0, 55.0) + below_k * night_share(sun_altitude_deg)


#: Nights after which an error counts half; nights that the shipped calibration counts for, in the mean and in the
#: spread; furthest shift, and least and most that the spread is stretched by. Judgement.
HALF_LIFE_NIGHTS = 20.0
PRIOR_NIGHTS, PRIOR_SPREAD_NIGHTS = 10.0, 30.0
MOST_SHIFT_K = 5.0
STRETCH = (0.5, 2.0)


def own_correction(
    error_k: ArrayLike, spread_k: ArrayLike, age_nights: ArrayLike, start_k: float = 0.0
) -> tuple[float, float]:
    """What a site's own readings of grass minima add to the calibration, and by what they stretch its spread.

    Parameters   error_k : array (nights,). Read less expected by the shipped calibration. [K]
                 spread_k : array (nights,). The calibration's spread of those nights. [K]
                 age_nights : array (nights,). Nights since. [d]
                 start_k : float. The shift held before anything was read. [K]
    Returns      shift [K]; factor of the spread
    Valid for    one site, read at the tips of the grass; shift within 5 K, factor within 0.5 to 2
    Missing      nights with a NaN teach nothing; without any the start and 1
    Differs      errors half forgotten after 20 nights, ten nights without error mixed in: the mean is moved soon,
                 the spread later
    Source       own-local-shift (the constants are judgement)
    Check        tests/indices/test_grass_min.py::test_readings_better_the_nights_to_come
    """
    error, spread, age = (np.asarray(a, dtype=np.float64) for a in (error_k, spread_k, age_nights))
    known = ~np.isnan(error + spread + age)
    error, spread = error[known], spread[known]
    weight = 0.5 ** (np.maximum(age[known], 0.0) / HALF_LIFE_NIGHTS)
    total = float(weight.sum())
    shift = (PRIOR_NIGHTS * start_k + float(weight @ error)) / (PRIOR_NIGHTS + total)
    shift = min(max(shift, -MOST_SHIFT_K), MOST_SHIFT_K)
    left = float(weight @ np.square((error - shift) / spread))
    factor = float(np.sqrt((PRIOR_SPREAD_NIGHTS + left) / (PRIOR_SPREAD_NIGHTS + total)))
    return shift, min(max(factor, STRETCH[0]), STRETCH[1])


def daily_grass_min_c(
    air_min_c: ArrayLike,
    air_mean_c: ArrayLike,
    wind_10m_mean_ms: ArrayLike,
    cloud_fraction: ArrayLike,
    *,
    calibration: DailyGrass = DAILY,
) -> Array:
    """Grass minimum of a day from its means, for records that have no hours.

    Parameters   air_min_c, air_mean_c : arrays. Lowest and mean air of the day. [degC]
                 wind_10m_mean_ms : array. [m/s]
                 cloud_fraction : array. Mean of the day. [0-1]
    Returns      array, broadcast shape. [degC]
    Valid for    -60 to 55 degC, 0 to 75 m/s, cloud 0 to 1.13 (above 1 read as 1); outside that NaN
    Missing      NaN in, NaN out
    Differs      none
    Source       own-grass-minimum
    Check        tests/verification/test_ground_frost.py::test_daily_calibration_is_the_fit
    """
    low, mean = within(air_min_c, -60.0, 55.0), within(air_mean_c, -60.0, 55.0)
    cloud = np.minimum(within(cloud_fraction, 0.0, 1.13), 1.0)
    wind = calibration.constant_k + calibration.per_log_wind_k * log_wind(wind_10m_mean_ms)
    return low + wind + calibration.per_cloud_k * cloud + calibration.per_rise * (mean - low)


def daily_ground_frost_chance(
    air_min_c: ArrayLike,
    air_mean_c: ArrayLike,
    wind_10m_mean_ms: ArrayLike,
    cloud_fraction: ArrayLike,
    *,
    calibration: DailyGrass = DAILY,
) -> Array:
    """Chance that the grass minimum of a day was below 0.0 degC, from measured means of the day.

    Parameters   as daily_grass_min_c
    Returns      array, broadcast shape. [0-1]
    Valid for    as daily_grass_min_c
    Missing      NaN in, NaN out
    Differs      normal error; no error of a forecast is in it
    Source       own-grass-minimum
    Check        tests/verification/test_ground_frost.py::test_daily_chances_beat_the_air_on_the_other_decade
    """
    lowest = daily_grass_min_c(
        air_min_c, air_mean_c, wind_10m_mean_ms, cloud_fraction, calibration=calibration
    )
    spread = calibration.spread_at_one_ms_k * np.exp(calibration.spread_power * log_wind(wind_10m_mean_ms))
    return frost_chance(lowest, np.broadcast_to(spread, lowest.shape))
