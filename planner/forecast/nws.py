"""The grid forecast of the US National Weather Service: the United States and their territories.

https://api.weather.gov/ A place is turned into a cell of a 2.5 km grid, and the cell is asked for its forecast.
Each layer lists figures with the time they hold for, as ISO 8601 intervals that begin at their label; equal
neighbours come as one. Amounts are sums over their interval and are shared out evenly over its hours.
"""

from __future__ import annotations

import re
from collections.abc import Mapping
from dataclasses import dataclass
from datetime import UTC, datetime
from time import monotonic

import numpy as np

from planner.errors import ForecastMalformed, ForecastUnavailable, UnitMismatch
from planner.forecast import document
from planner.forecast.base import RawForecast, Request
from planner.forecast.hourly import FIRST_LABEL_S, LAST_LABEL_S, blank_rain_beyond_reach
from planner.units import convert
from planner.weather import HOUR_S, VARIABLE, Array, Forecast, HourlyWeather

WHO = "the US National Weather Service"
CREDIT = "Forecast by the US National Weather Service"
CREDIT_URL = "https://www.weather.gov/"
LICENCE = "public domain, a work of the US government"
BASE_URL = "https://api.weather.gov"

#: Our column and the layer whose figure holds in each hour of its interval.
HELD: Mapping[str, str] = {
    "air_temp_c": "temperature",
    "dew_point_c": "dewpoint",
    "rel_humidity_pct": "relativeHumidity",
    "wind_10m_ms": "windSpeed",
    "gust_10m_ms": "windGust",
    "wind_dir_deg": "windDirection",
    "cloud_pct": "skyCover",
    "rain_chance_pct": "probabilityOfPrecipitation",
}
#: Our column and the layer whose figure is the sum over its interval.
SUMS: Mapping[str, str] = {"rain_mm": "quantitativePrecipitation", "snow_mm": "snowfallAmount"}
#: Names of units in the WMO's list, behind their prefix, and ours.
UNITS: Mapping[str, str] = {
    "degC": "C",
    "degF": "°F",
    "K": "K",
    "percent": "%",
    "km_h-1": "km/h",
    "m_s-1": "m/s",
    "degree_(angle)": "degrees",
    "mm": "mm",
}
LONGEST_LIST_H = 24 * 40
_INTERVAL = re.compile(
    r"P(?:(?P<weeks>\d{1,4})W)?(?:(?P<days>\d{1,4})D)?(?:T(?:(?P<hours>\d{1,5})H)?(?:(?P<minutes>\d{1,6})M)?)?"
)
_CELL = re.compile(r"/gridpoints/[A-Z0-9]{1,8}/-?\d{1,5},-?\d{1,5}$")


@dataclass(frozen=True, slots=True)
class _Layer:
    """One layer, expanded: the hours that have a figure, with the figure and the length of its interval [h]."""

    starts: list[int]
    """Hours since 1970 UTC at which the intervals begin."""
    lengths: list[int]
    values: Array
    """Shape (intervals,), NaN where the figure is null."""

    def hourly(self, first: int, hours: int, *, shared: bool) -> tuple[Array, Array]:
        """The figure of each hour from `first` on, and the length of the interval it is of, shape (hours,)."""
        figures, lengths = np.full(hours, np.nan), np.ones(hours)
        for start, length, value in zip(self.starts, self.lengths, self.values, strict=True):
            at = slice(max(0, start - first), max(0, start + length - first))
            figures[at] = value / length if shared else value
            lengths[at] = length
        return figures, lengths


