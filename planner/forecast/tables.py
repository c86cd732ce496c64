"""Hours observed, from a table of a station's merged observations. Worked in pandas.

Columns: time (UTC, no zone), temp_c, rh_pct, wind_ms, gust_ms, wind_dir_deg, rain_mm,
cloud_okta, pressure_hpa (at sea level); others are passed over. What its labels mean is not written in the
table. Taken here: readings are of the label, rain and gust of the hour that ENDS at it. Measured in the table
of Frankfurt 2024: its sunshine reaches to the label 20:00 UTC in June, and there the sun sets before 19:40, so
its sums are those of the hour before.
"""

from __future__ import annotations

from collections.abc import Mapping
from pathlib import Path

import numpy as np
import pandas as pd

from planner.errors import ForecastMalformed, InputError
from planner.forecast.hourly import from_hour_end, pressure_at_site_hpa
from planner.units import convert
from planner.weather import VARIABLE, Array, HourlyWeather

#: Our column, the table's, and its unit.
STATION_COLUMNS: Mapping[str, tuple[str, str]] = {
    "air_temp_c": ("temp_c", "C"),
    "rel_humidity_pct": ("rh_pct", "%"),
    "wind_10m_ms": ("wind_ms", "m/s"),
    "gust_10m_ms": ("gust_ms", "m/s"),
    "wind_dir_deg": ("wind_dir_deg", "degrees"),
    "rain_mm": ("rain_mm", "mm"),
    "cloud_pct": ("cloud_okta", "okta"),
    "pressure_hpa": ("pressure_hpa", "hPa"),
}


def from_station_table(path: str | Path, *, elevation_m: float) -> HourlyWeather:
    """The hours of a station at `elevation_m`. Empty cells are unknown; cloud in eighths becomes percent.

    Raises InputError when there is no such file, ForecastMalformed naming the line that cannot be read.
    """
    path = Path(path)
    try:
        table = pd.read_csv(path, dtype=str, keep_default_na=False, encoding="utf-8")
    except OSError as fault:
        raise InputError(
            f"The station table {path} cannot be opened ({fault.strerror}). Check its name."
        ) from None
    except (pd.errors.ParserError, pd.errors.EmptyDataError, UnicodeDecodeError) as fault:
        raise ForecastMalformed(f"{path.name} cannot be read as a table: {fault}.") from None
    missing = [
        name for name in ("time", *(name for name, _ in STATION_COLUMNS.values())) if name not in table
    ]
    if missing:
        raise ForecastMalformed(
            f"{path.name} lacks the columns {', '.join(missing)}. It has: {', '.join(table.columns)}."
        )
    moments = pd.to_datetime(table["time"], format="ISO8601", utc=True, errors="coerce")
    _require_known(table["time"], moments.isna(), path.name, "is not a time")
    seconds = (moments - pd.Timestamp(0, tz="UTC")) // pd.Timedelta(seconds=1)
    labels = np.asarray(seconds, dtype=np.int64)
    columns: dict[str, Array] = {}
    for column, (name, unit) in STATION_COLUMNS.items():
        read = pd.to_numeric(table[name], errors="coerce")
        _require_known(
            table[name], read.isna() & (table[name] != ""), path.name, f'in "{name}" is not a number'
        )
        values = read.to_numpy(dtype=np.float64, na_value=np.nan)
        values = convert(values, unit, VARIABLE[column].unit, where=f'"{name}" of {path.name}')
        is_sum = VARIABLE[column].over_hour != "instant"
        columns[column] = from_hour_end(values, labels) if is_sum else values
    columns["pressure_hpa"] = pressure_at_site_hpa(
        columns["pressure_hpa"], columns["air_temp_c"], elevation_m
    )
    return HourlyWeather.from_columns(epoch_s=labels, columns=columns)


def _require_known(written: pd.Series[str], faulty: pd.Series[bool], name: str, says: str) -> None:
    if faulty.any():
        row = int(np.argmax(faulty.to_numpy()))
        raise ForecastMalformed(f'{name}, line {row + 2}: "{written.iloc[row]}" {says}.')
