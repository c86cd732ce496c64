"""MET Norway's location forecast 2.0: the second service. https://api.met.no/

Amounts are labelled at the START of their block. The list is hourly for about two and a half days, then goes
by six hours; the later blocks are spread evenly over their hours, which carry a step of 6.
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass
from datetime import datetime
from urllib.parse import urlencode

import numpy as np
from numpy.typing import NDArray

from planner.errors import ForecastMalformed, ForecastUnavailable, UnitMismatch
from planner.forecast import document
from planner.forecast.base import RawForecast, Request
from planner.forecast.hourly import blank_rain_beyond_reach, pressure_at_site_hpa
from planner.units import convert
from planner.weather import HOUR_S, VARIABLE, Array, Forecast, HourlyWeather

WHO = "MET Norway"
CREDIT = "Data from MET Norway"
CREDIT_URL = "https://www.met.no/"
LICENCE = "NLOD 2.0 and CC BY 4.0"
BASE_URL = "https://api.met.no"

#: Our column and the name of the reading at an instant.
INSTANT: Mapping[str, str] = {
    "air_temp_c": "air_temperature",
    "rel_humidity_pct": "relative_humidity",
    "dew_point_c": "dew_point_temperature",
    "wind_10m_ms": "wind_speed",
    "gust_10m_ms": "wind_speed_of_gust",
    "wind_dir_deg": "wind_from_direction",
    "cloud_pct": "cloud_area_fraction",
    "pressure_hpa": "air_pressure_at_sea_level",
}
#: Our column and the name of what holds for a block of hours.
BLOCK: Mapping[str, str] = {
    "rain_mm": "precipitation_amount",
    "rain_chance_pct": "probability_of_precipitation",
}
LONGEST_STEP_H = 6
LONGEST_LIST_H = 60 * 24


@dataclass(frozen=True, slots=True)
class _Entry:
    hour: int
    """Hours since 1970 UTC."""
    instant: Mapping[str, object]
    block_h: int
    """Length of the block that begins here: 1, 6, or 0 where there is none."""
    block: Mapping[str, object]


def parse_document(answer: object, *, fetched_at: datetime) -> Forecast:
    """The forecast in a decoded answer, compact or complete. Raises ForecastMalformed or UnitMismatch."""
    properties = document.table(answer, "properties", who=WHO)
    meta = document.table(properties, "meta", who=WHO)
    units = document.table(meta, "units", who=WHO)
    entries = _entries(properties.get("timeseries"))
    first, last = entries[0].hour, entries[-1].hour
    hours = last - first + 1
    if hours > LONGEST_LIST_H:
        raise ForecastMalformed(f"The timeseries of {WHO} spans {hours / 24:.0f} days: is it a forecast?")
    slots = np.asarray([entry.hour - first for entry in entries])
    columns: dict[str, Array] = {}
    notes: list[str] = []
    for column, name in INSTANT.items():
        readings = _readings([entry.instant for entry in entries], name, units, VARIABLE[column].unit)
        if readings is not None:
            notes += _blank_incredible(readings, column, name)
            columns[column] = _between(slots, readings, hours, column)
    steps = np.ones(hours)
    for column, name in BLOCK.items():
        readings = _readings([entry.block for entry in entries], name, units, VARIABLE[column].unit)
        if readings is not None:
            columns[column] = _spread(entries, readings, hours, steps, shared=column == "rain_mm")
    notes += _reduce_pressure(answer, columns)
    notes += blank_rain_beyond_reach(columns)
    if (steps > 1).any():
        begins = datetime.fromtimestamp((first + int(np.argmax(steps > 1))) * HOUR_S, fetched_at.tzinfo)
        notes.append(f"from {begins:%Y-%m-%d %H:%M%z} on the service gives only blocks of up to 6 h")
    return Forecast(
        weather=HourlyWeather.from_columns(
            epoch_s=[(first + hour) * HOUR_S for hour in range(hours)], columns=columns, step_h=steps
        ),
        provider="met-norway",
        issued_at=_moment(meta.get("updated_at"), "meta.updated_at"),
        fetched_at=fetched_at,
        credit=CREDIT,
        credit_url=CREDIT_URL,
        licence=LICENCE,
        notes=tuple(notes),
    )


def _entries(series: object) -> list[_Entry]:
    if not isinstance(series, list) or not series:
        raise ForecastMalformed(
            f"The answer of {WHO} has no timeseries. Ask for the compact or complete product."
        )
    entries: list[_Entry] = []
    for index, item in enumerate(series):
        where = f"timeseries[{index}] of {WHO}"
        if not isinstance(item, Mapping):
            raise ForecastMalformed(f"{where} is a {type(item).__name__}, not an object.")
        label = _moment(item.get("time"), f"{where}.time").timestamp()
        if label % HOUR_S:
            raise ForecastMalformed(f"{where} is at {item['time']}, not on a full hour.")
        data = document.table(item, "data", who=where)
        block_h, block = 0, dict[str, object]()
        for key, length in (("next_1_hours", 1), ("next_6_hours", LONGEST_STEP_H)):
            readings = _details(data.get(key))
            if readings.get("precipitation_amount") is not None:
                block_h, block = length, readings
                break
        entries.append(
            _Entry(
                hour=int(label) // HOUR_S, instant=_details(data.get("instant")), block_h=block_h, block=block
            )
        )
        if len(entries) > 1 and entries[-1].hour <= entries[-2].hour:
            raise ForecastMalformed(f"{where} is at {item['time']}, which is not after the entry before it.")
    return entries


def _details(part: object) -> dict[str, object]:
    details = part.get("details") if isinstance(part, Mapping) else None
    return dict(details) if isinstance(details, Mapping) else {}


def _moment(text: object, where: str) -> datetime:
    try:
        moment = datetime.fromisoformat(str(text))
    except (TypeError, ValueError):
        raise ForecastMalformed(f"{where} is {text!r}, not a time.") from None
    if moment.tzinfo is None:
        raise ForecastMalformed(f"{where} is {text!r}, which has no zone.")
    return moment


def _readings(
    parts: list[Mapping[str, object]], name: str, units: Mapping[str, object], unit: str
) -> Array | None:
    """The entries' readings of that name, shape (entries,); None where none has one."""
    values = [part.get(name) for part in parts]
    if all(value is None for value in values):
        return None
    where = f'"{name}" of {WHO}'
    declared = units.get(name)
    if not isinstance(declared, str):
        raise UnitMismatch(f"{where} declares no unit under meta.units. Correct the file, or ask again.")
    return convert(document.numbers(values, length=len(values), where=where), declared, unit, where=where)


