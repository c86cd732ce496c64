"""Bright Sky: observations and station forecasts of the German weather service (DWD). https://brightsky.dev/

Air temperature, dew point, humidity, cloud and pressure are readings at the label. Rain, its chance, radiation,
wind and gust are of the hour that ENDS at the label and are moved to the row of that hour. The answer declares no
units: they are asked for by name (`units=dwd`).
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Mapping
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta
from urllib.parse import urlencode

import numpy as np

from planner.errors import ForecastMalformed, ForecastUnavailable
from planner.forecast import document
from planner.forecast.base import RawForecast, Request
from planner.forecast.hourly import (
    FIRST_LABEL_S,
    LAST_LABEL_S,
    Labels,
    blank_rain_beyond_reach,
    from_hour_end,
    pressure_at_site_hpa,
)
from planner.units import convert
from planner.weather import HOUR_S, VARIABLE, Array, Forecast, HourlyWeather

WHO = "Bright Sky"
CREDIT = "Data: Deutscher Wetterdienst (DWD), by way of Bright Sky"
CREDIT_URL = "https://www.dwd.de/"
LICENCE = "terms of use of the DWD: name the source"
BASE_URL = "https://api.brightsky.dev"

#: Our column, the service's name for it and its unit under `units=dwd`: readings at the label.
INSTANT: Mapping[str, tuple[str, str]] = {
    "air_temp_c": ("temperature", "C"),
    "dew_point_c": ("dew_point", "C"),
    "rel_humidity_pct": ("relative_humidity", "%"),
    "cloud_pct": ("cloud_cover", "%"),
    "pressure_hpa": ("pressure_msl", "hPa"),
}
#: The same: of the hour that ends at the label.
HOUR_END: Mapping[str, tuple[str, str]] = {
    "rain_mm": ("precipitation", "mm"),
    "rain_chance_pct": ("precipitation_probability", "%"),
    "wind_10m_ms": ("wind_speed", "km/h"),
    "wind_dir_deg": ("wind_direction", "degrees"),
    "gust_10m_ms": ("wind_gust_speed", "km/h"),
    "shortwave_wm2": ("solar", "kWh/m2/h"),
}
#: Over an hour; a forecast of ten days and three months before it.
LONGEST_LIST = 24 * 110


@dataclass(frozen=True, slots=True)
class Station:
    """Whom most of the hours are from."""

    name: str
    latitude_deg: float | None
    longitude_deg: float | None
    height_m: float | None
    distance_m: float | None


def parse_document(answer: object, *, fetched_at: datetime) -> Forecast:
    """The forecast in a decoded answer. Raises ForecastMalformed or UnitMismatch."""
    reason = document.reason_of(answer)
    if reason is not None:
        raise ForecastMalformed(f'{WHO} refused: "{reason}".')
    records = _records(answer)
    labels = _labels(records)
    columns: dict[str, Array] = {}
    for column, (name, unit) in {**INSTANT, **HOUR_END}.items():
        where = f'"{name}" of {WHO}'
        listed = [record.get(name) for record in records]
        if all(value is None for value in listed) and not VARIABLE[column].needed:
            continue
        values = convert(
            document.numbers(listed, length=len(listed), where=where),
            unit,
            VARIABLE[column].unit,
            where=where,
        )
        columns[column] = from_hour_end(values, labels) if column in HOUR_END else values
    station = station_of(answer)
    notes = [*_reduce_pressure(columns, station), *blank_rain_beyond_reach(columns)]
    if station is not None and station.distance_m is not None:
        height = "" if station.height_m is None else f", at {station.height_m:g} m"
        notes.append(
            f"most hours are those of {station.name}, {station.distance_m / 1e3:.1f} km away{height}"
        )
    return Forecast(
        weather=HourlyWeather.from_columns(epoch_s=labels, columns=columns),
        provider="bright-sky",
        issued_at=None,
        fetched_at=fetched_at,
        credit=CREDIT,
        credit_url=CREDIT_URL,
        licence=LICENCE,
        notes=tuple(notes),
    )


def _records(answer: object) -> list[Mapping[str, object]]:
    if not isinstance(answer, Mapping):
        raise ForecastMalformed(f"The answer of {WHO} is a {type(answer).__name__}, not an object.")
    listed = answer.get("weather")
    if not isinstance(listed, list):
        keys = ", ".join(map(str, answer)) or "none"
        raise ForecastMalformed(f'The answer of {WHO} has no list "weather". Its keys: {keys}.')
    if not listed:
        raise ForecastMalformed(f"The answer of {WHO} holds no hour at all.")
    if len(listed) > LONGEST_LIST:
        raise ForecastMalformed(f"The answer of {WHO} lists {len(listed)} hours: is it a forecast?")
    for index, record in enumerate(listed):
        if not isinstance(record, Mapping):
            raise ForecastMalformed(f"Hour {index + 1} of {WHO} is a {type(record).__name__}, not an object.")
    return listed


def _labels(records: list[Mapping[str, object]]) -> Labels:
    labels = np.asarray([_label(record.get("timestamp")) for record in records], dtype=np.int64)
    if (np.diff(labels) <= 0).any():
        raise ForecastMalformed(f"The hours of {WHO} are out of order, or one is there twice.")
    return labels


def _label(text: object) -> int:
    try:
        moment = datetime.fromisoformat(str(text))
        label = moment.timestamp()
    except (ValueError, OverflowError):
        raise ForecastMalformed(f"A time of {WHO} is {text!r:.60}, not a time.") from None
    if moment.tzinfo is None:
        raise ForecastMalformed(f"A time of {WHO} is {text!r:.60}, which has no zone.")
    if label % HOUR_S or not FIRST_LABEL_S <= label <= LAST_LABEL_S:
        raise ForecastMalformed(f"A time of {WHO} is {text!r:.60}: a full hour of 1850 to 2200 was expected.")
    return int(label)


def station_of(answer: object) -> Station | None:
    """The station that most hours are from, or whose forecast they are; None where the answer tells none."""
    if not isinstance(answer, Mapping):
        return None
    sources, records = answer.get("sources"), answer.get("weather")
    if not isinstance(sources, list) or not isinstance(records, list):
        return None
    used = Counter(
        str(record.get("source_id"))
        for record in records
        if isinstance(record, Mapping) and "source_id" in record
    )
    told = {str(source.get("id")): source for source in sources if isinstance(source, Mapping)}
    for number, _ in used.most_common():
        source = told.get(number)
        if source is not None:
            return Station(
                str(source.get("station_name")),
                *(document.number(source.get(key)) for key in ("lat", "lon", "height", "distance")),
            )
    return None


def _reduce_pressure(columns: dict[str, Array], station: Station | None) -> list[str]:
    if "pressure_hpa" not in columns:
        return []
    if station is None or station.height_m is None:
        del columns["pressure_hpa"]
        return ["pressure is left out: it is of sea level, and the answer gives no height of the station"]
    columns["pressure_hpa"] = pressure_at_site_hpa(
        columns["pressure_hpa"], columns["air_temp_c"], station.height_m
    )
    return [f"pressure is reduced from sea level to {station.height_m:g} m"]


@dataclass(frozen=True, slots=True)
class BrightSky:
    """Observations and forecasts of the German weather service, as Bright Sky hands them on."""

    name: str = "bright-sky"
    credit: str = CREDIT
    base_url: str = BASE_URL

    def parse(self, raw: bytes, *, fetched_at: datetime) -> Forecast:
        """Read an answer. Raises ForecastMalformed or UnitMismatch."""
        return parse_document(document.load(raw, who=WHO), fetched_at=fetched_at)

    def url(self, request: Request, now: datetime) -> str:
        """What is asked: whole days of UTC, so that a day's pulls ask for the same; the last label is midnight."""
        today = now.astimezone(UTC).date()
        query = {
            "lat": f"{request.latitude_deg:.4f}",
            "lon": f"{request.longitude_deg:.4f}",
            "date": (today - timedelta(days=request.past_days)).isoformat(),
            "last_date": (today + timedelta(days=request.forecast_days)).isoformat(),
            "units": "dwd",
        }
        return f"{self.base_url}/weather?{urlencode(query)}"

    def fetch(
        self, request: Request, *, last: RawForecast | None, now: datetime, budget_s: float
    ) -> RawForecast:
        """Ask for the days gone by and those to come in one call."""
        from planner.forecast import http

        try:
            return http.get(
                self.url(request, now),
                who=WHO,
                contact=request.contact,
                last=last,
                now=now,
                budget_s=budget_s,
            )
        except http.Refused as fault:
            if fault.status != 404:
                raise
            raise ForecastUnavailable(
                f"The German weather service has no station within 50 km of the site, or no hour of these days: "
                f"{fault}"
            ) from None


PROVIDER = BrightSky()
