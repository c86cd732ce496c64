"""The calibration of the grass minimum, fitted to measured nights.

What `planner.indices.grass_min` ships is this fit of the data of the project, rounded.

Least squares throughout: first the mean error, then the logarithm of what it leaves. Each of the two sets counts
alike, however many nights it has.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from planner.indices.grass_min import (
    DEEP_FROM_K,
    DailyGrass,
    HourlyGrass,
    grass_temp_c,
    log_wind,
    night_share,
)
from planner.weather import Array, Mask, Whole

#: Mean of the logarithm of a standard normal error's size: -(gamma + ln 2) / 2.
_LOG_OF_NORMAL = -0.6351814
#: Errors smaller than the thermometer is read to count as this, so that their logarithm is bounded. [K]
_READ_TO_K = 0.05
#: The coldest hour moves with the calibration; after so many rounds it stands still.
_ROUNDS = 6


@dataclass(frozen=True, slots=True, kw_only=True)
class Nights:
    """Nights of measured hours with their grass minimum: hours of shape (nights, 25), NaN beyond the night."""

    station: NDArray[np.str_]
    day: Whole
    """Days since 1970 of the morning."""
    month: Whole
    grass_min_c: Array
    air_c: Array
    surface_c: Array
    wind_ms: Array
    sun_deg: Array
    dew_c: Array
    chance: Array
    """`frost_chance_ground` of the pipeline, shape (nights,)."""
    whole: Mask
    """Nights of which every hour is known: only these teach."""

    @property
    def air_min_c(self) -> Array:
        """Lowest air of each night."""
        return np.asarray(np.nanmin(self.air_c, axis=1))

    @property
    def of_evening_c(self) -> tuple[Array, Array]:
        """Air and dew point two hours after sunset, each of shape (nights,)."""
        hour = np.minimum(np.argmax(self.sun_deg < 0.0, axis=1) + 2, self.air_c.shape[1] - 2)
        rows = np.arange(hour.size)
        return self.air_c[rows, hour], self.dew_c[rows, hour]

    def known(self) -> Nights:
        """Those that teach."""
        return self.cut(self.whole)

    def cut(self, keep: Mask) -> Nights:
        """These of them."""
        return replace(self, **{name: getattr(self, name)[keep] for name in self.__slots__})


@dataclass(frozen=True, slots=True, kw_only=True)
class Days:
    """Days of daily means with their grass minimum, all of shape (days,)."""

    day: Whole
    month: Whole
    year: Whole
    grass_min_c: Array
    air_min_c: Array
    air_mean_c: Array
    wind_ms: Array
    cloud: Array
    surface_c: Array
    """The balance at the air minimum."""

    def cut(self, keep: Mask) -> Days:
        """These of them."""
        return replace(self, **{name: getattr(self, name)[keep] for name in self.__slots__})


def fitted_hourly(nights: Nights, days: Days) -> HourlyGrass:
    """Level and depth from the hours of whole nights; what wind changes from nights and daily means alike."""
    found = HourlyGrass(
        at_one_ms_k=0.0, per_log_wind_k=0.0, per_deep=0.0, spread_at_one_ms_k=1.0, spread_power=0.0
    )
    of_days = log_wind(days.wind_ms)
    rows = np.arange(nights.grass_min_c.size)
    weight = np.concatenate([np.full(part.size, part.size**-0.5) for part in (rows, of_days)])
    is_day = np.concatenate([np.zeros(rows.size), np.ones(of_days.size)])
    for _ in range(_ROUNDS):
        lowest = grass_temp_c(
            nights.surface_c, nights.air_c, nights.wind_ms, nights.sun_deg, calibration=found
        )
        coldest = np.nanargmin(lowest, axis=1)
        wind, air, surface, sun = (
            part[rows, coldest] for part in (nights.wind_ms, nights.air_c, nights.surface_c, nights.sun_deg)
        )
        share = np.concatenate([night_share(sun), np.ones(of_days.size)])
        log = np.concatenate([log_wind(wind), of_days])
        deep = np.concatenate([air - surface, days.air_min_c - days.surface_c]) - DEEP_FROM_K
        deep = share * np.maximum(deep, 0.0)
        error = np.concatenate([nights.grass_min_c - surface, days.grass_min_c - days.surface_c])
        is_night = 1.0 - is_day
        columns = np.stack([share * is_night, share * log, deep * is_night, is_day, deep * is_day], axis=1)
        (level, slope, per_deep, *_), left = _least_squares(columns, error, weight)
        wide = np.log(np.maximum(np.abs(left), _READ_TO_K)) - _LOG_OF_NORMAL
        (wide_level, wide_slope, _), _ = _least_squares(
            np.stack([is_night, log, is_day], axis=1), wide, weight
        )
        found = HourlyGrass(
            at_one_ms_k=level,
            per_log_wind_k=slope,
            per_deep=per_deep,
            spread_at_one_ms_k=float(np.exp(wide_level)),
            spread_power=wide_slope,
        )
    return found


def fitted_daily(days: Days) -> DailyGrass:
    """The calibration of daily means."""
    log, ones = log_wind(days.wind_ms), np.ones(days.wind_ms.size)
    columns = np.stack([ones, log, days.cloud, days.air_mean_c - days.air_min_c], axis=1)
    (constant, per_log_wind, per_cloud, per_rise), left = _least_squares(
        columns, days.grass_min_c - days.air_min_c, ones
    )
    wide = np.log(np.maximum(np.abs(left), _READ_TO_K)) - _LOG_OF_NORMAL
    (level, power), _ = _least_squares(columns[:, :2], wide, ones)
    return DailyGrass(
        constant_k=constant,
        per_log_wind_k=per_log_wind,
        per_cloud_k=per_cloud,
        per_rise=per_rise,
        spread_at_one_ms_k=float(np.exp(level)),
        spread_power=power,
    )


def fitted_air_alone(nights: Nights, days: Days) -> tuple[float, float]:
    """Mean and spread of grass less air minimum, each of the two sets counting alike."""
    parts = [nights.grass_min_c - nights.air_min_c, days.grass_min_c - days.air_min_c]
    mean = float(np.mean([part.mean() for part in parts]))
    return mean, float(np.sqrt(np.mean([np.mean((part - mean) ** 2) for part in parts])))


def _least_squares(columns: Array, wanted: Array, weight: Array) -> tuple[list[float], Array]:
    """Coefficients, and what they leave."""
    found = np.linalg.lstsq(columns * weight[:, None], wanted * weight, rcond=None)[0]
    return [float(one) for one in found], wanted - columns @ found
