"""A weather file handed to a command: a service's raw answer, or a CSV of hours."""

from __future__ import annotations

from collections.abc import Mapping
from datetime import datetime
from pathlib import Path

from planner.errors import ForecastMalformed, InputError
from planner.forecast import document
from planner.terms import require_aware
from planner.weather import Forecast

#: What a grid of the US National Weather Service holds, and MET Norway's answer does not.
_NWS = frozenset({"gridId", "updateTime", "validTimes", "quantitativePrecipitation"})


def read_file(path: str | Path, *, fetched_at: datetime) -> Forecast:
    """The forecast in a file.

    A JSON file is recognised by its keys: an answer of any service that can be asked, also when wrapped with
    its status and headers. Anything else is read as CSV with a `time` column. Raises InputError when there is
    no such file, ForecastMalformed or UnitMismatch when it cannot be read.
    """
    path = Path(path)
    require_aware(fetched_at, "the time at which the file is taken as fetched")
    try:
        raw = path.read_bytes()
    except OSError as fault:
        raise InputError(
            f"The weather file {path} cannot be opened ({fault.strerror or fault}). Check the name after "
            "--forecast."
        ) from None
    return read_bytes(raw, name=path.name, fetched_at=fetched_at)


def read_bytes(raw: bytes, *, name: str, fetched_at: datetime) -> Forecast:
    """As `read_file`, from the bytes of a file called `name`."""
    raw = raw.removeprefix(b"\xef\xbb\xbf")
    if raw.lstrip()[:1] in (b"{", b"["):
        return _read_json(document.load(raw, who=name), name=name, fetched_at=fetched_at)
    try:
        text = raw.decode("utf-8")
    except UnicodeDecodeError as fault:
        raise ForecastMalformed(f"{name} is neither JSON nor a CSV in UTF-8 (byte {fault.start}).") from None
    if not text.strip():
        raise ForecastMalformed(f"{name} is empty.")
    if text.lstrip().startswith("<"):
        raise ForecastMalformed(f"{name} is a web page, not weather: {document.looks_like(raw)}.")
    from planner.forecast.csv_hours import read_hours

    return Forecast(
        weather=read_hours(text, name=name),
        provider="file",
        issued_at=None,
        fetched_at=fetched_at,
        credit=f"Weather from the file {name}",
        credit_url="",
        licence="as the file's owner says",
    )


def _read_json(answer: object, *, name: str, fetched_at: datetime) -> Forecast:
    if isinstance(answer, Mapping) and "data" in answer and "status_code" in answer:
        status = answer["status_code"]
        if status not in (200, 203):
            raise ForecastMalformed(f"{name} is a recorded answer with status {status}, not a forecast.")
        answer = answer["data"]
    properties = answer.get("properties") if isinstance(answer, Mapping) else None
    if isinstance(properties, Mapping) and "timeseries" not in properties and not _NWS.isdisjoint(properties):
        from planner.forecast import nws

        return nws.parse_document(answer, fetched_at=fetched_at)
    if isinstance(properties, Mapping):
        from planner.forecast import met_norway

        return met_norway.parse_document(answer, fetched_at=fetched_at)
    reason = document.reason_of(answer)
    if reason is not None:
        raise ForecastMalformed(f'{name} is a refusal, not a forecast. The service said: "{reason}".')
    if isinstance(answer, Mapping) and "weather" in answer and "sources" in answer:
        from planner.forecast import brightsky

        return brightsky.parse_document(answer, fetched_at=fetched_at)
    first = answer[0] if isinstance(answer, list) and answer else answer
    if isinstance(first, Mapping) and "hourly" in first:
        hourly = first["hourly"]
        if isinstance(hourly, Mapping) and any("_member" in str(key) for key in hourly):
            from planner.forecast import open_meteo_ensemble

            return open_meteo_ensemble.parse_document(answer, fetched_at=fetched_at)
        from planner.forecast import open_meteo

        return open_meteo.parse_document(answer, fetched_at=fetched_at)
    keys = ", ".join(map(str, first)) if isinstance(first, Mapping) else type(first).__name__
    raise ForecastMalformed(
        f"{name} is JSON of no layout known here (found: {keys or 'nothing'}). Known: an hourly answer of "
        "Open-Meteo, plain or ensemble, MET Norway's location forecast, the grid of the US National Weather "
        "Service and the weather of Bright Sky."
    )
