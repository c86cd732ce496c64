"""Rain that does not sink in."""

from __future__ import annotations

import math
from typing import Any

import numpy as np

from planner.indices.validity import within
from planner.weather import Array


def runoff_mm(rain_mm: Any, curve_number: float) -> Array:
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
    out: Array = above * above / (above + store)
    return out


def wet_curve_number(curve_number: float) -> float:
    """Curve number of wet ground.

    Parameters   curve_number : float. That of average ground.
    Returns      float
    Valid for    1 to 100; outside that NaN
    Missing      NaN in, NaN out
    Differs      none
    Source       sharpley-williams-1990 (from memory)
    Check        tests/indices/test_runoff.py::test_slope_moves_the_curve_number
    """
    number = float(within(curve_number, 1.0, 100.0))
    return number * math.exp(0.00673 * (100.0 - number))


def sloped_curve_number(curve_number: float, slope_pct: float) -> float:
    """Curve number on a slope; the tables hold for 5 percent.

    Parameters   curve_number : float. From the table.
                 slope_pct : float. [%]
    Returns      float, 1 to 100
    Valid for    slopes of 0 to 100 %; outside that NaN
    Missing      NaN in, NaN out
    Differs      held at 100
    Source       williams-1995 (from memory)
    Check        tests/indices/test_runoff.py::test_slope_moves_the_curve_number
    """
    slope = float(within(slope_pct, 0.0, 100.0)) / 100.0
    gain = (wet_curve_number(curve_number) - curve_number) / 3.0 * (1.0 - 2.0 * math.exp(-13.86 * slope))
    return float(np.minimum(100.0, curve_number + gain))


def slope_length_factor(slope_pct: float, length_m: float) -> float:
    """Slope-length factor LS of soil loss.

    Parameters   slope_pct : float. [%]
                 length_m : float. [m]
    Returns      float; 1 on a slope of 9 % that is 22.13 m long
    Valid for    0 to 100 %, 0 to 300 m; outside that NaN
    Missing      NaN in, NaN out
    Differs      none
    Source       rusle-1997, chapter 4 (upper branch second-hand, the rest from memory)
    Check        tests/indices/test_runoff.py::test_slope_length_factor
    """
    sine = math.sin(math.atan(float(within(slope_pct, 0.0, 100.0)) / 100.0))
    length = float(within(length_m, 0.0, 300.0))
    beta = (sine / 0.0896) / (3.0 * sine**0.8 + 0.56)
    steep = 10.8 * sine + 0.03 if slope_pct < 9.0 else 16.8 * sine - 0.50
    return float((length / 22.13) ** (beta / (1.0 + beta)) * steep)


def sheet_shear_pa(excess_mm_h: Any, slope_pct: float, length_m: float, roughness: float = 0.05) -> Array:
    """Shear of sheet flow at the foot of a slope.

    Parameters   excess_mm_h : array. Rain that does not sink in. [mm/h]
                 slope_pct, length_m : float. [%, m]
                 roughness : float. Manning's n, 0.05 for a raked seedbed.
    Returns      array, same shape. [Pa]
    Valid for    0 to 300 mm/h, 0 to 100 %, 0 to 300 m; else NaN. Manning is stretched to laminar flow.
    Missing      NaN in, NaN out
    Differs      none
    Source       engman-1986 (roughness, from memory); own-wash-index
    Check        tests/indices/test_runoff.py::test_shear_worked_by_hand
    """
    flow = within(excess_mm_h, 0.0, 300.0) / 3.6e6 * float(within(length_m, 0.0, 300.0))
    slope = float(within(slope_pct, 0.0, 100.0)) / 100.0
    out: Array = 1000.0 * 9.81 * (flow * roughness) ** 0.6 * slope**0.7
    return out