def parse_document(answer: object, *, fetched_at: datetime) -> Forecast:
    """The forecast in a decoded answer for a grid cell. Raises ForecastMalformed or UnitMismatch."""
    properties = document.table(answer, "properties", who=WHO)
    layers: dict[str, _Layer] = {}
    for column, name in {**HELD, **SUMS}.items():
        layer = _layer(properties.get(name), name, column)
        if layer is not None:
            layers[column] = layer
    if not layers:
        raise ForecastMalformed(
            f"The answer of {WHO} has no layer of weather. Its keys: {', '.join(map(str, properties))}. "
            "Ask for the raw grid (forecastGridData)."
        )
    first = min(layer.starts[0] for layer in layers.values())
    hours = max(layer.starts[-1] + layer.lengths[-1] for layer in layers.values()) - first
    if hours > LONGEST_LIST_H:
        raise ForecastMalformed(f"The layers of {WHO} span {hours / 24:.0f} days: is it a forecast?")
    columns: dict[str, Array] = {}
    steps, notes = np.ones(hours), list[str]()
    for column, layer in layers.items():
        columns[column], lengths = layer.hourly(first, hours, shared=column in SUMS)
        if column == "rain_mm":
            steps = np.where(lengths <= 1, 1.0, np.where(lengths <= 3, 3.0, 6.0))
            notes += _spread_note(columns[column], lengths, first)
    notes += blank_rain_beyond_reach(columns)
    return Forecast(
        weather=HourlyWeather.from_columns(
            epoch_s=[(first + hour) * HOUR_S for hour in range(hours)], columns=columns, step_h=steps
        ),
        provider="nws",
        issued_at=_moment(properties.get("updateTime"), f"updateTime of {WHO}"),
        fetched_at=fetched_at,
        credit=CREDIT,
        credit_url=CREDIT_URL,
        licence=LICENCE,
        notes=tuple(notes),
    )


def _layer(found: object, name: str, column: str) -> _Layer | None:
    """The layer as it is listed, in our unit; None where the answer does not have it or lists nothing."""
    where = f'"{name}" of {WHO}'
    if found is None:
        return None
    if not isinstance(found, Mapping):
        raise ForecastMalformed(f"{where} is a {type(found).__name__}, not an object.")
    listed = found.get("values")
    if not isinstance(listed, list):
        raise ForecastMalformed(f'{where} has no list "values".')
    starts: list[int] = []
    lengths: list[int] = []
    values: list[object] = []
    for index, item in enumerate(listed):
        if not isinstance(item, Mapping):
            raise ForecastMalformed(f"{where}, value {index + 1}, is {item!r:.60}, not an object.")
        start, length = _interval(item.get("validTime"), f"{where}, value {index + 1},")
        if starts and start < starts[-1] + lengths[-1]:
            raise ForecastMalformed(
                f"{where} is out of order: value {index + 1} ({item['validTime']}) begins before the last ends."
            )
        starts.append(start)
        lengths.append(length)
        values.append(item.get("value"))
    if not starts:
        return None
    figures = document.numbers(values, length=len(values), where=where)
    return _Layer(starts, lengths, _in_our_unit(figures, found.get("uom"), column, where))


def _in_our_unit(figures: Array, declared: object, column: str, where: str) -> Array:
    if not isinstance(declared, str):
        raise UnitMismatch(f"{where} declares no unit. Ask again, or take another service.")
    name = declared.rpartition(":")[2]
    unit = UNITS.get(name, name)
    # Snow is told as a depth.
    return convert(
        figures, f"{unit} snow" if column == "snow_mm" else unit, VARIABLE[column].unit, where=where
    )


def _interval(text: object, where: str) -> tuple[int, int]:
    """Start [hours since 1970 UTC] and length [h] of an ISO 8601 interval such as 2026-04-01T06:00:00+00:00/PT6H."""
    begins, slash, lasts = str(text).partition("/")
    found = _INTERVAL.fullmatch(lasts)
    if not slash or found is None:
        raise ForecastMalformed(f"{where} is for {text!r:.60}: a start and a duration were expected.")
    start = _moment(begins, where)
    if start is None:
        raise ForecastMalformed(f"{where} is for {text!r:.60}: it does not say when it begins.")
    weeks, days, hours, minutes = (int(found[name] or 0) for name in ("weeks", "days", "hours", "minutes"))
    length_s = 60 * minutes + HOUR_S * (hours + 24 * (days + 7 * weeks))
    start_s = start.timestamp()
    if start_s % HOUR_S or length_s % HOUR_S or not length_s:
        raise ForecastMalformed(f"{where} is for {text!r:.60}: whole hours were expected.")
    if not FIRST_LABEL_S <= start_s <= LAST_LABEL_S:
        raise ForecastMalformed(f"{where} is for {text!r:.60}, which is not between 1850 and 2200.")
    return int(start_s) // HOUR_S, length_s // HOUR_S


def _moment(text: object, where: str) -> datetime | None:
    if text is None:
        return None
    try:
        moment = datetime.fromisoformat(str(text))
        moment.astimezone(UTC)
    except (ValueError, OverflowError):
        raise ForecastMalformed(f"{where} is {text!r:.60}, not a time.") from None
    if moment.tzinfo is None:
        raise ForecastMalformed(f"{where} is {text!r:.60}, which has no zone.")
    return moment


