"""Chance of frost, and the hours to keep off it."""

from __future__ import annotations

import math
from datetime import datetime

import numpy as np
from numpy.typing import ArrayLike

from planner.indices.quantities import Quantities
from planner.weather import Array, Mask, mean_of_members, within

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
    Valid for    up to 16 days ahead, beyond that NaN; a night less than a day ahead counts as a day
    Missing      NaN in, NaN out
    Differs      straight line between the two figures known, carried on at the same slope
    Source       own-frost-chance (1.5 K a day ahead, 2.5 K five days ahead: from memory)
    Check        tests/indices/test_frost.py::test_spread_grows_with_lead
    """
    lead = np.asarray(lead_days, dtype=np.float64)
    lead = np.where(lead <= 17.0, np.maximum(lead, 1.0), np.nan)
    return 1.5 + 0.25 * (lead - 1.0)


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


def freezing_members(quantities: Quantities, begin: int, end: int) -> Mask:
    """The members whose grass freezes in these hours; all where none does. Shape (members or 1,)."""
    grass = quantities["grass_temp_c"][:, begin:end]
    freezes = (grass < FROSTED_C).any(axis=1)
    return np.asarray(freezes if freezes.any() else ~freezes)


def off_frost(quantities: Quantities, *, after: datetime, members: Mask | None = None) -> datetime | None:
    """When the turf is off the frost of a night, of which `after` is a moment; None when there is none.

    None too when it is not known, or not within a day. Read from the plain forecast, the first member; with `members`,
    shape (members,), the hour by which half of these are off it.
    """
    weather = quantities.weather
    begin = max(weather.index(after), 0)
    every = quantities["frost_keep_off"]
    if members is None or every.shape[0] != members.size:
        kept = every[0, begin : begin + 25]
    else:
        share = mean_of_members(every[members, begin : begin + 25])
        kept = np.where(np.isnan(share), np.nan, share > 0.5)
    frosted = np.flatnonzero(kept == 1.0)
    if not frosted.size:
        return None
    rest = kept[int(frosted[0]) :]
    turned = np.flatnonzero(rest != 1.0)
    if not turned.size or np.isnan(rest[turned[0]]):
        return None
    return weather.time(begin + int(frosted[0]) + int(turned[0]))
