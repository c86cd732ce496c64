"""The two-stage regression of frost nights that growers are taught, as a baseline.

It is made for clear still nights; as a baseline it is asked of all of them.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike

from planner.weather import Array, within


@dataclass(frozen=True, slots=True, kw_only=True)
class RadiationFrost:
    """Tn = per_temp * T0 + per_dew_point * Td0 + constant_c, for clear and still nights at one place."""

    per_temp: float
    per_dew_point: float
    constant_c: float

    def lowest_c(self, temp_c: ArrayLike, dew_point_c: ArrayLike) -> Array:
        """Lowest temperature of the night, from air and dew point two hours after sunset. [degC]"""
        temp = within(temp_c, -40.0, 40.0)
        return self.per_temp * temp + self.per_dew_point * within(dew_point_c, -60.0, 40.0) + self.constant_c


def fit_radiation_frost(temp_c: ArrayLike, dew_point_c: ArrayLike, lowest_c: ArrayLike) -> RadiationFrost:
    """The two-stage regression of night minima: on temperature first, what is left on dew point.

    Parameters   temp_c, dew_point_c : arrays (nights,). Two hours after sunset. [degC]
                 lowest_c : array (nights,). Lowest of the night. [degC]
    Returns      RadiationFrost
    Valid for    nights without cloud, fog or rain and with wind under 2 m/s; four or more, else ValueError
    Missing      nights with a NaN are left out
    Differs      none
    Source       fao-frost-2005, volume 1 chapter 5 (second-hand: as quoted in the R package frost)
    Check        tests/verification/test_evening.py::test_two_stage_regression_published_prediction
    """
    temp, dew, lowest = (np.asarray(a, dtype=np.float64) for a in (temp_c, dew_point_c, lowest_c))
    known = ~np.isnan(temp + dew + lowest)
    if known.sum() < 4:
        raise ValueError(f"{int(known.sum())} nights are too few for a regression: give at least four.")
    temp, dew, lowest = temp[known], dew[known], lowest[known]
    slope, level = np.polyfit(temp, lowest, 1)
    rest_slope, rest_level = np.polyfit(dew, lowest - (slope * temp + level), 1)
    return RadiationFrost(
        per_temp=float(slope), per_dew_point=float(rest_slope), constant_c=float(level + rest_level)
    )
