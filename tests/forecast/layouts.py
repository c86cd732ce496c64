"""A whole answer of every service for one place, and its figures by quantity and hour, so that any can be spoilt."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from datetime import datetime, timedelta
from typing import Any

from planner.forecast import Request

from .payloads import NOW, bright_sky, ensemble, met_norway, nws, open_meteo

SITE = Request(latitude_deg=52.5, longitude_deg=13.4, elevation_m=38, contact="me@green.example")
BEGINS = NOW.replace(hour=0, minute=0)
HOURS = 96
H = timedelta(hours=1)
#: Falls in the middle of the list, so that a list moved by an hour is seen.
WET_H, WET_MM = 30, 6.0


@dataclass(frozen=True)
class Layout:
    """How one service writes a forecast."""

    made: Callable[[datetime, int], dict[str, Any]]
    names: dict[str, str]
    """Quantity -> the service's name for it."""
    entries: Callable[[dict[str, Any], str], list[tuple[Any, Any]]]
    """The places of a quantity's figures, in the order of the list: container and key."""
    moved: Callable[[dict[str, Any], float, float], None]
    """Move the answer's place."""
    raised: Callable[[dict[str, Any], float], None]
    """Move the answer's height."""
    shifted: int
    """Rows by which rain is listed after its hour."""
    rain_step: int = 1

    def whole(self, begins: datetime = BEGINS, hours: int = HOURS) -> dict[str, Any]:
        """A sound answer."""
        answer = self.made(begins, hours)
        wet = int((BEGINS - begins) / H) + WET_H
        if 0 <= wet < hours - self.shifted:
            self.put(answer, "rain", [wet], WET_MM)
        return answer

    def put(self, answer: dict[str, Any], quantity: str, hours: Any, figure: Any) -> dict[str, Any]:
        """Put this figure into these hours, counted from the first; rain into the hours that it is of."""
        entries = self.entries(answer, self.names[quantity])
        for hour in hours:
            row = (hour + self.shifted) if quantity == "rain" else hour
            step = self.rain_step if quantity == "rain" else 1
            if row // step < len(entries):
                holder, key = entries[row // step]
                holder[key] = figure
        return answer

    def drop(self, answer: dict[str, Any], quantity: str) -> dict[str, Any]:
        """Take the quantity away altogether: each figure null."""
        for holder, key in self.entries(answer, self.names[quantity]):
            holder[key] = None
        return answer


def _lists(answer: dict[str, Any], name: str) -> list[tuple[Any, Any]]:
    values = answer["hourly"][name]
    return [(values, hour) for hour in range(len(values))]


class _All:
    """One figure of all members."""

    def __init__(self, lists: list[list[Any]]) -> None:
        self.lists = lists

    def __setitem__(self, hour: int, figure: Any) -> None:
        for values in self.lists:
            values[hour] = figure


def _members(answer: dict[str, Any], name: str) -> list[tuple[Any, Any]]:
    lists = [values for key, values in answer["hourly"].items() if key.split("_member")[0] == name]
    return [(_All(lists), hour) for hour in range(len(lists[0]))]


def _entries(answer: dict[str, Any], name: str) -> list[tuple[Any, Any]]:
    block = {"precipitation_amount": "next_1_hours"}.get(name, "instant")
    series = answer["properties"]["timeseries"]
    return [(item["data"][block]["details"], name) for item in series if block in item["data"]]


def _layers(answer: dict[str, Any], name: str) -> list[tuple[Any, Any]]:
    return [(item, "value") for item in answer["properties"][name]["values"]]


def _records(answer: dict[str, Any], name: str) -> list[tuple[Any, Any]]:
    return [(record, name) for record in answer["weather"]]


def _made_met(begins: datetime, hours: int) -> dict[str, Any]:
    answer = met_norway([0.0] * hours, [], start=begins)
    answer["geometry"]["coordinates"] = [13.4, 52.5, 38]
    for hour, item in enumerate(answer["properties"]["timeseries"]):
        item["data"]["instant"]["details"]["air_temperature"] = 10.0 + hour % 24 * 0.5
    answer["properties"]["meta"]["updated_at"] = f"{begins + 5 * H:%Y-%m-%dT%H:%M:%SZ}"
    return answer


def _made_ensemble(begins: datetime, hours: int) -> dict[str, Any]:
    answer = ensemble(3, hours, time=open_meteo(hours, start=begins)["hourly"]["time"])
    for name, values in answer["hourly"].items():
        if name.startswith("precipitation"):
            values[:] = [0.0] * hours
    return answer


def _in(answer: dict[str, Any], **values: float) -> None:
    answer.update(values)


def _at_point(answer: dict[str, Any], latitude: float, longitude: float) -> None:
    answer["geometry"]["coordinates"][:2] = [longitude, latitude]


def _around(answer: dict[str, Any], latitude: float, longitude: float) -> None:
    d = 0.02
    corners = ((-d, -d), (d, -d), (d, d), (-d, d), (-d, -d))
    answer["geometry"]["coordinates"] = [[[longitude + east, latitude + north] for east, north in corners]]


def _open_meteo_names() -> dict[str, str]:
    return {
        "temperature": "temperature_2m",
        "humidity": "relative_humidity_2m",
        "wind": "wind_speed_10m",
        "rain": "precipitation",
    }


LAYOUTS: dict[str, Layout] = {
    "open-meteo": Layout(
        made=lambda begins, hours: open_meteo(hours, start=begins),
        names=_open_meteo_names(),
        entries=_lists,
        moved=lambda answer, north, east: _in(answer, latitude=north, longitude=east),
        raised=lambda answer, height: _in(answer, elevation=height),
        shifted=1,
    ),
    "open-meteo-ensemble": Layout(
        made=_made_ensemble,
        names=_open_meteo_names(),
        entries=_members,
        moved=lambda answer, north, east: _in(answer, latitude=north, longitude=east),
        raised=lambda answer, height: _in(answer, elevation=height),
        shifted=1,
    ),
    "met-norway": Layout(
        made=_made_met,
        names={
            "temperature": "air_temperature",
            "humidity": "relative_humidity",
            "wind": "wind_speed",
            "rain": "precipitation_amount",
        },
        entries=_entries,
        moved=_at_point,
        raised=lambda answer, height: answer["geometry"]["coordinates"].__setitem__(2, height),
        shifted=0,
    ),
    "nws": Layout(
        # Without humidity, which follows from the dew point, so that one null hour is one unknown hour.
        made=lambda begins, hours: nws(
            hours, start=begins, issued=begins + 5 * H, relativeHumidity={"values": []}
        ),
        names={
            "temperature": "temperature",
            "humidity": "dewpoint",
            "wind": "windSpeed",
            "rain": "quantitativePrecipitation",
        },
        entries=_layers,
        moved=_around,
        raised=lambda answer, height: answer["properties"]["elevation"].update(value=height),
        shifted=0,
        rain_step=6,
    ),
    "bright-sky": Layout(
        made=lambda begins, hours: bright_sky(hours, start=begins, relative_humidity=[None] * hours),
        names={
            "temperature": "temperature",
            "humidity": "dew_point",
            "wind": "wind_speed",
            "rain": "precipitation",
        },
        entries=_records,
        moved=lambda answer, north, east: answer["sources"][0].update(lat=north, lon=east),
        raised=lambda answer, height: answer["sources"][0].update(height=height),
        shifted=1,
    ),
}
