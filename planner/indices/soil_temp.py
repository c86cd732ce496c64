"""Soil temperature when the forecast has none."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike

from planner.indices.evapotranspiration import day_sky_mj_m2
from planner.weather import Array, within

#: Diffusivity of moist soil and length of the day.
_DIFFUSIVITY_M2S = 0.5e-6
_DAY_S = 86400.0


@dataclass(frozen=True, slots=True, kw_only=True)
class SoilTempConstants:
    """Constants of the soil near 10 cm, fitted to the stations of `fixtures/verification` (`fitted_soil`)."""

    near_days: float = 1.5
    """The weather of these days: a day's weight falls to 1/e in so many."""
    season_days: float = 25.0
    """The season: the same, slower."""
    below_freezing: float = 0.3
    """Share of a smoothed mean below 0 degC that reaches the soil: water that freezes, and snow, hold the rest."""
    offset_c: float = -1.301
    near: float = 0.579
    season: float = 0.428
    sun_k_per_wm2: float = 0.0084
    """Warmer by so much for each W/m2 of the day's sunlight above the atmosphere."""


SOIL_TEMP = SoilTempConstants()


def aged_mean_c(daily_c: ArrayLike, days: float) -> Array:
    """Mean of the days up to each, older days weighing less.

    Parameters   daily_c : array (..., days). Consecutive days, oldest first. [degC]
                 days : float. A day's weight falls to 1/e in so many. [d]
    Returns      array, same shape. [degC]
    Valid for    any values; few days are a mean of few, which lies nearer to the last of them
    Missing      a day that is not known has no weight; NaN before the first known day
    Differs      none
    Source       own-soil-temp (weighted mean)
    Check        tests/indices/test_soil_temp.py::test_older_days_weigh_less_and_missing_ones_nothing
    """
    daily = np.moveaxis(np.asarray(daily_c, dtype=np.float64), -1, 0)
    known = ~np.isnan(daily)
    values = np.where(known, daily, 0.0)
    fades = math.exp(-1.0 / days)
    out = np.empty_like(daily)
    total, weight = np.zeros(daily.shape[1:]), np.zeros(daily.shape[1:])
    for day in range(daily.shape[0]):
        total = total * fades + values[day]
        weight = weight * fades + known[day]
        out[day] = np.where(weight > 0.0, total / np.where(weight > 0.0, weight, 1.0), np.nan)
    return np.moveaxis(out, 0, -1)


def daily_soil_temp_c(
    daily_air_c: ArrayLike,
    latitude_deg: float,
    day_of_year: ArrayLike,
    *,
    constants: SoilTempConstants = SOIL_TEMP,
) -> Array:
    """Daily mean of the soil near 10 cm from the daily mean air of that day and of the days before.

    Parameters   daily_air_c : array (..., days). Consecutive days, oldest first. [degC]
                 latitude_deg : float. [deg]
                 day_of_year : array (days,). 1 to 366.
    Returns      array, same shape. [degC]
    Valid for    -50 to 50 degC; fitted between 26 and 54 N, on natural cover and short grass; under lying snow only
                 as far as air held back by `below_freezing` stands for it
    Missing      a day that is not known has no weight; NaN before the first known day
    Differs      sunlight above the atmosphere for that of the week at the ground, which told nothing more
    Source       own-soil-temp (fit; smoothing in the manner of zheng-1993)
    Check        tests/verification/test_soil_temperature.py::test_shipped_constants_are_the_fit
    """
    near, season, sun = soil_terms(daily_air_c, latitude_deg, day_of_year, constants=constants)
    own = constants
    return np.asarray(own.offset_c + own.near * near + own.season * season + own.sun_k_per_wm2 * sun)


def soil_terms(
    daily_air_c: ArrayLike,
    latitude_deg: float,
    day_of_year: ArrayLike,
    *,
    constants: SoilTempConstants = SOIL_TEMP,
) -> tuple[Array, Array, Array]:
    """What the daily soil temperature is a weighted sum of: the days, the season, and the sun.

    Parameters   as `daily_soil_temp_c`
    Returns      two arrays of the same shape [degC] and one of shape (days,) [W/m2]
    Valid for    as `daily_soil_temp_c`
    Missing      as `daily_soil_temp_c`
    Differs      none
    Source       own-soil-temp; fao-56, equation 21, for the sun (from memory)
    Check        tests/indices/test_soil_temp.py::test_cold_air_reaches_the_soil_in_part
    """
    air = within(daily_air_c, -50.0, 50.0)
    near, season = (aged_mean_c(air, days) for days in (constants.near_days, constants.season_days))
    held = constants.below_freezing
    sun = day_sky_mj_m2(day_of_year, latitude_deg)[0] * (1e6 / _DAY_S)
    return np.where(near < 0.0, held * near, near), np.where(season < 0.0, held * season, season), sun


