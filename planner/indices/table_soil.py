"""Rows of the soil under the sky: its temperature, and whether it is frozen."""

from __future__ import annotations

from datetime import date, timedelta

import numpy as np

from planner.indices import soil_temp
from planner.indices.quantities import Quantities
from planner.indices.table import Rows
from planner.weather import Array, flag

#: Hours of a local day that must be known for its mean to count.
WHOLE_DAY_H = 20
#: Days before the hours of the weather that a mean of the season looks back on: of older ones a hundredth is left.
LOOK_BACK_DAYS = 120
rows = Rows()


@rows.sky(
    unit="C",
    says="Soil temperature near 6 cm, forecast or from the air of the days before",
    bounds=(-50, 60),
    needs=("soil_temp_6cm_c", "air_temp_c"),
    source="own-soil-temp",
    valid="no snow cover",
    check="tests/verification/test_soil_temperature.py::test_shipped_constants_are_the_fit",
)
def soil_temp_c(q: Quantities) -> Array:
    forecast = q["soil_temp_6cm_c"]
    if not np.isnan(forecast).any():
        return forecast
    return np.where(np.isnan(forecast), _from_air(q), forecast)


@rows.sky(
    unit="0/1",
    says="Soil frozen near the top",
    needs=("soil_temp_c",),
    source="green-traffic-2022",
    valid="no snow cover",
    check="tests/indices/test_rows.py::test_frozen_soil",
)
def soil_frozen(q: Quantities) -> Array:
    soil = q["soil_temp_c"]
    return flag(soil <= 0.0, ~np.isnan(soil))


def _from_air(q: Quantities) -> Array:
    """Soil of each hour from the air of the hours and of the days kept before them. [degC]"""
    air, fresh = q["air_temp_c"], q.days
    first = min([fresh.dates[0], *(day for day in q.past if day >= fresh.dates[0] - _LOOK_BACK)])
    dates = [first + timedelta(days=number) for number in range((fresh.dates[-1] - first).days + 1)]
    daily = np.full((air.shape[0], len(dates)), np.nan)
    for number, day in enumerate(dates):
        if day in q.past and q.past[day].hours >= WHOLE_DAY_H:
            daily[:, number] = q.past[day].air_c
    known_h = fresh.total((~np.isnan(air)).astype(np.float64))
    means = fresh.mean_of_known(air, share=0.5)
    # A day cut short by the first or the last hour has a mean of the wrong hours; the only day there is has no other.
    enough = known_h >= (WHOLE_DAY_H if np.isfinite(daily).any() or (known_h >= WHOLE_DAY_H).any() else 1.0)
    place = (fresh.dates[0] - first).days
    daily[:, place:] = np.where(enough, means, daily[:, place:])
    of_year = np.array([day.timetuple().tm_yday for day in dates])
    soil = soil_temp.daily_soil_temp_c(daily, q.site.latitude_deg, of_year)
    at = q.weather.epoch_s / 3600.0 + q.local_offset_h
    begins = (first - date(1970, 1, 1)).days
    return soil_temp.hourly_soil_temp_c(air, soil, at / 24.0 - begins)


_LOOK_BACK = timedelta(days=LOOK_BACK_DAYS)
