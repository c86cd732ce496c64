"""Chance of frost, and what a place teaches: the keeper's own regressions, and a shift of the heat balance."""

from __future__ import annotations

import math
from dataclasses import dataclass
from datetime import datetime

import numpy as np
from numpy.typing import ArrayLike

from planner.indices.quantities import Quantities
from planner.weather import Array, within

#: Spread of one ensemble member's night minimum: the spread of the weather is in the members.
MEMBER_SPREAD_K = 1.0

_normal = np.frompyfunc(lambda x: 0.5 * (1.0 + math.erf(x / math.sqrt(2.0))), 1, 1)


def frost_chance(lowest_c: ArrayLike, spread_c: ArrayLike) -> Array:
    """Chance that the night falls below 0.0 degC, from the lowest temperature expected.

    Parameters   lowest_c : array. Lowest of the night, of the air or of the surface. [degC]
                 spread_c : array or float. Standard deviation of its error. [K]
    Returns      array, broadcast shape. [0-1]
    Valid for    -60 to 40 degC, spread above 0; outside that NaN
    Missing      NaN in, NaN out
    Differs      a normal error without bias is taken, which wants checking against the keeper's own log
    Source       own-frost-chance (frost strictly below 0.0 degC: weather-faqs)
    Check        tests/indices/test_frost.py::test_frost_chance_worked_values
    """
    lowest, spread = np.broadcast_arrays(within(lowest_c, -60.0, 40.0), within(spread_c, 1e-6, 50.0))
    return np.asarray(_normal(-lowest / spread), dtype=np.float64).reshape(lowest.shape)


def forecast_spread_k(lead_days: ArrayLike) -> Array:
    """Standard deviation of the error of one forecast's night minimum.

    Parameters   lead_days : array. From now to the middle of the night. [d]
    Returns      array, same shape. [K]
    Valid for    up to 16 days ahead, beyond that NaN; nights now past count as a day ahead
    Missing      NaN in, NaN out
    Differs      straight line between the two figures known, carried on at the same slope
    Source       own-frost-chance (1.5 K a day ahead, 2.5 K five days ahead: from memory)
    Check        tests/indices/test_frost.py::test_spread_grows_with_lead
    """
    lead = np.asarray(lead_days, dtype=np.float64)
    lead = np.where(lead <= 17.0, np.maximum(lead, 1.0), np.nan)
    return 1.5 + 0.25 * (lead - 1.0)


@dataclass(frozen=True, slots=True, kw_only=True)
class RadiationFrost:
    """Tn = per_temp * T0 + per_dew_point * Td0 + constant_c, for clear and still nights at one place."""

    per_temp: float
    per_dew_point: float
    constant_c: float

    def lowest_c(self, temp_c: ArrayLike, dew_point_c: ArrayLike) -> Array:
        """Lowest temperature of the night, from air and dew point two hours after sunset. [degC]"""
        temp = within(temp_c, -40.0, 40.0)
        return self.per_temp * temp + self.per_dew_point * within(dew_point_c, -60.0, 40.0) + self.constant_c


def fit_radiation_frost(temp_c: ArrayLike, dew_point_c: ArrayLike, lowest_c: ArrayLike) -> RadiationFrost:
    """The two-stage regression of night minima: on temperature first, what is left on dew point.

    Parameters   temp_c, dew_point_c : arrays (nights,). Two hours after sunset. [degC]
                 lowest_c : array (nights,). Lowest of the night. [degC]
    Returns      RadiationFrost
    Valid for    nights without cloud, fog or rain and with wind under 2 m/s; four or more, else ValueError
    Missing      nights with a NaN are left out
    Differs      none
    Source       fao-frost-2005, volume 1 chapter 5 (second-hand: as quoted in the R package frost)
    Check        tests/indices/test_frost.py::test_two_stage_regression_published_prediction
    """
    temp, dew, lowest = (np.asarray(a, dtype=np.float64) for a in (temp_c, dew_point_c, lowest_c))
    known = ~np.isnan(temp + dew + lowest)
    if known.sum() < 4:
        raise ValueError(f"{int(known.sum())} nights are too few for a regression: give at least four.")
    temp, dew, lowest = temp[known], dew[known], lowest[known]
    slope, level = np.polyfit(temp, lowest, 1)
    rest_slope, rest_level = np.polyfit(dew, lowest - (slope * temp + level), 1)
    return RadiationFrost(
        per_temp=float(slope), per_dew_point=float(rest_slope), constant_c=float(level + rest_level)
    )


#: Turf below this carries frost or is about to. Judgement.
FROSTED_C = 0.5


def keep_off(
    surface_c: ArrayLike,
    air_c: ArrayLike,
    sun_altitude_deg: ArrayLike,
    *,
    air_above_c: float = 4.0,
    sun_above_deg: float = 5.0,
) -> Array:
    """Hours in which nobody should be on the turf: from its frosting until it has been off the frost for an hour.

    Parameters   surface_c, air_c, sun_altitude_deg : arrays (members or 1, hours), values at the labels.
                 [degC, degC, degrees]
                 air_above_c, sun_above_deg : for a full hour the surface above 0.5 with the sun above 5, or with
                 the air above 4. [degC, degrees]
    Returns      array, broadcast shape. 1 keep off, else 0
    Valid for    any run of hours; before the first frost nothing is kept off
    Missing      NaN in an hour of unknown surface or air, and from there to the next frost or release
    Differs      none
    Source       own-frost-chance (the thresholds are judgement)
    Check        tests/indices/test_frost.py::test_off_frost_waits_for_a_full_hour
    """
    surface, air, sun = np.broadcast_arrays(
        *(np.atleast_2d(np.asarray(a, dtype=np.float64)) for a in (surface_c, air_c, sun_altitude_deg))
    )
    thawing = (surface >= FROSTED_C) & ((sun > sun_above_deg) | (air > air_above_c))
    # The label before and this one: a full hour has gone by.
    released = thawing & np.concatenate([thawing[..., :1] & False, thawing[..., :-1]], axis=-1)
    turn = np.where(surface < FROSTED_C, 1.0, np.where(released, 0.0, -1.0))
    turn[np.isnan(surface) | np.isnan(air)] = np.nan
    # What an hour is follows from the last turn before it.
    hours = np.where(turn == -1.0, -1, np.arange(turn.shape[-1]))
    last = np.maximum.accumulate(hours, axis=-1)
    found = np.take_along_axis(turn, np.maximum(last, 0), axis=-1)
    return np.where(last < 0, 0.0, found)


