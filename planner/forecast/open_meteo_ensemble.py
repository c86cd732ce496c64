"""Open-Meteo's ensemble: the forecast many times over, for the chance of things. A second, optional call.

The control has the bare name, the others `_memberNN`. How many there are is read from the answer.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from datetime import datetime

import numpy as np

from planner.errors import ForecastMalformed
from planner.forecast import document, open_meteo
from planner.forecast.base import RawForecast, Request
from planner.forecast.hourly import blank_rain_beyond_reach, native_step_h
from planner.forecast.open_meteo_list import CONTROL, SPELLINGS, HourlyList
from planner.weather import NEEDED, Array, Forecast, HourlyWeather

WHO = "Open-Meteo ensemble"
FREE_HOST = "https://ensemble-api.open-meteo.com"
ASKED = (
    "temperature_2m,relative_humidity_2m,precipitation,wind_speed_10m,wind_gusts_10m,wind_direction_10m,"
    "cloud_cover,shortwave_radiation"
)
#: A member whose list ends this much before the others' is of an older run.
_BEHIND_H = 24
#: Fewer hours than this may stand still by chance.
_FROZEN_H = 12


def parse_document(
    answer: object, *, fetched_at: datetime, provider: str = "open-meteo-ensemble"
) -> Forecast:
    """The forecast of all members, columns of shape (members, hours). Raises ForecastMalformed, UnitMismatch.

    A member that is empty, stands still or lags behind the others is left out, with a note.
    """
    listed = HourlyList.of(answer, who=WHO)
    listed.require_one_model()
    listed_members = {name: listed.column(name) for name in SPELLINGS}
    numbers = sorted(listed_members["air_temp_c"])
    if not numbers:
        raise ForecastMalformed(f"The answer of {WHO} has no temperature_2m: ask for it.")
    notes: list[str] = []
    kept = _kept_members(listed_members, numbers, notes)
    columns: dict[str, Array] = {}
    for name, members in listed_members.items():
        if all(number in members for number in kept):
            columns[name] = np.stack([members[number] for number in kept])
        elif CONTROL in members:
            columns[name] = members[CONTROL][np.newaxis]
            notes.append(f"{name} comes from the control alone and shared by all members")
    notes += blank_rain_beyond_reach(columns)
    rain = columns.get("rain_mm")
    steps = native_step_h(listed.labels, rain) if rain is not None else None
    return Forecast(
        weather=HourlyWeather.from_columns(epoch_s=listed.labels.tolist(), columns=columns, step_h=steps),
        provider=provider,
        issued_at=None,
        fetched_at=fetched_at,
        credit=open_meteo.CREDIT,
        credit_url=open_meteo.CREDIT_URL,
        licence=open_meteo.LICENCE,
        notes=tuple(notes),
    )


def _kept_members(
    listed_members: dict[str, dict[int, Array]], numbers: list[int], notes: list[str]
) -> list[int]:
    ends = {number: _last_known(listed_members["air_temp_c"][number]) for number in numbers}
    usual_end = float(np.median([end for end in ends.values() if end >= 0] or [0]))
    kept: list[int] = []
    for number in numbers:
        why = _fault(listed_members, number)
        if why is None and ends[number] < usual_end - _BEHIND_H:
            why = f"ends {usual_end - ends[number]:.0f} h before the others, so it is of an older run"
        if why is None:
            kept.append(number)
        else:
            notes.append(f"member {number if number != CONTROL else '0 (the control)'} is left out: it {why}")
    if not kept:
        raise ForecastMalformed(f"No member of {WHO} can be used: {'; '.join(notes)}. Ask again later.")
    return kept


def _fault(listed_members: dict[str, dict[int, Array]], number: int) -> str | None:
    for name in NEEDED:
        members = listed_members[name]
        if number in members and bool(np.isnan(members[number]).all()):
            return f"has no value of {name}"
        # A column that only some members carry leaves the rest without; one that only the control carries is
        # shared.
        if number not in members and len(members) > 1:
            return f"lacks {name}"
    temp = listed_members["air_temp_c"][number]
    known = temp[~np.isnan(temp)]
    if known.size >= _FROZEN_H and bool((known == known[0]).all()):
        return f"stands still at {known[0]:g} °C through {known.size} hours"
    return None


def _last_known(values: Array) -> int:
    known = np.flatnonzero(~np.isnan(values))
    return int(known[-1]) if known.size else -1


@dataclass(frozen=True, slots=True)
class OpenMeteoEnsemble:
    """The members of one ensemble model."""

    name: str = "open-meteo-ensemble"
    credit: str = open_meteo.CREDIT
    base_url: str = FREE_HOST

    def parse(self, raw: bytes, *, fetched_at: datetime) -> Forecast:
        """Read an answer. Raises ForecastMalformed or UnitMismatch."""
        return parse_document(document.load(raw, who=WHO), fetched_at=fetched_at, provider=self.name)

    def url(self, request: Request) -> str:
        """What is asked."""
        return open_meteo.url_of(
            self.base_url,
            "ensemble",
            request,
            hourly=ASKED,
            models=request.ensemble_model,
            **open_meteo.days_asked(request),
        )

    def fetch(
        self, request: Request, *, last: RawForecast | None, now: datetime, budget_s: float
    ) -> RawForecast:
        """Ask for all members."""
        answer = open_meteo.ask(self.url(request), request, who=WHO, last=last, now=now, budget_s=budget_s)
        return replace(answer, issued_at=None, notes=())


PROVIDER = OpenMeteoEnsemble()
