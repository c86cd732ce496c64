"""Warmth added up."""

from __future__ import annotations

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