def daily_wave(depth_m: float) -> tuple[float, float]:
    """What is left of the day's wave at a depth, and how late it comes.

    Parameters   depth_m : float. [m]
    Returns      amplitude as a share of that at the surface, and lag. [1, h]
    Valid for    0 to 2 m, diffusivity 0.5e-6 m2/s; outside that NaN
    Missing      NaN in, NaN out
    Differs      none
    Source       heat-conduction (textbook)
    Check        tests/indices/test_soil_temp.py::test_daily_wave_at_five_and_ten_centimetres
    """
    depth = float(within(depth_m, 0.0, 2.0))
    damping = math.sqrt(2.0 * _DIFFUSIVITY_M2S * _DAY_S / (2.0 * math.pi))
    return math.exp(-depth / damping), depth / damping * 24.0 / (2.0 * math.pi)


def hourly_soil_temp_c(air_temp_c: Array, daily_c: Array, day_of_hour: Array, depth_m: float = 0.06) -> Array:
    """Soil temperature of each hour: the daily means, drawn through their noons, and on them the day's wave.

    Parameters   air_temp_c : array (members, hours). [degC]
                 daily_c : array (members, days). `daily_soil_temp_c`. [degC]
                 day_of_hour : array (hours,). Day number of each hour with its part: 3.5 is noon of the fourth.
                 depth_m : float. Of the wave; the daily mean is that of 5 to 10 cm. [m]
    Returns      array (members, hours). [degC]
    Valid for    -50 to 50 degC, no snow, no frozen ground
    Missing      NaN where the air of the hour, or of the hour that the wave comes from, is not known
    Differs      the wave of the air stands for that of the surface
    Source       own-soil-temp; heat-conduction
    Check        tests/indices/test_soil_temp.py::test_soil_wave_is_damped_and_late
    """
    air = within(air_temp_c, -50.0, 50.0)
    share, lag_h = daily_wave(depth_m)
    lag = round(lag_h)
    wave = air - _moving_mean(air, back=12, ahead=12)
    late = np.concatenate([wave[:, :1].repeat(lag, axis=1), wave], axis=1)[:, : air.shape[1]]
    place = np.clip(day_of_hour - 0.5, 0.0, daily_c.shape[-1] - 1.0)
    before = np.floor(place).astype(np.int64)
    after = np.minimum(before + 1, daily_c.shape[-1] - 1)
    part = place - before
    mean = (1.0 - part) * daily_c[:, before] + part * daily_c[:, after]
    return np.where(np.isnan(air), np.nan, mean + share * late)


def trailing_day_mean_c(air_temp_c: Array) -> Array:
    """Mean air temperature of the 24 hours up to each: what lies under thatch, where no soil is forecast.

    Parameters   air_temp_c : array (members, hours). [degC]
    Returns      array (members, hours). [degC]
    Valid for    -50 to 50 degC; the first day stands for the hours before the first
    Missing      the mean of the known hours; NaN where none is known
    Differs      none
    Source       own-balance (the conductance of the thatch was fitted with this ground)
    Check        tests/indices/test_soil_temp.py::test_mean_of_the_day_up_to_each_hour
    """
    air = within(air_temp_c, -50.0, 50.0)
    return _moving_mean(air, back=24, ahead=0)


def _moving_mean(values: Array, *, back: int, ahead: int) -> Array:
    """Mean of the known of `back` hours up to each, itself among them, and `ahead` after it, shape (members, hours).

    The mean of the first day stands for the hours before the first, and that of the last for those after the last.
    """
    edges = ((values[:, :24], back), (values[:, -24:], ahead))
    lead, trail = (np.repeat(_mean_of_known(day)[:, None], hours, axis=1) for day, hours in edges)
    row = np.concatenate([lead, values, trail], axis=1)
    known = ~np.isnan(row)
    zero = np.zeros((row.shape[0], 1))
    sums = np.concatenate([zero, np.cumsum(np.where(known, row, 0.0), axis=1)], axis=1)
    counts = np.concatenate([zero, np.cumsum(known.astype(np.float64), axis=1)], axis=1)
    span = back + ahead
    count = counts[:, span + 1 :] - counts[:, 1:-span]
    return np.where(count > 0.5, (sums[:, span + 1 :] - sums[:, 1:-span]) / np.maximum(count, 1.0), np.nan)


def _mean_of_known(values: Array) -> Array:
    known = ~np.isnan(values)
    count = known.sum(axis=-1)
    sums = np.where(known, values, 0.0).sum(axis=-1)
    return np.where(count > 0, sums / np.maximum(count, 1), np.nan)
