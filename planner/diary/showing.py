"""Diary entries as JSON and CSV give them, the spray record, and the weather at the time of the work."""

from __future__ import annotations

import math
from collections.abc import Iterable, Mapping
from datetime import UTC, datetime, timedelta
from typing import cast
from zoneinfo import ZoneInfo

import numpy as np
from typing_extensions import TypedDict

from planner.diary.entry import (
    Entry,
    EntryDocument,
    ForecastFigures,
    MaterialRow,
    StoredEntry,
    WeatherFigures,
)
from planner.indices import INDEX
from planner.indices.quantities import Quantities
from planner.site import Site
from planner.terms import in_utc
from planner.weather import Array, HourlyWeather

MEASURED = "measured"


class EntryRow(TypedDict):
    """One entry as JSON: every field of a document, so that an absent one reads as null and not as forgotten."""

    uuid: str
    revision: int
    job: str
    kind: str
    counts_as: str | None
    surface: str
    started: datetime
    finished: datetime
    operator: str
    notes: str
    materials: list[MaterialRow] | None
    area_m2: float | None
    water_l: float | None
    water_mm: float | None
    target: str | None
    cover_pct: float | None
    tackifier: bool | None
    grass: str | None
    cut_height_mm: float | None
    leaf_length_mm: float | None
    licence: str | None
    outcome: str | None
    outcome_note: str | None
    measured: WeatherFigures | None
    weather: ForecastFigures | None
    filled_in: list[str] | None
    written_at: datetime
    withdrawn: bool
    reason: str


class SprayRecord(TypedDict):
    """The record of one product put out: fields in order, and those that are missing by name."""

    uuid: str
    revision: int
    fields: dict[str, str | None]
    missing: list[str]


def entry_row(stored: StoredEntry, zone: ZoneInfo) -> EntryRow:
    """One entry, times on the site's clock."""
    entry = stored.entry
    fields = {
        "uuid": stored.uuid,
        "revision": stored.revision,
        "job": entry.job,
        "kind": entry.kind,
        "surface": entry.surface,
        "started": entry.started_at.astimezone(zone),
        "finished": entry.finished_at.astimezone(zone),
        "operator": entry.operator,
        "notes": entry.notes,
        **{name: entry.document.get(name) for name in EntryDocument.__annotations__},
        "written_at": stored.written_at.astimezone(UTC),
        "withdrawn": stored.withdrawn,
        "reason": stored.reason,
    }
    return cast(EntryRow, fields)


def flat_row(stored: StoredEntry, zone: ZoneInfo) -> dict[str, object]:
    """One entry on one level, for CSV; what is not known is None."""
    whole = entry_row(stored, zone)
    row: dict[str, object] = {
        name: value.isoformat().replace("+00:00", "Z") if isinstance(value, datetime) else value
        for name, value in whole.items()
        if not isinstance(value, dict | list)
    }
    row["materials"] = "; ".join(
        f"{one['name']} {one['amount']:g} {one['unit']}" for one in whole["materials"] or ()
    )
    row["filled_in"] = "; ".join(whole["filled_in"] or ())
    for name in ("measured", "weather"):
        row.pop(name, None)
    for name, (value, source) in weather_figures(stored.entry).items():
        row[name] = value
        row[f"{name}_from"] = source
    return row


def weather_figures(entry: Entry) -> dict[str, tuple[float | None, str | None]]:
    """Weather of the hours, each figure with where it is from: measured before forecast, else not known."""
    measured: Mapping[str, object] = entry.document.get("measured") or {}
    forecast: Mapping[str, object] = entry.document.get("weather") or {}
    figures: dict[str, tuple[float | None, str | None]] = {}
    for name in FIGURES:
        figures[name] = (None, None)
        for known, source in ((measured, MEASURED), (forecast, str(forecast.get("source", "")))):
            value = known.get(name)
            if isinstance(value, int | float):
                figures[name] = (float(value), source)
                break
    return figures


def belongs_on_record(entry: Entry) -> bool:
    """Whether it is use of a pesticide, or may be: a licence, a registration, a spray of unknown content."""
    rows = entry.document.get("materials") or []
    if any(row.get("needs_licence") or row.get("registration") for row in rows):
        return True
    return entry.kind == "spraying" and (not rows or any("needs_licence" not in row for row in rows))