def _blank_incredible(readings: Array, column: str, name: str) -> list[str]:
    """Set readings out of their range to unknown before hours are drawn between them; say which they were."""
    variable = VARIABLE[column]
    outside = (readings < variable.low) | (readings > variable.high)
    notes = [
        f"{name} reads {value:g} {variable.unit}, which cannot be: unknown" for value in readings[outside]
    ]
    readings[outside] = np.nan
    return notes


def _between(slots: NDArray[np.int64], readings: Array, hours: int, column: str) -> Array:
    """Readings at the entries as one for every hour: straight lines between, directions as vectors, gusts held.

    Between entries more than six hours apart, or where either is unknown, the hours are unknown.
    """
    at = np.arange(hours)
    before = np.searchsorted(slots, at, side="right") - 1
    after = np.minimum(before + (slots[before] < at), slots.size - 1)
    span = slots[after] - slots[before]
    share = np.where(span > 0, (at - slots[before]) / np.maximum(span, 1), 0.0)
    low, high = readings[before], readings[after]
    if column == "gust_10m_ms":
        hourly = low.copy()
    elif column == "wind_dir_deg":
        a, b = np.radians(low), np.radians(high)
        east = (1 - share) * np.sin(a) + share * np.sin(b)
        north = (1 - share) * np.cos(a) + share * np.cos(b)
        hourly = np.where(span > 0, np.degrees(np.arctan2(east, north)) % 360.0, low)
    else:
        hourly = low + share * (high - low)
    hourly[span > LONGEST_STEP_H] = np.nan
    return hourly


