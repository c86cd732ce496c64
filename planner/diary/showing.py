"""Diary entries as JSON and CSV give them, and the record sheet for pesticide use."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from datetime import UTC, datetime
from typing import Any, Protocol
from zoneinfo import ZoneInfo

from planner.diary.book import Noted
from planner.diary.spot import FIGURES

#: Stands on the sheet where nothing is written down.
MISSING = "MISSING"
MEASURED = "measured"


class Kept(Protocol):
    """One revision of an entry, as the store gives it."""

    @property
    def uuid(self) -> str: ...
    @property
    def revision(self) -> int: ...
    @property
    def entry(self) -> Any: ...
    @property
    def written_at(self) -> datetime: ...
    @property
    def withdrawn(self) -> bool: ...
    @property
    def reason(self) -> str: ...


def as_json(kept: Kept, zone: ZoneInfo) -> dict[str, Any]:
    """One entry, times on the site's clock."""
    entry = kept.entry
    return {
        "uuid": kept.uuid,
        "revision": kept.revision,
        "job": entry.job,
        "kind": entry.kind,
        "surface": entry.surface,
        "started": entry.started_at.astimezone(zone).isoformat(),
        "finished": entry.finished_at.astimezone(zone).isoformat(),
        "operator": entry.operator,
        "notes": entry.notes,
        **_document(entry.document),
        "written_at": kept.written_at.astimezone(UTC).isoformat().replace("+00:00", "Z"),
        "withdrawn": kept.withdrawn,
        "reason": kept.reason,
    }


#: Every field of a document, so that an absent one reads as null and not as forgotten.
_DOCUMENT = (
    "materials",
    "area_m2",
    "water_l",
    "target",
    "cover_pct",
    "tackifier",
    "grass",
    "cut_height_mm",
    "leaf_length_mm",
    "licence",
    "measured",
    "weather",
    "filled_in",
)


def _document(document: Mapping[str, Any]) -> dict[str, Any]:
    told = {name: document.get(name) for name in _DOCUMENT}
    return told | {name: value for name, value in document.items() if name not in told}


def flat_row(kept: Kept, zone: ZoneInfo) -> dict[str, Any]:
    """One entry on one level, for CSV; what is not known is None."""
    told = as_json(kept, zone)
    row = {name: value for name, value in told.items() if not isinstance(value, dict | list)}
    row["materials"] = "; ".join(
        f"{one['name']} {one['amount']:g} {one['unit']}" for one in told["materials"] or ()
    )
    row["filled_in"] = "; ".join(told["filled_in"] or ())
    for name in ("measured", "weather"):
        row.pop(name, None)
    for name, (value, source) in spot_figures(kept.entry).items():
        row[name] = value
        row[f"{name}_from"] = source
    return row


def spot_figures(entry: Noted) -> dict[str, tuple[float | None, str | None]]:
    """Weather of the hours, each figure with where it is from: measured before forecast, else not known."""
    measured = entry.document.get("measured") or {}
    forecast = entry.document.get("weather") or {}
    told: dict[str, tuple[float | None, str | None]] = {}
    for name in FIGURES:
        if measured.get(name) is not None:
            told[name] = (float(measured[name]), MEASURED)
        elif forecast.get(name) is not None:
            told[name] = (float(forecast[name]), str(forecast["source"]))
        else:
            told[name] = (None, None)
    return told


def belongs_on_sheet(entry: Noted) -> bool:
    """Whether it is use of a pesticide, or may be: a licence, a registration, a spray of unknown content."""
    rows = entry.document.get("materials") or ()
    if any(row.get("needs_licence") or row.get("registration") for row in rows):
        return True
    return entry.kind == "spraying" and any("needs_licence" not in row for row in rows or [{}])


def record_sheets(kept: Iterable[Kept], site_name: str, zone: ZoneInfo) -> list[dict[str, Any]]:
    """A sheet for each product put out: fields in order, and those that are missing by name."""
    sheets = []
    for one in kept:
        rows: tuple[Mapping[str, Any], ...] = tuple(one.entry.document.get("materials") or ({},))
        for row in rows:
            fields = _fields(one.entry, row, site_name, zone)
            sheets.append(
                {
                    "uuid": one.uuid,
                    "revision": one.revision,
                    "fields": fields,
                    "missing": [name for name, value in fields.items() if value is None],
                }
            )
    return sheets


def _fields(entry: Noted, row: Mapping[str, Any], site_name: str, zone: ZoneInfo) -> dict[str, str | None]:
    begun, done = entry.started_at.astimezone(zone), entry.finished_at.astimezone(zone)
    spot = spot_figures(entry)
    document, unit = entry.document, row.get("unit", "")
    operator = getattr(entry, "operator", "")
    return {
        "Product, as on its label": row.get("product") or None,
        "Registration number": row.get("registration") or None,
        "Material (own name)": row.get("name") or None,
        "Place": f"{site_name}, {entry.surface}",
        "Target or purpose": document.get("target") or None,
        "Area treated": _figure(document.get("area_m2"), "m2"),
        "Rate": _figure(row.get("rate_per_ha"), f"{unit}/ha"),
        "Product used": _figure(row.get("amount"), unit),
        "Water used": _figure(document.get("water_l"), "L"),
        "Date": f"{begun:%Y-%m-%d}",
        "Started": f"{begun:%H:%M %Z}",
        "Ended": f"{done:%H:%M %Z}" if done.date() == begun.date() else f"{done:%Y-%m-%d %H:%M %Z}",
        "Wind at 2 m": _spot(spot["wind_2m_kmh"], "km/h"),
        "Wind from": _spot(spot["wind_dir_deg"], "degrees"),
        "Air temperature": _spot(spot["air_temp_c"], "C"),
        "Relative humidity": _spot(spot["rel_humidity_pct"], "%"),
        "Delta T": _spot(spot["delta_t_k"], "K"),
        "Keep off for": _figure(row.get("reentry_h"), "h"),
        "Applicator": operator or None,
        "Licence number": document.get("licence") or None,
    }


def _figure(value: Any, unit: str) -> str | None:
    return None if value is None else f"{value:g} {unit}".strip()


def _spot(told: tuple[float | None, str | None], unit: str) -> str | None:
    value, source = told
    return None if value is None else f"{value:g} {unit} ({source})"
