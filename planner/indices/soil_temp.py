"""Soil temperature when the forecast has none."""

from __future__ import annotations

import math

import numpy as np
from numpy.typing import ArrayLike

from planner.weather import Array, within

#: Diffusivity of moist soil and length of the day.
_DIFFUSIVITY_M2S = 0.5e-6
_DAY_S = 86400.0


def smoothed_soil_temp_c(
    air_temp_c: ArrayLike, start_c: ArrayLike, *, steps_per_day: int = 1, alpha: float = 0.25
) -> Array:
    """Mean soil temperature near 10 cm: air temperature, smoothed over days.

    Parameters   air_temp_c : array (..., steps). Mean air temperature of each step. [degC]
                 start_c : array or float. Soil before the first step. [degC]
                 steps_per_day : int. 1 for daily means, 24 for hours.
                 alpha : float. Share of the gap closed in a day.
    Returns      array, same shape. [degC]
    Valid for    -50 to 50 degC, no snow cover; outside that NaN
    Missing      a step that is not known gives NaN and leaves the soil as it was
    Differs      in the manner of the source only: one smoothing for its running mean and scaling
    Source       zheng-1993 (from memory, in the manner of)
    Check        tests/indices/test_soil_temp.py::test_soil_follows_a_step
    """
    air = np.moveaxis(within(air_temp_c, -50.0, 50.0), -1, 0)
    known = ~np.isnan(air)
    part = 1.0 - (1.0 - alpha) ** (1.0 / steps_per_day)
    pull = np.where(known, part, 0.0)
    aim = pull * np.where(known, air, 0.0)
    kept = 1.0 - pull
    out = np.empty_like(air)
    soil = np.broadcast_to(np.asarray(start_c, dtype=np.float64), air.shape[1:])
    for step in range(air.shape[0]):
        soil = kept[step] * soil + aim[step]
        out[step] = soil
    out[~known] = np.nan
    return np.ascontiguousarray(np.moveaxis(out, 0, -1))


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


def hourly_soil_temp_c(air_temp_c: Array, depth_m: float = 0.06) -> Array:
    """Soil temperature of each hour from air temperature alone: the smoothed mean, and on it the day's wave.

    Parameters   air_temp_c : array (members, hours). [degC]
                 depth_m : float. [m]
    Returns      array (members, hours). [degC]
    Valid for    -50 to 50 degC, no snow, no frozen ground; begins at the mean of the first 24 hours
    Missing      NaN where the air of the hour, or of the hour that the wave comes from, is not known
    Differs      the wave of the air stands for that of the surface
    Source       zheng-1993 (in the manner of); heat-conduction
    Check        tests/indices/test_soil_temp.py::test_soil_wave_is_damped_and_late
    """
    air = within(air_temp_c, -50.0, 50.0)
    start = _first_day_mean(air)
    mean = smoothed_soil_temp_c(air, start, steps_per_day=24)
    share, lag_h = daily_wave(depth_m)
    lag = round(lag_h)
    earlier = np.concatenate([air[:, :1].repeat(lag, axis=1), air[:, : air.shape[1] - lag]], axis=1)[
        :, : air.shape[1]
    ]
    return np.asarray(mean + share * (earlier - _trailing_mean(earlier, start)))


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
    return _trailing_mean(air, _first_day_mean(air))


def _first_day_mean(air: Array) -> Array:
    known = ~np.isnan(air[:, :24])
    count = known.sum(axis=-1)
    sums = np.where(known, air[:, :24], 0.0).sum(axis=-1)
    return np.where(count > 0, sums / np.maximum(count, 1), np.nan)


def _trailing_mean(values: Array, before: Array) -> Array:
    """Mean of the 24 hours up to each, with the first hours' mean before the first."""
    filled = np.where(np.isnan(values), 0.0, values)
    counts = (~np.isnan(values)).astype(np.float64)
    lead = np.broadcast_to(before[:, None], (values.shape[0], 24))
    sums = np.cumsum(np.concatenate([np.nan_to_num(lead), filled], axis=1), axis=1)
    known = np.cumsum(np.concatenate([(~np.isnan(lead)).astype(np.float64), counts], axis=1), axis=1)
    count = known[:, 24:] - known[:, :-24]
    return np.where(count > 0.5, (sums[:, 24:] - sums[:, :-24]) / np.maximum(count, 1.0), np.nan)
