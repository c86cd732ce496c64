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

from planner.errors import ForecastMalformed, InputError
from planner.forecast import document, open_meteo
from planner.forecast.base import RawForecast, Request
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


def join(pieces: Sequence[object]) -> dict[str, object]:
    """One answer from several that follow each other; ForecastMalformed when they do not belong together."""
    joined: dict[str, object] = {}
    lists: dict[str, list[object]] = {}
    for piece in pieces:
        hourly = document.table(piece, "hourly", who=WHO)
        assert isinstance(piece, Mapping)
        found = {key: list(values) if isinstance(values, list) else [] for key, values in hourly.items()}
        if not joined:
            lists = found
            joined = {**piece, "hourly": lists}
            continue
        for key in ("hourly_units", "elevation", "utc_offset_seconds"):
            if piece.get(key) != joined.get(key):
                raise ForecastMalformed(
                    f"The yearly answers of {WHO} do not belong together: {key} is {piece.get(key)!r} in "
                    f"one and {joined.get(key)!r} in another."
                )
        if set(found) != set(lists):
            names = ", ".join(sorted(set(found) ^ set(lists)))
            raise ForecastMalformed(f"The yearly answers of {WHO} do not list the same: {names}.")
        for key, values in found.items():
            lists[key].extend(values)
    return joined


@dataclass(frozen=True, slots=True)
class OpenMeteoArchive:
    """Past weather by dates."""

    name: str = "open-meteo-archive"
    credit: str = open_meteo.CREDIT
    base_url: str = FREE_HOST

    def parse(self, raw: bytes, *, fetched_at: datetime) -> Forecast:
        """Read an answer, joined or not. Raises ForecastMalformed or UnitMismatch."""
        return open_meteo.parse_document(
            document.load(raw, who=WHO), fetched_at=fetched_at, provider=self.name
        )

    def url(self, request: Request, start: date, end: date) -> str:
        """What is asked for the days from start to end, both included."""
        return open_meteo.url_of(
            self.base_url,
            "archive",
            request,
            start_date=start.isoformat(),
            end_date=end.isoformat(),
            hourly=ASKED,
            **open_meteo.model_asked(request),
        )

    def fetch(
        self, request: Request, *, start: date, end: date, now: datetime, budget_s: float
    ) -> RawForecast:
        """Past weather from start to end, both included, as one answer.

        One day more is asked for, as the sum of the last hour stands under the label after it. Raises
        InputError for a span that is not in the past, else the errors of the service.
        """
        if not FIRST_DAY <= start <= end <= now.astimezone(UTC).date():
            raise InputError(
                f"Past weather from {start} to {end} cannot be asked for: give two days between {FIRST_DAY} "
                f"and {now.astimezone(UTC).date()}, the earlier first."
            )
        begun = time.monotonic()
        pieces = years(start, min(end + timedelta(days=1), now.astimezone(UTC).date()))
        answers: list[RawForecast] = []
        for index, (first, last) in enumerate(pieces):
            share_s = (budget_s - (time.monotonic() - begun)) / (len(pieces) - index)
            url = self.url(request, first, last)
            answers.append(open_meteo.ask(url, request, who=WHO, last=None, now=now, budget_s=share_s))
        if len(answers) == 1:
            return answers[0]
        joined = join([document.load(answer.raw, who=WHO) for answer in answers])
        return replace(
            answers[-1], raw=json.dumps(joined).encode(), etag=None, last_modified=None, expires=None
        )


PROVIDER = OpenMeteoArchive()
