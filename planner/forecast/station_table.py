"""Hours observed at one station, from a table of merged open observations.

Columns: time (UTC, no zone), temp_c, rh_pct, wind_ms, gust_ms, wind_dir_deg, rain_mm, cloud_okta,
pressure_hpa (at sea level); others are passed over. What its labels mean is not written in the table. Taken
here: readings are of the label, rain and gust of the hour that ENDS at it. Measured in the table of
Frankfurt 2024: its sunshine reaches to the label 20:00 UTC in June, and there the sun sets before 19:40, so
its sums are those of the hour before.
"""

from __future__ import annotations

import csv
from calendar import timegm
from collections.abc import Mapping
from datetime import datetime
from pathlib import Path

import numpy as np

from planner.errors import ForecastMalformed, InputError
from planner.forecast.hour_labels import from_hour_end
from planner.forecast.sea_level import pressure_at_site_hpa
from planner.units import convert
from planner.weather import VARIABLE, Array, HourlyWeather

CREDIT = "Data by Meteostat"
CREDIT_URL = "https://meteostat.net/"
LICENCE = "CC BY 4.0"

COLUMNS: Mapping[str, tuple[str, str]] = {
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
        with path.open(newline="", encoding="utf-8") as file:
            reader = csv.reader(file)
            header = next(reader, [])
            rows = [row for row in reader if row]
    except OSError as fault:
        raise InputError(
            f"The station table {path} cannot be opened ({fault.strerror}). Check its name."
        ) from None
    missing = [name for name in ("time", *(name for name, _ in COLUMNS.values())) if name not in header]
    if missing:
        raise ForecastMalformed(
            f"{path.name} lacks the columns {', '.join(missing)}. It has: {', '.join(header)}."
        )
    place = header.index("time")
    labels = np.asarray(
        [_label(row, place, path.name, line) for line, row in enumerate(rows, 2)], dtype=np.int64
    )
    columns: dict[str, Array] = {}
    for column, (name, unit) in COLUMNS.items():
        index = header.index(name)
        told = np.asarray([_number(row, index, path.name, line, name) for line, row in enumerate(rows, 2)])
        values = convert(told, unit, VARIABLE[column].unit, where=f'"{name}" of {path.name}')
        columns[column] = values if VARIABLE[column].over_hour == "instant" else from_hour_end(values, labels)
    columns["pressure_hpa"] = pressure_at_site_hpa(
        columns["pressure_hpa"], columns["air_temp_c"], elevation_m
    )
    return HourlyWeather.from_columns(epoch_s=labels.tolist(), columns=columns)


def _label(row: list[str], place: int, name: str, line: int) -> int:
    try:
        return timegm(datetime.fromisoformat(row[place]).utctimetuple())
    except (IndexError, ValueError):
        told = row[place] if place < len(row) else ""
        raise ForecastMalformed(f'{name}, line {line}: "{told}" is not a time.') from None


def _number(row: list[str], index: int, name: str, line: int, column: str) -> float:
    try:
        return float(row[index] or "nan")
    except (IndexError, ValueError):
        told = row[index] if index < len(row) else ""
        raise ForecastMalformed(f'{name}, line {line}: "{told}" in "{column}" is not a number.') from None