def _spread_note(rain_mm: Array, lengths: Array, first: int) -> list[str]:
    spread = (lengths > 1) & (rain_mm > 0)
    if not spread.any():
        return []
    begins = datetime.fromtimestamp((first + int(np.argmax(spread))) * HOUR_S, UTC)
    return [
        f"rain from {begins:%Y-%m-%d %H:%M}Z on is known for up to {int(lengths[spread].max())} h together "
        f"and shared out evenly, in {int(spread.sum())} of the hours"
    ]


def cell_of(points: bytes) -> str:
    """Path of the grid cell in an answer about a point. Raises ForecastMalformed, ForecastUnavailable."""
    properties = document.table(document.load(points, who=WHO), "properties", who=WHO)
    address = properties.get("forecastGridData")
    if address is None:
        raise ForecastUnavailable(
            f"{WHO} has no grid cell for the site at present: it serves the United States alone. "
            "Name another service in the site file, or ask again later."
        )
    path = _CELL.search(str(address))
    if path is None:
        raise ForecastMalformed(
            f"The grid cell of {WHO} is {str(address)[:80]!r}, which is no address of one."
        )
    return path[0]


def holds(answer: bytes, latitude_deg: float, longitude_deg: float) -> bool:
    """Whether the cell that an answer is for holds the place; False where it does not say which cell it is."""
    try:
        geometry = document.table(document.load(answer, who=WHO), "geometry", who=WHO)
        ring = geometry["coordinates"][0]  # type: ignore[index]
        east, north = np.asarray(ring, dtype=np.float64).T[:2]
    except (ForecastMalformed, KeyError, IndexError, TypeError, ValueError, OverflowError):
        return False
    return bool(east.min() <= longitude_deg <= east.max() and north.min() <= latitude_deg <= north.max())


def _degrees(value: float) -> str:
    # The service takes four decimals at most, and sends callers with zeros at the end elsewhere.
    return f"{value:.4f}".rstrip("0").rstrip(".")


@dataclass(frozen=True, slots=True)
class NationalWeatherService:
    """The grid forecast of the US National Weather Service."""

    name: str = "nws"
    credit: str = CREDIT
    base_url: str = BASE_URL

    def parse(self, raw: bytes, *, fetched_at: datetime) -> Forecast:
        """Read an answer. Raises ForecastMalformed or UnitMismatch."""
        answer = document.load(raw, who=WHO)
        reason = document.reason_of(answer)
        if reason is not None:
            raise ForecastMalformed(f'{WHO} refused: "{reason}".')
        return parse_document(answer, fetched_at=fetched_at)

    def fetch(
        self, request: Request, *, last: RawForecast | None, now: datetime, budget_s: float
    ) -> RawForecast:
        """Ask the cell of the last answer while it holds the site, else ask which cell does, and then it.

        The grid is moved now and then, so that a cell may be elsewhere, over the sea or gone.
        """
        from planner.forecast import http

        deadline = monotonic() + budget_s
        allowed = http.Requests()

        def ask(path: str, kept: RawForecast | None) -> RawForecast:
            return http.get(
                f"{self.base_url}{path}",
                who=WHO,
                contact=request.contact,
                last=kept,
                now=now,
                budget_s=deadline - monotonic(),
                headers={"Accept": "application/geo+json"},
                follow_redirects=True,
                requests=allowed,
            )

        place = (request.latitude_deg, request.longitude_deg)
        cell = self._known_cell(last, *place)
        if cell is not None:
            try:
                answer = ask(cell, last)
            except http.Refused as fault:
                if fault.status != 404:
                    raise
            else:
                if holds(answer.raw, *place):
                    return answer
        try:
            points = ask(f"/points/{_degrees(place[0])},{_degrees(place[1])}", None)
        except http.Refused as fault:
            if fault.status != 404:
                raise
            raise ForecastUnavailable(
                f"The site is outside the United States, or {WHO} does not serve it: {fault} "
            ) from None
        return ask(cell_of(points.raw), last)

    def _known_cell(self, last: RawForecast | None, latitude_deg: float, longitude_deg: float) -> str | None:
        if last is None or not last.url.startswith(f"{self.base_url}/gridpoints/"):
            return None
        path = last.url.removeprefix(self.base_url)
        return path if _CELL.fullmatch(path) and holds(last.raw, latitude_deg, longitude_deg) else None


PROVIDER = NationalWeatherService()
