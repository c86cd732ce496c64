"""Length of the leaf between cuts, and the keeper's own pace of growth."""

from __future__ import annotations

from dataclasses import dataclass
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
    with np.errstate(divide="ignore", over="ignore"):
        return np.asarray((ONE_THIRD - 1.0) * np.asarray(cut_height_mm, dtype=np.float64) / pace)


@dataclass(frozen=True, slots=True, kw_only=True)
class FullGrowth:
    """Growth in a day of full growth, learned from cuts, and how far single cuts lie from it."""

    mm_d: float
    spread_mm: float
    cuts: int


def fit_full_growth(grown_mm: Any, growth_days: Any) -> FullGrowth:
    """The keeper's own pace of growth from a log of cuts.

    Parameters   grown_mm : array (cuts,). Leaf length before the cut less the height of the cut before. [mm]
                 growth_days : array (cuts,). Growth potential summed over the days between the two. [d]
    Returns      FullGrowth: slope through the origin by least squares, and the spread of what it leaves
    Valid for    one surface, one height, one way of feeding; three cuts or more, else ValueError
    Missing      cuts with a NaN, or with no growth reckoned between them, are left out
    Differs      none; that length follows the index is the assumption of its author
    Source       own-mowing-log (after woods-2014)
    Check        tests/indices/test_mowing.py::test_pace_is_found_again_from_a_noisy_log
    """
    grown, sums = np.broadcast_arrays(
        np.asarray(grown_mm, dtype=np.float64), np.asarray(growth_days, dtype=np.float64)
    )
    known = ~np.isnan(grown + sums) & (sums > 0.0)
    count = int(known.sum())
    if count < 3:
        raise ValueError(f"{count} cuts are too few to learn a pace of growth from: log at least three.")
    grown, sums = grown[known], sums[known]
    pace = max(float((grown * sums).sum() / (sums * sums).sum()), 0.0)
    left = grown - pace * sums
    return FullGrowth(
        mm_d=pace, spread_mm=float(np.sqrt((left * left).sum() / max(count - 1, 1))), cuts=count
    )