def spray_records(entries: Iterable[StoredEntry], site_name: str, zone: ZoneInfo) -> list[SprayRecord]:
    """The record of each product put out."""
    records = []
    for stored in entries:
        rows: list[MaterialRow] | list[None] = stored.entry.document.get("materials") or [None]
        for row in rows:
            fields = _fields(stored.entry, row, site_name, zone)
            missing = [name for name, value in fields.items() if value is None]
            records.append(
                SprayRecord(uuid=stored.uuid, revision=stored.revision, fields=fields, missing=missing)
            )
    return records


def _fields(entry: Entry, row: MaterialRow | None, site_name: str, zone: ZoneInfo) -> dict[str, str | None]:
    begun, done = entry.started_at.astimezone(zone), entry.finished_at.astimezone(zone)
    weather, document = weather_figures(entry), entry.document
    unit = "" if row is None else row["unit"]
    return {
        "Product, as on its label": None if row is None else row.get("product") or None,
        "Registration number": None if row is None else row.get("registration") or None,
        "Material (own name)": None if row is None else row["name"] or None,
        "Place": f"{site_name}, {entry.surface}",
        "Target or purpose": document.get("target") or None,
        "Area treated": _figure(document.get("area_m2"), "m²"),
        "Rate": _figure(None if row is None else row.get("rate_per_ha"), f"{unit}/ha"),
        "Product used": _figure(None if row is None else row.get("amount"), unit),
        "Water used": _figure(document.get("water_l"), "L"),
        "Date": f"{begun:%Y-%m-%d}",
        "Started": f"{begun:%H:%M %Z}",
        "Ended": f"{done:%H:%M %Z}" if done.date() == begun.date() else f"{done:%Y-%m-%d %H:%M %Z}",
        "Wind at 2 m": _sourced(weather["wind_2m_kmh"], "km/h"),
        "Wind from": _sourced(weather["wind_dir_deg"], "degrees"),
        "Air temperature": _sourced(weather["air_temp_c"], "C"),
        "Relative humidity": _sourced(weather["rel_humidity_pct"], "%"),
        "Delta T": _sourced(weather["delta_t_k"], "K"),
        "Keep off for": _figure(None if row is None else row.get("reentry_h"), "h"),
        "Applicator": entry.operator or None,
        "Licence number": document.get("licence") or None,
    }


def _figure(value: float | None, unit: str) -> str | None:
    return None if value is None else f"{value:g} {unit}".strip()


def _sourced(figure: tuple[float | None, str | None], unit: str) -> str | None:
    value, source = figure
    return None if value is None else f"{value:g} {unit} ({source})"


#: How this weather is marked wherever it is shown.
NOT_MEASURED = "forecast, not measured"
FIGURES: tuple[str, ...] = tuple(WeatherFigures.__annotations__)


def weather_at(weather: HourlyWeather, site: Site, begin: datetime, end: datetime) -> ForecastFigures | None:
    """Figures of the hours touched: means, direction as a mean of arrows, rain as a sum.

    None when the forecast holds none of the hours; null for a figure that is not known.
    """
    first = weather.index(begin)
    last = max(first, weather.index(max(begin, end - timedelta(microseconds=1))))
    if last < 0 or first >= weather.hours:
        return None
    sky = Quantities(weather, site, INDEX, now=begin)
    hours = slice(max(first, 0), last + 1)
    hour = in_utc(weather.time(hours.start))
    figures = {name: _of_hours(name, sky[name][:, hours]) for name in FIGURES}
    return cast(ForecastFigures, {"source": NOT_MEASURED, "hour": hour, **figures})


def _of_hours(name: str, values: Array) -> float | None:
    if name == "rain_mm":
        value = float(values.sum(axis=1).mean())
    elif name == "wind_dir_deg":
        east, north = np.sin(np.radians(values)).mean(), np.cos(np.radians(values)).mean()
        value = float(np.degrees(np.arctan2(east, north)) % 360.0)
    else:
        value = float(values.mean())
    return round(value, 1) if math.isfinite(value) else None
