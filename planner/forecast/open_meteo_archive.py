"""Open-Meteo's archive: past weather by dates, from 1940 on, for replaying the rules against it.

Not one of the services of a pass. Long spans are asked year by year and joined before they are read, so that
the last hour of a year gets its rain from the first label of the next.
"""

from __future__ import annotations

import json
import time
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import UTC, date, datetime, timedelta
from typing import Any
from urllib.parse import urlencode

from planner.errors import ForecastMalformed, InputError
from planner.forecast import document
from planner.forecast.base import Answer, Request
from planner.forecast.open_meteo import (
    CREDIT,
    CREDIT_URL,
    LICENCE,
    UNITS,
    host,
    key_header,
    parse_document,
    place,
)
from planner.weather import Forecast

WHO = "Open-Meteo archive"
FREE_HOST = "https://archive-api.open-meteo.com"
FIRST_DAY = date(1940, 1, 1)
ASKED = (
    "temperature_2m,relative_humidity_2m,dew_point_2m,precipitation,snowfall,wind_speed_10m,wind_gusts_10m,"
    "wind_direction_10m,cloud_cover,shortwave_radiation,et0_fao_evapotranspiration,surface_pressure,"
    "soil_temperature_0_to_7cm,soil_moisture_0_to_7cm"
)


def years(start: date, end: date) -> list[tuple[date, date]]:
    """The span from start to end, both included, in pieces that do not cross a new year."""
    pieces: list[tuple[date, date]] = []
    while start <= end:
        stop = min(end, date(start.year, 12, 31))
        pieces.append((start, stop))
        start = stop + timedelta(days=1)
    return pieces


def join(pieces: Sequence[Any]) -> dict[str, Any]:
    """One answer from several that follow each other; ForecastMalformed when they do not belong together."""
    joined: dict[str, Any] = {}
    for piece in pieces:
        hourly = document.table(piece, "hourly", who=WHO)
        if not joined:
            joined = {**piece, "hourly": {key: list(values) for key, values in hourly.items()}}
            continue
        for key in ("hourly_units", "elevation", "utc_offset_seconds"):
            if piece.get(key) != joined.get(key):
                raise ForecastMalformed(
                    f"The yearly answers of {WHO} do not belong together: {key} is {piece.get(key)!r} in "
                    "one and "
                    f"{joined.get(key)!r} in another."
                )
        so_far: Mapping[str, list[Any]] = joined["hourly"]
        if set(hourly) != set(so_far):
            names = ", ".join(sorted(set(hourly) ^ set(so_far)))
            raise ForecastMalformed(f"The yearly answers of {WHO} do not list the same: {names}.")
        for key, values in hourly.items():
            so_far[key].extend(values)
    return joined


@dataclass(frozen=True, slots=True)
class OpenMeteoArchive:
    """Past weather by dates."""

    name: str = "open-meteo-archive"
    credit: str = CREDIT
    credit_url: str = CREDIT_URL
    licence: str = LICENCE
    base_url: str = FREE_HOST

    def parse(self, raw: bytes, *, fetched_at: datetime) -> Forecast:
        """Read an answer, joined or not. Raises ForecastMalformed or UnitMismatch."""
        return parse_document(document.load(raw, who=WHO), fetched_at=fetched_at, provider=self.name)

    def url(self, request: Request, start: date, end: date) -> str:
        """What is asked for the days from start to end, both included."""
        query = {
            **place(request),
            "start_date": start.isoformat(),
            "end_date": end.isoformat(),
            "hourly": ASKED,
            **UNITS,
            **({} if request.model == "best_match" else {"models": request.model}),
        }
        return f"{host(self.base_url, request)}/v1/archive?{urlencode(query, safe=',')}"

    def fetch(self, request: Request, *, start: date, end: date, now: datetime, budget_s: float) -> Answer:
        """Past weather from start to end, both included, as one answer.

        One day more is asked for, as the sum of the last hour stands under the label after it. Raises
        InputError for a span that is not in the past, else the errors of the service.
        """
        from planner.forecast import http

        if not FIRST_DAY <= start <= end <= now.astimezone(UTC).date():
            raise InputError(
                f"Past weather from {start} to {end} cannot be asked for: give two days between "
                f"{FIRST_DAY} and "
                f"{now.astimezone(UTC).date()}, the earlier first."
            )
        begun = time.monotonic()
        pieces = years(start, min(end + timedelta(days=1), now.astimezone(UTC).date()))
        answers: list[Answer] = []
        for index, (first, last) in enumerate(pieces):
            share_s = (budget_s - (time.monotonic() - begun)) / (len(pieces) - index)
            answers.append(
                http.get(
                    self.url(request, first, last),
                    who=WHO,
                    contact=request.contact,
                    last=None,
                    now=now,
                    budget_s=share_s,
                    headers=key_header(request),
                )
            )
        if len(answers) == 1:
            return answers[0]
        joined = join([document.load(answer.raw, who=WHO) for answer in answers])
        return replace(
            answers[-1], raw=json.dumps(joined).encode(), etag=None, last_modified=None, expires=None
        )


PROVIDER = OpenMeteoArchive()
