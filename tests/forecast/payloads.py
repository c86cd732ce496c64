"""Answers made to the services' documented layouts, for the faults no recording shows."""

from __future__ import annotations

import json
from datetime import UTC, datetime, timedelta
from pathlib import Path
from typing import Any

FIXTURES = Path(__file__).parents[2] / "fixtures"
BERLIN = FIXTURES / "forecast" / "open-meteo" / "berlin_2025_07_27.json"
REFUSED = FIXTURES / "forecast" / "open-meteo" / "error_400.json"
ENSEMBLE_NAMES = FIXTURES / "forecast" / "open-meteo-ensemble" / "gefs31_one_hour.json"
NEW_YORK = FIXTURES / "forecast" / "met-norway" / "new_york_2020_07_20.json"
NOW = datetime(2026, 4, 1, 6, 20, tzinfo=UTC)
START = datetime(2026, 4, 1, tzinfo=UTC)
NEEDED_UNITS = {
    "temperature_2m": "°C",
    "relative_humidity_2m": "%",
    "precipitation": "mm",
    "wind_speed_10m": "m/s",
}


def open_meteo(hours: int = 48, *, start: datetime = START, **changed: Any) -> dict[str, Any]:
    """A forecast as the service writes it, in unixtime; `changed` replaces or adds hourly lists."""
    first = int(start.timestamp())
    hourly: dict[str, Any] = {
        "time": [first + 3600 * hour for hour in range(hours)],
        "temperature_2m": [10.0 + hour % 24 * 0.5 for hour in range(hours)],
        "relative_humidity_2m": [70] * hours,
        "precipitation": [0.0] * hours,
        "wind_speed_10m": [2.0] * hours,
    }
    hourly.update(changed)
    units = {
        "time": "unixtime",
        **{name: NEEDED_UNITS.get(name, "undefined") for name in hourly if name != "time"},
    }
    return {
        "latitude": 52.5,
        "longitude": 13.4,
        "elevation": 38.0,
        "utc_offset_seconds": 0,
        "timezone": "GMT",
        "hourly_units": units,
        "hourly": hourly,
    }


def ensemble(members: int, hours: int = 48, **changed: Any) -> dict[str, Any]:
    """An ensemble answer: the control under the bare name, the others `_memberNN`."""
    answer = open_meteo(hours)
    plain = {name: values for name, values in answer["hourly"].items() if name != "time"}
    for number in range(1, members):
        for name, values in plain.items():
            key = f"{name}_member{number:02d}"
            shift = 0.1 * number if name != "relative_humidity_2m" else 0
            answer["hourly"][key] = [value + shift for value in values]
            answer["hourly_units"][key] = answer["hourly_units"][name]
    answer["hourly"].update(changed)
    return answer


def met_norway(
    hourly: list[float], six_hourly: list[float], *, start: datetime, **details: Any
) -> dict[str, Any]:
    """A compact answer: rain of the hourly entries, of the six-hourly, then one entry without."""
    entries: list[dict[str, Any]] = []

    def add(at: datetime, key: str | None, amount: float) -> None:
        instant = {
            "air_temperature": 10.0 + len(entries),
            "relative_humidity": 80.0,
            "wind_speed": 3.0,
            "wind_from_direction": 350.0 if len(entries) % 2 else 10.0,
            "air_pressure_at_sea_level": 1013.25,
            **{name: value for name, value in details.items() if name != "block"},
        }
        data: dict[str, Any] = {"instant": {"details": instant}}
        if key is not None:
            data[key] = {"summary": {"symbol_code": "rain"}, "details": {"precipitation_amount": amount}}
        entries.append({"time": f"{at:%Y-%m-%dT%H:%M:%SZ}", "data": data})

    at = start
    for amount in hourly:
        add(at, "next_1_hours", amount)
        at += timedelta(hours=1)
    for amount in six_hourly:
        add(at, "next_6_hours", amount)
        at += timedelta(hours=6)
    add(at, None, 0.0)
    units = {
        "air_temperature": "celsius",
        "relative_humidity": "%",
        "wind_speed": "m/s",
        "wind_from_direction": "degrees",
        "air_pressure_at_sea_level": "hPa",
        "precipitation_amount": "mm",
        "wind_speed_of_gust": "m/s",
    }
    return {
        "type": "Feature",
        "geometry": {"type": "Point", "coordinates": [11.39, 47.27, 574]},
        "properties": {"meta": {"updated_at": "2026-04-01T05:31:00Z", "units": units}, "timeseries": entries},
    }


def raw(answer: Any) -> bytes:
    return json.dumps(answer).encode()