def off_frost(quantities: Quantities, *, after: datetime) -> datetime | None:
    """When the turf is off the frost of a night, of which `after` is a moment; None when there is none.

    None too when it is not known, or not within a day. Read from the plain forecast.
    """
    weather = quantities.weather
    begin = max(weather.index(after), 0)
    kept = quantities["frost_keep_off"][0, begin : begin + 25]
    frosted = np.flatnonzero(kept == 1.0)
    if not frosted.size:
        return None
    rest = kept[int(frosted[0]) :]
    turned = np.flatnonzero(rest != 1.0)
    if not turned.size or np.isnan(rest[turned[0]]):
        return None
    return weather.time(begin + int(frosted[0]) + int(turned[0]))


@dataclass(frozen=True, slots=True, kw_only=True)
class GrassMinimum:
    """Lowest of the grass from the day's figures, fitted to one place, and the spread of what it leaves."""

    constant_c: float
    per_air_min: float
    per_balance: float
    per_rise: float
    spread_k: float

    def lowest_c(self, air_min_c: ArrayLike, air_mean_c: ArrayLike, balance_c: ArrayLike) -> Array:
        """Lowest grass temperature of each day; parameters as `fit_grass_minimum`. [degC]"""
        low, mean, balance = (within(a, -50.0, 50.0) for a in (air_min_c, air_mean_c, balance_c))
        out: Array = self.constant_c + self.per_air_min * low
        return out + self.per_balance * (balance - low) + self.per_rise * (mean - low)


def fit_grass_minimum(
    air_min_c: ArrayLike, air_mean_c: ArrayLike, balance_c: ArrayLike, grass_min_c: ArrayLike
) -> GrassMinimum:
    """Regression of grass minima on air minimum, heat balance and how far the night fell below the day.

    Parameters   air_min_c, air_mean_c : arrays (days,). [degC]
                 balance_c : array (days,). `surface_temp_c` at the air minimum. [degC]
                 grass_min_c : array (days,). Measured over short grass. [degC]
    Returns      GrassMinimum
    Valid for    the place it was fitted to; thirty days or more, else ValueError
    Missing      days with a NaN are left out
    Differs      none
    Source       own-grass-minimum
    Check        tests/indices/test_frost_de_bilt.py::test_fitted_on_one_decade_better_on_the_other
    """
    low, mean, balance, grass = (
        np.asarray(a, dtype=np.float64) for a in (air_min_c, air_mean_c, balance_c, grass_min_c)
    )
    known = ~np.isnan(low + mean + balance + grass)
    if known.sum() < 30:
        raise ValueError(f"{int(known.sum())} days are too few for a regression: give at least thirty.")
    low, mean, balance, grass = low[known], mean[known], balance[known], grass[known]
    columns = np.stack([np.ones_like(low), low, balance - low, mean - low], axis=1)
    weights = np.linalg.lstsq(columns, grass, rcond=None)[0]
    level, per_air, per_balance, per_rise = (float(weight) for weight in weights)
    return GrassMinimum(
        constant_c=level,
        per_air_min=per_air,
        per_balance=per_balance,
        per_rise=per_rise,
        spread_k=float(np.std(grass - columns @ weights)),
    )


#: Nights after which an error counts half; nights of no error that are mixed in; furthest shift.
HALF_LIFE_NIGHTS = 10.0
PRIOR_NIGHTS = 3.0
MOST_K = 4.0
#: Nights that must be known before anything is shifted.
FEWEST_NIGHTS = 5


def trailing_shift_k(measured_c: ArrayLike, computed_c: ArrayLike) -> Array:
    """Local shift of the computed surface for each night, from the nights before it alone.

    Parameters   measured_c, computed_c : arrays (nights,), oldest first. Lowest of the night. [degC]
    Returns      array (nights + 1,): what to add to each, last the night to come. Within 4 K. [K]
    Valid for    one place and one way of computing; measured at the height of the turf
    Missing      nights with a NaN teach nothing; 0 until five are known
    Differs      none
    Source       own-local-shift (an error that fades; the constants are judgement)
    Check        tests/indices/test_frost_local.py::test_shift_learned_at_de_bilt_betters_the_nights_to_come
    """
    error = np.asarray(measured_c, dtype=np.float64) - np.asarray(computed_c, dtype=np.float64)
    fade = 0.5 ** (1.0 / HALF_LIFE_NIGHTS)
    out = np.zeros(error.size + 1)
    total = weight = 0.0
    seen = 0
    for night, value in enumerate(error):
        if not np.isnan(value):
            total, weight, seen = total + float(value), weight + 1.0, seen + 1
        total, weight = total * fade, weight * fade
        if seen >= FEWEST_NIGHTS:
            out[night + 1] = min(max(total / (weight + PRIOR_NIGHTS), -MOST_K), MOST_K)
    return out
