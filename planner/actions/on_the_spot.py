"""A verdict for this moment: the needs of a job, held against what was just measured where it is to be done."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace
from datetime import datetime, timedelta
from typing import TYPE_CHECKING

import numpy as np
from typing_extensions import TypedDict

from planner.actions.one_pass import assess
from planner.actions.pass_input import Record, record_of
from planner.actions.pulling import kept_forecast
from planner.config.load import Config
from planner.diary.observations import ON_THE_SPOT, Observation
from planner.errors import Contradiction, NotThere
from planner.indices.humidity import pressure_at_hpa, wet_bulb_c
from planner.margin import EPS, STATES, State
from planner.planning.plan import Judged
from planner.planning.suitability import judge
from planner.reports.sentences import clause, held_against, sentence
from planner.reports.verdicts import missing, nitrogen_held
from planner.rules.job import Job
from planner.rules.limit import Limit
from planner.site import Surface
from planner.units import KMH_PER_MS, WIND_2M_PER_10M
from planner.weather import Forecast, HourlyWeather

if TYPE_CHECKING:
    from planner.store.forecasts import KeptForecast
    from planner.store.store import Store


class Verdict(TypedDict):
    """What holds for a job on a surface at the moment of a reading. It approves nothing: the label comes first."""

    job: str
    label: str
    surface: str
    at: datetime
    state: State
    limiting: str | None
    """The id of the need that limits; null where nothing could be judged."""
    says: str
    against: list[str]
    """Every need that fails, in words."""
    not_read: list[str]
    """Needs whose figure is not known."""
    measured: dict[str, float]
    """What stood in for the forecast's figures of that hour, by its name."""
    cautions: list[str]


def asked(config: Config, job: str, surface: str) -> tuple[Job, Surface]:
    """The job and the surface a verdict is asked for. NotThere or Contradiction for what does not fit."""
    found = config.job(job)
    places = found.surfaces_of(config.site)
    if surface:
        place = config.site.surface(surface)
        if not found.runs_on(place):
            names = ", ".join(one.name for one in places) or "none"
            raise NotThere(f"{found.label} is not done on {place.name}. Its surfaces here: {names}.")
        return found, place
    if len(places) != 1:
        names = ", ".join(one.name for one in places) or "none"
        raise Contradiction(f"Name the surface that {found.label} is to be done on: {names}.")
    return found, places[0]


def verdict(
    config: Config, store: Store, told: Observation, job: Job, surface: Surface, now: datetime
) -> Verdict:
    """The job judged as beginning at the moment of the reading, on the kept forecast.

    Of the hour of that moment the measured figures count and not the forecast's. Hours after it, and what was
    not measured, such as gusts, stay the forecast's.
    """
    measured = {name: told.figures[name] for name in ON_THE_SPOT if name in told.figures}
    found = Verdict(
        job=job.name,
        label=job.label,
        surface=surface.name,
        at=told.at.astimezone(config.site.zone),
        state="unread",
        limiting=None,
        says="Not known: no forecast is kept for this hour. Make a pass with haysel refresh.",
        against=[],
        not_read=[],
        measured=measured,
        cautions=list(job.cautions_on(surface)),
    )
    kept = kept_forecast(config, store, now)
    if kept is None:
        return _by_measured_alone(found, config, job, surface)
    weather = kept.forecast.weather
    if not weather.start <= told.at < weather.end:
        return _by_measured_alone(found, config, job, surface)
    seen = store.last_forecast(kept.forecast.provider)
    record = record_of(store, config, now)
    stale_at, judged, hour = begun_at(
        config, kept.forecast, record, job, surface, told.at, measured, now=now, stale=kept.stale, seen=seen
    )
    if now >= stale_at:
        found["says"] = "Not known: the forecast is stale, and the needs look beyond this hour."
        return found
    return _in_words(found, judged, hour)


def _by_measured_alone(found: Verdict, config: Config, job: Job, surface: Surface) -> Verdict:
    """The verdict without a forecast: what was measured can bar the job by itself, and can never let it."""
    known = dict(found["measured"])
    air, humidity_pct = known.get("air_temp_c"), known.get("rel_humidity_pct")
    if air is not None and humidity_pct is not None:
        pressure = pressure_at_hpa(config.site.elevation_m)
        known["delta_t_k"] = air - float(wet_bulb_c(air, humidity_pct, pressure))
    for need in job.needs_on(surface):
        if not isinstance(need, Limit) or need.when not in ("start", "during") or need.quantity not in known:
            continue
        value = known[need.quantity]
        is_low = need.hard_min is not None and value < need.hard_min
        if is_low or (need.hard_max is not None and value > need.hard_max):
            found["against"].append(f"{clause(need, value)}: {held_against(need, value)}")
            if found["state"] != "barred":
                found["state"], found["limiting"] = "barred", need.id
                found["says"] = sentence("barred", need, value)
    return found


def begun_at(
    config: Config,
    forecast: Forecast,
    record: Record,
    job: Job,
    surface: Surface,
    at: datetime,
    measured: Mapping[str, float],
    *,
    now: datetime,
    stale: bool = False,
    seen: KeptForecast | None = None,
) -> tuple[datetime, Judged, int]:
    """The job begun at a moment within the forecast, with what was measured in its hour.

    Gives when the forecast is stale, the job judged, and the index of the hour. `seen` is the forecast as it
    first came.
    """
    weather = forecast.weather
    hour = weather.index(at)
    assessment = assess(
        replace(config, jobs=(job,), wanted=tuple(one for one in config.wanted if one.job == job.name)),
        replace(forecast, weather=_with_measured(weather, hour, measured)),
        now=now,
        stale=stale,
        record=record,
        seen_at=None if seen is None else seen.fetched_at,
    )
    whole = next(one for one in assessment.plan.judged if one.surface.name == surface.name)
    attempt = replace(whole.attempt, offset_h=(at - weather.time(hour)) / timedelta(hours=1))
    judged = replace(whole, attempt=attempt, suitability=judge(whole.job, surface, attempt))
    return assessment.stale_at, judged, hour


def _in_words(found: Verdict, judged: Judged, hour: int) -> Verdict:
    suitability = judged.suitability
    state, row = STATES[suitability.state[hour]], int(suitability.limiting[hour])
    need, value = suitability.needs[row], suitability.value(row, hour)
    gone = missing(judged, need, hour) if state == "unread" else ""
    says = sentence(state, need, value, gone=gone, held=nitrogen_held(judged, need, hour))
    against, not_read = [], []
    for number, each in enumerate(suitability.needs):
        margin, figure = suitability.margin[number, hour], suitability.value(number, hour)
        if np.isnan(margin):
            not_read.append(each.label)
        elif margin < -EPS:
            against.append(f"{clause(each, figure)}: {held_against(each, figure)}")
    clock = found["at"]
    return {
        **found,
        "state": state,
        "limiting": need.id,
        "says": f"Measured at {clock:%H:%M}. {says}",
        "against": against,
        "not_read": not_read,
    }


def _with_measured(weather: HourlyWeather, hour: int, measured: Mapping[str, float]) -> HourlyWeather:
    """The weather with the measured figures in the hour they were measured."""
    figures = dict(measured)
    wind_kmh = figures.pop("wind_2m_kmh", None)
    if wind_kmh is not None:
        figures["wind_10m_ms"] = wind_kmh / KMH_PER_MS / WIND_2M_PER_10M
    return weather.with_hour(hour, figures)
