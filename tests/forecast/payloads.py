"""Answers made to the services' documented layouts, for the faults no recording shows."""

from __future__ import annotations

import json
from collections.abc import Callable
from datetime import UTC, datetime, timedelta
from pathlib import Path
from typing import Any

FIXTURES = Path(__file__).parents[2] / "fixtures"
BERLIN = FIXTURES / "forecast" / "open-meteo" / "berlin_2025_07_27.json"
REFUSED = FIXTURES / "forecast" / "open-meteo" / "error_400.json"
ENSEMBLE_NAMES = FIXTURES / "forecast" / "open-meteo-ensemble" / "gefs31_one_hour.json"
NEW_YORK = FIXTURES / "forecast" / "met-norway" / "new_york_2020_07_20.json"
GRID = FIXTURES / "forecast" / "nws" / "made_2026_04_01.json"
POINTS = FIXTURES / "forecast" / "nws" / "made_points.json"
STATION = FIXTURES / "forecast" / "bright-sky" / "made_2026_03_30.json"
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


def nws(
    hours: int = 48, *, start: datetime = START, issued: datetime = START, **changed: Any
) -> dict[str, Any]:
    """A grid answer: hourly layers, rain in blocks of six hours; `changed` replaces or adds layers."""

    def each(value: Callable[[int], Any], step: int = 1) -> list[dict[str, Any]]:
        return [
            {
                "validTime": f"{start + timedelta(hours=hour):%Y-%m-%dT%H:%M:%S}+00:00/PT{step}H",
                "value": value(hour),
            }
            for hour in range(0, hours, step)
        ]

    def layer(uom: str, values: list[dict[str, Any]]) -> dict[str, Any]:
        return {"uom": f"wmoUnit:{uom}", "values": values}

    layers = {
        "temperature": layer("degC", each(lambda hour: 10.0 + hour % 24 * 0.5)),
        "dewpoint": layer("degC", each(lambda hour: 5.0)),
        "relativeHumidity": layer("percent", each(lambda hour: 70)),
        "windSpeed": layer("km_h-1", each(lambda hour: 7.2)),
        "quantitativePrecipitation": layer("mm", each(lambda hour: 0.0, 6)),
        **changed,
    }
    around = [[13.38, 52.48], [13.38, 52.52], [13.42, 52.52], [13.42, 52.48], [13.38, 52.48]]
    return {
        "type": "Feature",
        "geometry": {"type": "Polygon", "coordinates": [around]},
        "properties": {
            "updateTime": issued.isoformat(),
            "elevation": {"unitCode": "wmoUnit:m", "value": 38.1},
            "gridId": "TST",
            **layers,
        },
    }


def nws_points(base_url: str, cell: str = "TST/4,7") -> dict[str, Any]:
    """What the service says about a point."""
    return {"type": "Feature", "properties": {"forecastGridData": f"{base_url}/gridpoints/{cell}"}}


def bright_sky(hours: int = 48, *, start: datetime = START, **changed: Any) -> dict[str, Any]:
    """Hours of one station as the service writes them under units=dwd; `changed` replaces lists of figures."""
    lists = {
        "temperature": [10.0 + hour % 24 * 0.5 for hour in range(hours)],
        "dew_point": [5.0] * hours,
        "relative_humidity": [70] * hours,
        "wind_speed": [7.2] * hours,
        "precipitation": [0.0] * hours,
        **changed,
    }
    return {
        "weather": [
            {
                "timestamp": (start + timedelta(hours=hour)).isoformat(),
                "source_id": 7,
                **{name: values[hour] for name, values in lists.items()},
            }
            for hour in range(hours)
        ],
        "sources": [
            {
                "id": 7,
                "observation_type": "forecast",
                "station_name": "Beispielstadt",
                "lat": 52.5,
                "lon": 13.4,
                "height": 38.0,
                "distance": 1200,
            }
        ],
    }


def raw(answer: Any) -> bytes:
    return json.dumps(answer).encode()
