"""Weather that favours turf diseases."""

from __future__ import annotations

from typing import Any

import numpy as np

from planner.indices.validity import flag, within
from planner.weather import Array

#: Smith and others advise to treat from here.
DOLLAR_SPOT_THRESHOLD = 0.20
#: The paper's warning; an extension reviewer preferred 5.
BROWN_PATCH_THRESHOLD = 6.0


def dollar_spot_chance(five_day_temp_c: Any, five_day_humidity_pct: Any) -> Array:
    """Chance of dollar spot, from the weather of five days.

    Parameters   five_day_temp_c : array. Mean of the daily mean air temperatures. [degC]
                 five_day_humidity_pct : array. Mean of the daily mean relative humidities. [%]
    Returns      array, broadcast shape. [0-1]
    Valid for    10 to 35 degC (from memory) and 0 to 105 %; outside that NaN
    Missing      NaN in, NaN out
    Differs      none
    Source       smith-2018 (abstract read; coefficients second-hand)
    Check        tests/indices/test_disease.py::test_dollar_spot_table
    """
    temp, humidity = within(five_day_temp_c, 10.0, 35.0), within(five_day_humidity_pct, 0.0, 105.0)
    out: Array = 1.0 / (1.0 + np.exp(11.4041 - 0.0894 * humidity - 0.1932 * temp))
    return out


def brown_patch_index(day_min_c: Any, day_humidity_pct: Any) -> Array:
    """Brown patch index E2 of a day; its paper warns from 6.

    Parameters   day_min_c : array. Lowest air temperature of the day. [degC]
                 day_humidity_pct : array. Mean relative humidity of the day. [%]
    Returns      array, broadcast shape.
    Valid for    -10 to 35 degC, 0 to 105 %; outside that NaN. Made on perennial ryegrass in summer.
    Missing      NaN in, NaN out
    Differs      none
    Source       fidanza-1996 (abstract)
    Check        tests/indices/test_disease.py::test_brown_patch_table
    """
    low, humidity = within(day_min_c, -10.0, 35.0), within(day_humidity_pct, 0.0, 105.0)
    out: Array = -21.5 + 0.15 * humidity + 1.4 * low - 0.033 * low * low
    return out


def pythium_risk(day_max_c: Any, humid_hours: Any, day_min_c: Any) -> Array:
    """Whether a noon-to-noon day allows pythium blight.

    Parameters   day_max_c, day_min_c : arrays. [degC]
                 humid_hours : array. Hours with more than 90 % relative humidity. [h]
    Returns      array, broadcast shape. 1 risk, 0 none.
    Valid for    noon-to-noon spans
    Missing      NaN in, NaN out
    Differs      none
    Source       nutter-1983 (abstract)
    Check        tests/indices/test_disease.py::test_pythium_needs_heat_then_a_warm_humid_night
    """
    high, hours, low = (np.asarray(a, dtype=np.float64) for a in (day_max_c, humid_hours, day_min_c))
    known = ~np.isnan(high + hours + low)
    return flag(known & (high > 30.0) & (hours >= 14.0) & (low > 20.0), known)
