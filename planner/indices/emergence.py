"""How far sown seed has come."""

from __future__ import annotations

from typing import Any

import numpy as np

from planner.indices.validity import within
from planner.weather import Array


def days_to_emerge(soil_temp_c: Any, days_at_best: float, best_c: float, base_c: float) -> Array:
    """Days from sowing to emergence at a steady soil temperature.

    Parameters   soil_temp_c : array. [degC]
                 days_at_best : float. Days at the best temperature. [d]
                 best_c, base_c : float. Best temperature, and the one at which nothing happens. [degC]
    Returns      array, same shape; infinite at the base and below. [d]
    Valid for    -20 to 45 degC; outside that NaN
    Missing      NaN in, NaN out
    Differs      no slowing above the best temperature
    Source       own-emergence (thermal time; days from popular tables and memory)
    Check        tests/indices/test_emergence.py::test_ryegrass_worked_example
    """
    rate = emergence_rate_per_day(soil_temp_c, days_at_best, best_c, base_c)
    with np.errstate(divide="ignore", over="ignore"):
        return np.asarray(1.0 / rate)


def emergence_rate_per_day(soil_temp_c: Any, days_at_best: float, best_c: float, base_c: float) -> Array:
    """Share of the way to emergence that a day at this soil temperature brings.

    Parameters   as days_to_emerge
    Returns      array, same shape, 0 or more. [1/d]
    Valid for    -20 to 45 degC; outside that NaN
    Missing      NaN in, NaN out
    Differs      none
    Source       own-emergence
    Check        tests/indices/test_emergence.py::test_ryegrass_worked_example
    """
    temp = within(soil_temp_c, -20.0, 45.0)
    return np.clip(temp - base_c, 0.0, best_c - base_c) / (days_at_best * (best_c - base_c))


def established(way: Any) -> Array:
    """How far seed has rooted: 0 until first emergence, 1 at three times the time that took.

    Parameters   way : array. Time since sowing in units of the time to emergence.
    Returns      array, same shape. [0-1]
    Valid for    any
    Missing      NaN in, NaN out
    Differs      none
    Source       own-emergence (judgement)
    Check        tests/indices/test_emergence.py::test_established_between_once_and_three_times
    """
    out: Array = np.clip((np.asarray(way, dtype=np.float64) - 1.0) / 2.0, 0.0, 1.0)
    return out
