"""What a place teaches: its own shift of the heat balance, and its own grass minimum in use."""

from __future__ import annotations

from typing import Any

import numpy as np

from planner.indices.frame import Quantities
from planner.indices.frost import GrassMinimum, forecast_spread_k, frost_chance
from planner.indices.rows_sky import night_lead_days, night_lowest
from planner.weather import Array

#: Nights after which an error counts half; nights of no error that are mixed in; furthest shift.
HALF_LIFE_NIGHTS = 10.0
PRIOR_NIGHTS = 3.0
MOST_K = 4.0
#: Nights that must be known before anything is shifted.
FEWEST_NIGHTS = 5


def trailing_shift_k(
    measured_c: Any,
    reckoned_c: Any,
    *,
    half_life_nights: float = HALF_LIFE_NIGHTS,
    prior_nights: float = PRIOR_NIGHTS,
) -> Array:
    """Local shift of the reckoned surface for each night, from the nights before it alone.

    Parameters   measured_c, reckoned_c : arrays (nights,), oldest first. Lowest of the night. [degC]
                 half_life_nights : float. Nights after which an error counts half.
                 prior_nights : float. Nights without error mixed in, so that few nights shift little.
    Returns      array (nights + 1,): what to add to each, last the night to come. Within 4 K. [K]
    Valid for    one place and one way of reckoning; measured at the height of the turf
    Missing      nights with a NaN teach nothing; 0 until five are known
    Differs      none
    Source       own-local-shift (an error that fades; the constants are judgement)
    Check        tests/indices/test_frost_local.py::test_shift_learned_at_de_bilt_betters_the_nights_to_come
    """
    error = np.asarray(measured_c, dtype=np.float64) - np.asarray(reckoned_c, dtype=np.float64)
    fade = 0.5 ** (1.0 / half_life_nights)
    out = np.zeros(error.size + 1)
    total = weight = 0.0
    seen = 0
    for night, value in enumerate(error):
        if not np.isnan(value):
            total, weight, seen = total + float(value), weight + 1.0, seen + 1
        total, weight = total * fade, weight * fade
        if seen >= FEWEST_NIGHTS:
            out[night + 1] = min(max(total / (weight + prior_nights), -MOST_K), MOST_K)
    return out


def local_shift_k(measured_c: Any, reckoned_c: Any) -> float:
    """Shift for the night to come: the constant `surface_shift_k` of a site that has a reading of its own.

    Parameters   measured_c, reckoned_c : arrays (nights,), oldest first. Lowest of the night. [degC]
    Returns      float within 4 K; 0 with fewer than five known nights. [K]
    Valid for    as trailing_shift_k
    Missing      nights with a NaN teach nothing
    Differs      none
    Source       own-local-shift
    Check        tests/indices/test_frost_local.py::test_shift_reaches_the_surface_at_night_and_not_at_noon
    """
    return float(trailing_shift_k(measured_c, reckoned_c)[-1])


def night_predictors(quantities: Quantities) -> tuple[Array, Array, Array]:
    """What `fit_grass_minimum` asks of each noon-to-noon night, each (members, nights). [degC]

    Lowest of the air, mean of the air, lowest of the surface by the balance; NaN where a night is not known.
    Fit with these on past weather, then use with these on the forecast.
    """
    nights = quantities.nights
    mean = nights.mean_of_known(quantities["air_temp_c"])
    return night_lowest(quantities, "air_temp_c"), mean, night_lowest(quantities, "surface_temp_c")


def grass_minimum_nights(quantities: Quantities, fit: GrassMinimum) -> tuple[Array, Array]:
    """Lowest grass temperature and chance of ground frost of each night, by the keeper's own fit.

    Two arrays (members, nights): degC and 0-1. The spread is that of the fit and of the forecast together.
    NaN where a night is not known. Members carry the spread of the weather themselves.
    """
    lowest = fit.lowest_c(*night_predictors(quantities))
    if quantities["air_temp_c"].shape[0] > 1:
        ahead = np.zeros(1)
    else:
        ahead = forecast_spread_k(night_lead_days(quantities, quantities.nights))
    return lowest, frost_chance(lowest, np.hypot(fit.spread_k, ahead))
