"""Rain that does not sink in, and the snow that holds it back until it melts."""

from __future__ import annotations

import math
from collections.abc import Mapping
from types import MappingProxyType

import numpy as np
from numpy.typing import ArrayLike

from planner.weather import Array, within

#: Newly graded bare ground, TR-55 table 2-2a by hydrologic group; texture to group from memory.
BARE_CURVE_NUMBERS: Mapping[str, float] = MappingProxyType(
    {"sand": 77.0, "loamy_sand": 77.0, "sandy_loam": 86.0, "loam": 86.0, "silt_loam": 86.0}
    | {"clay_loam": 94.0, "clay": 94.0}
)


def runoff_mm(rain_mm: ArrayLike, curve_number: float) -> Array:
    """Runoff of an event by the curve-number method.

    Parameters   rain_mm : array. Rain since the event began. [mm]
                 curve_number : float. 1 to 100.
    Returns      array, same shape. [mm]
    Valid for    0 to 1000 mm, curve number 1 to 100, else NaN. Poor below 12.7 mm of runoff.
    Missing      NaN in, NaN out
    Differs      none
    Source       tr-55, equations 2-1 to 2-4
    Check        tests/indices/test_runoff.py::test_runoff_of_tr55_example
    """
    rain = within(rain_mm, 0.0, 1000.0)
    number = float(within(curve_number, 1.0, 100.0))
    store = 25400.0 / number - 254.0
    if store == 0.0:
        return rain
    above = np.maximum(rain - 0.2 * store, 0.0)
    return above * above / (above + store)


#: Slopes shorter than this have a rule of their own (15 feet). [m]
SHORT_SLOPE_M = 4.57


def slope_length_factor(slope_pct: float, length_m: float) -> float:
    """Slope-length factor LS of soil loss.

    Parameters   slope_pct : float. [%]
                 length_m : float. [m]
    Returns      float; 1 on a slope of 9 % that is 22.13 m long
    Valid for    0 to 100 %, 0 to 300 m; outside that NaN
    Missing      NaN in, NaN out
    Differs      none; a slope shorter than 4.57 m, too short for rills, has a rule of its own
    Source       rusle-1997, chapter 4 (upper branch second-hand, the rest from memory)
    Check        tests/indices/test_runoff.py::test_slope_length_factor
    """
    sine = math.sin(math.atan(float(within(slope_pct, 0.0, 100.0)) / 100.0))
    length = float(within(length_m, 0.0, 300.0))
    by_drops = 3.0 * sine**0.8 + 0.56
    beta = (sine / 0.0896) / by_drops
    by_rills = 10.8 * sine + 0.03 if slope_pct < 9.0 else 16.8 * sine - 0.50
    steep = by_drops if length < SHORT_SLOPE_M else by_rills
    return float((length / 22.13) ** (beta / (1.0 + beta)) * steep)


#: Water that melts for each degree above freezing (handbooks give 1.6 to 6, from memory). [mm/K/d]
MELT_MM_K_D = 2.74


def snow_melt_mm(
    snow_mm: ArrayLike, temp_c: ArrayLike, *, melt_mm_k_d: float = MELT_MM_K_D, lying_mm: float = 0.0
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
