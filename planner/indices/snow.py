"""Snow that lies and melts: water for the ground that falls with no blow."""

from __future__ import annotations

from typing import Any

import numpy as np

from planner.indices.validity import within
from planner.weather import Array

#: Water that melts for each degree above freezing (handbooks give 1.6 to 6, from memory). [mm/K/d]
MELT_MM_K_D = 2.74


def snow_melt_mm(
    snow_mm: Any, temp_c: Any, *, melt_mm_k_d: float = MELT_MM_K_D, lying_mm: float = 0.0
) -> Array:
    """Water that the snow on the ground gives up in each hour, by degree days.

    Parameters   snow_mm : array (members, hours). Snow that falls, as water. [mm]
                 temp_c : array (members, hours). Air. [degC]
                 melt_mm_k_d : float. [mm/K/d]
                 lying_mm : float. Water in the snow that lies before the first hour. [mm]
    Returns      array (members, hours), 0 or more. [mm]
    Valid for    thin snow over turf; rain on snow, wind and sun are left out
    Missing      NaN from the first hour on whose snow is not known; with snow lying, NaN for an hour whose
                 temperature is not known, and none is taken to melt in it
    Differs      no cold to be overcome first, and nothing is held back as slush
    Source       neh-630-11 (from memory)
    Check        tests/indices/test_snow.py::test_snow_melts_by_the_degree_and_no_more_than_there_is
    """
    snow, temp = np.broadcast_arrays(within(snow_mm, 0.0, 200.0), within(temp_c, -60.0, 60.0))
    ready = np.nan_to_num(np.maximum(temp, 0.0)) * (melt_mm_k_d / 24.0)
    out = np.zeros(snow.shape)
    lying = np.full(snow.shape[0], float(lying_mm))
    for hour in range(snow.shape[1]):
        lying = lying + snow[:, hour]
        out[:, hour] = np.minimum(ready[:, hour], lying)
        out[:, hour] = np.where(np.isnan(temp[:, hour]) & (lying > 0.0), np.nan, out[:, hour])
        lying = lying - np.nan_to_num(out[:, hour])
    return out
