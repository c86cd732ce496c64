"""A forecast file handed to a command: how old it is, as far as it tells, and whether it is of this place."""

from __future__ import annotations

import json
from collections.abc import Mapping
from dataclasses import replace
from datetime import UTC, datetime, timedelta
from email.utils import parsedate_to_datetime
from pathlib import Path
from typing import Any, NamedTuple

from planner.forecast.usable import apart_km
from planner.site import Site
from planner.terms import short_date
from planner.weather import Forecast

#: A forecast for a place further off than this is noted as one of another place: grids of global models are
#: about 25 km wide. Judgement.
_FAR_KM = 25.0
#: A JSON object as it was parsed.
Document = Mapping[str, Any]


class Filed(NamedTuple):
    """A forecast from a file, as it is judged."""

    forecast: Forecast
    age_known: bool


def filed(forecast: Forecast, path: Path, *, now: datetime, site: Site) -> Filed:
    """The forecast of that file as it stands at `now`, with notes on its age and place."""
    answer, headers = _document(path)
    made = _fetched(answer, headers) or forecast.issued_at
    notes = list(forecast.notes)
    if made is None:
        begins = forecast.weather.start
        ago = (now - begins) / timedelta(days=1)
        local = begins.astimezone(site.zone)
        notes.append(
            f"{path.name} does not tell when this forecast was made: its age is not known. Its hours begin "
            f"{short_date(local)} {local:%Y %H:%M}, {ago:.1f} days before the time it is judged at."
        )
    far_km = apart_km(answer, site.latitude_deg, site.longitude_deg)
    if far_km is not None and far_km > _FAR_KM:
        notes.append(
            f"{path.name} is a forecast for a place {far_km:,.0f} km from {site.name}: check that it is the "
            "file you want."
        )
    fetched_at = now if made is None else min(made, now)
    return Filed(replace(forecast, fetched_at=fetched_at, notes=tuple(notes)), age_known=made is not None)


def _document(path: Path) -> tuple[Document, Document]:
    """The answer in a JSON file and its headers where they were recorded; both empty for a table."""
    raw = path.read_bytes().removeprefix(b"\xef\xbb\xbf")
    if raw.lstrip()[:1] not in (b"{", b"["):
        return {}, {}
    answer = json.loads(raw)
    headers: Document = {}
    if isinstance(answer, Mapping) and "data" in answer and isinstance(answer.get("headers"), Mapping):
        headers = {str(name).lower(): value for name, value in answer["headers"].items()}
    if isinstance(answer, Mapping) and "data" in answer:
        answer = answer["data"]
    if isinstance(answer, list) and answer:
        answer = answer[0]
    return (answer if isinstance(answer, Mapping) else {}), headers


def _fetched(answer: Document, headers: Document) -> datetime | None:
    """When the answer was given: the header Date, else the moment of its `current` block (to 15 minutes)."""
    date = headers.get("date")
    if isinstance(date, str):
        try:
            return parsedate_to_datetime(date).astimezone(UTC)
        except ValueError:
            pass
    current = answer.get("current")
    at = current.get("time") if isinstance(current, Mapping) else None
    shift = answer.get("utc_offset_seconds", 0)
    try:
        if isinstance(at, str):
            return datetime.fromisoformat(at).replace(tzinfo=UTC) - timedelta(seconds=float(shift))
        return None if at is None else datetime.fromtimestamp(float(at), UTC)
    except (TypeError, ValueError, OverflowError, OSError):
        return None
