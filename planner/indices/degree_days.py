"""Warmth added up, and how long a growth regulator lasts by it."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np

from planner.indices.validity import within
from planner.weather import Array


def growing_degree_days(day_mean_c: Any, base_c: float = 0.0) -> Array:
    """Degree days of each day, not yet added up.

    Parameters   day_mean_c : array. Mean air temperature of the day. [degC]
                 base_c : float. 0 for cool-season turf, 10 for warm-season turf. [degC]
    Returns      array, same shape, 0 or more. [degC d]
    Valid for    means of -50 to 50 degC; outside that NaN. Sums over different bases must not be compared.
    Missing      NaN in, NaN out
    Differs      no cap on hot days
    Source       kreuser-soldat-2009 (base 0 and 200 degree days); mississippi-2018 (base 10)
    Check        tests/indices/test_degree_days.py::test_interval_in_summer_and_in_spring
    """
    out: Array = np.maximum(within(day_mean_c, -50.0, 50.0) - base_c, 0.0)
    return out


@dataclass(frozen=True, slots=True, kw_only=True)
class RegulatorInterval:
    """When a growth regulator is due again. A sum holds for its own base only."""

    base_c: float
    due_at: float
    """Degree days from one application to the next. [C d]"""
    rebounds_at: float
    """Degree days from which growth outruns that of untreated turf. [C d]"""


#: Trinexapac-ethyl on creeping bent greens; the rebound began at 250 to 300.
COOL_REGULATOR = RegulatorInterval(base_c=0.0, due_at=200.0, rebounds_at=275.0)
#: Hybrid bermuda greens; peak suppression was near 305 to 314, from where it wears off.
WARM_REGULATOR = RegulatorInterval(base_c=10.0, due_at=200.0, rebounds_at=310.0)


def interval_days(day_mean_c: Any, interval: RegulatorInterval = COOL_REGULATOR) -> Array:
    """Days from one application of a growth regulator to the next at a steady temperature.

    Parameters   day_mean_c : array. Mean air temperature of the day. [degC]
                 interval : base and sum, of the grass and the product.
    Returns      array, same shape; infinite at the base and below. [d]
    Valid for    means of -50 to 50 degC; outside that NaN. Greens and product of the trials.
    Missing      NaN in, NaN out
    Differs      none
    Source       kreuser-soldat-2009 (base 0); mississippi-2018 (base 10)
    Check        tests/indices/test_degree_days.py::test_interval_in_summer_and_in_spring
    """
    daily = growing_degree_days(day_mean_c, interval.base_c)
    with np.errstate(divide="ignore", over="ignore"):
        return np.asarray(interval.due_at / daily)


def days_until_sum(daily_degree_days: Any, wanted: float, already: float = 0.0) -> float:
    """Days from the start of the first day until degree days reach a sum.

    Parameters   daily_degree_days : array (days,), all to one base. [degC d]
                 wanted : float. Sum to be reached, `RegulatorInterval.due_at`. [degC d]
                 already : float. Sum since the application before the first day. [degC d]
    Returns      float, part days in proportion; 0 when it is reached already, infinite when not within the
                 days. [d]
    Valid for    consecutive days
    Missing      NaN when a day on the way is not known
    Differs      none
    Source       kreuser-soldat-2009 (the rule); own arithmetic
    Check        tests/indices/test_degree_days.py::test_days_until_the_sum_count_part_days
    """
    total = float(already)
    for number, day in enumerate(np.asarray(daily_degree_days, dtype=np.float64)):
        if total >= wanted:
            return float(number)
        if np.isnan(day):
            return float("nan")
        if total + day >= wanted:
            return float(number + (wanted - total) / day)
        total += float(day)
    return float(np.asarray(daily_degree_days).size) if total >= wanted else float("inf")