def _spread(entries: list[_Entry], readings: Array, hours: int, steps: Array, *, shared: bool) -> Array:
    """Figures of blocks as one for each of their hours: shared out evenly, or the same in each.

    Where blocks overlap the later entry's own block holds, so that no hour is counted twice.
    """
    hourly = np.full(hours, np.nan)
    first = entries[0].hour
    for index, entry in enumerate(entries):
        if entry.block_h == 0:
            continue
        begin = entry.hour - first
        end = min(begin + entry.block_h, hours)
        hourly[begin:end] = readings[index] / entry.block_h if shared else readings[index]
        if shared:
            steps[begin:end] = entry.block_h
    return hourly


def _reduce_pressure(answer: object, columns: dict[str, Array]) -> list[str]:
    if "pressure_hpa" not in columns:
        return []
    geometry = answer.get("geometry") if isinstance(answer, Mapping) else None
    place = geometry.get("coordinates") if isinstance(geometry, Mapping) else None
    height = place[2] if isinstance(place, list) and len(place) > 2 else None
    if not isinstance(height, (int, float)) or isinstance(height, bool) or "air_temp_c" not in columns:
        del columns["pressure_hpa"]
        return ["pressure is left out: it is of sea level, and the answer gives no height of the site"]
    columns["pressure_hpa"] = pressure_at_site_hpa(
        columns["pressure_hpa"], columns["air_temp_c"], float(height)
    )
    return [f"pressure is reduced from sea level to {height:g} m"]


def four_decimals(degrees: float) -> str:
    """Degrees cut, not rounded, to the four decimals the service allows."""
    return f"{math.trunc(round(degrees * 1e4, 6)) / 1e4:.4f}"


@dataclass(frozen=True, slots=True)
class MetNorway:
    """The location forecast of MET Norway."""

    name: str = "met-norway"
    credit: str = CREDIT
    base_url: str = BASE_URL

    def parse(self, raw: bytes, *, fetched_at: datetime) -> Forecast:
        """Read an answer. Raises ForecastMalformed or UnitMismatch."""
        return parse_document(document.load(raw, who=WHO), fetched_at=fetched_at)

    def url(self, request: Request) -> str:
        """What is asked: four decimals at most, whole metres."""
        query = {
            "lat": four_decimals(request.latitude_deg),
            "lon": four_decimals(request.longitude_deg),
            "altitude": round(request.elevation_m),
        }
        return f"{self.base_url}/weatherapi/locationforecast/2.0/complete?{urlencode(query)}"

    def fetch(
        self, request: Request, *, last: RawForecast | None, now: datetime, budget_s: float
    ) -> RawForecast:
        """Ask for the forecast; before the last answer expires it is returned without asking."""
        from planner.forecast import http

        if "@" not in request.contact and "://" not in request.contact:
            raise ForecastUnavailable(
                f"{WHO} serves only callers who say who they are, and no contact is set. Put a mail "
                "address or the "
                "address of a page into the site file as the contact, or take the service out of the list."
            )
        url = self.url(request)
        # Kept by an earlier version, a time to expire may lie in any year; set back, a clock makes it far away.
        latest = now + http.LONGEST_KEPT
        if last is not None and last.url == url and last.expires is not None and now < last.expires <= latest:
            return last
        return http.get(
            url,
            who=WHO,
            contact=request.contact,
            last=last,
            now=now,
            budget_s=budget_s,
            follow_redirects=True,
            stop_at_429=True,
        )


PROVIDER = MetNorway()
