"""Length of the leaf between cuts."""

from __future__ import annotations

from typing import Any

import numpy as np

from planner.indices.validity import within
from planner.weather import Array

#: Leaf over cut height at which a third comes off.
ONE_THIRD = 1.5


def leaf_length_mm(cut_height_mm: float, growth: Any, full_growth_mm_d: float, hours: float = 1.0) -> Array:
    """Length of the leaf at the start of each hour since a cut.

    Parameters   cut_height_mm : float. [mm]
                 growth : array (..., hours). Growth potential since the cut. [0-1]
                 full_growth_mm_d : float. Growth in a day of full growth; the keeper's own figure. [mm/d]
                 hours : float. Length of each step. [h]
    Returns      array, same shape. [mm]
    Valid for    growth 0 to 1; outside that NaN. That growth in length follows the index is an assumption.
    Missing      NaN in, NaN from there on
    Differs      none
    Source       woods-2014 (the assumption); daily growth from memory
    Check        tests/indices/test_mowing.py::test_days_to_cut_of_a_lawn
    """
    steps = within(growth, 0.0, 1.0) * full_growth_mm_d * hours / 24.0
    out: Array = cut_height_mm + np.cumsum(steps, axis=-1) - steps
    return out


def days_to_cut(cut_height_mm: Any, growth: Any, full_growth_mm_d: Any) -> Array:
    """Days from one cut until a third of the leaf would come off at the next.

    Parameters   cut_height_mm : array. [mm]
                 growth : array. Mean growth potential. [0-1]
                 full_growth_mm_d : array. Growth in a day of full growth. [mm/d]
    Returns      array, broadcast shape; infinite without growth. [d]
    Valid for    growth 0 to 1; outside that NaN
    Missing      NaN in, NaN out
    Differs      none
    Source       beard-1973 (one-third rule, from memory)
    Check        tests/indices/test_mowing.py::test_days_to_cut_of_a_lawn
    """
    pace = within(growth, 0.0, 1.0) * np.asarray(full_growth_mm_d, dtype=np.float64)
    with np.errstate(divide="ignore"):
        return np.asarray((ONE_THIRD - 1.0) * np.asarray(cut_height_mm, dtype=np.float64) / pace)
