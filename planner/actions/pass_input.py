"""What is on record at a moment, as a pass takes it: diary entries, readings, kept days, and where warnings stand."""

from __future__ import annotations

import json
from collections.abc import Mapping
from dataclasses import dataclass, field
from datetime import date, datetime, timedelta
from typing import TYPE_CHECKING

import msgspec

from planner.actions.messages import standing_of
from planner.config.load import Config
from planner.diary.book import Book, book_of
from planner.diary.entry import StoredEntry
from planner.diary.grass_nights import Expected, kept_nights
from planner.diary.grass_nights import as_json as nights_as_json
from planner.diary.grass_nights import from_json as nights_from_json
from planner.diary.observations import Observation
from planner.diary.timeline import KEEP_DAYS, as_json, days_of, from_json, kept
from planner.errors import ForecastError
from planner.forecast import provider, read_answer
from planner.indices.past import Day
from planner.indices.quantities import Quantities
from planner.planning.conditions import conditions_of
from planner.store.forecasts import KeptForecast
from planner.warnings.life import WarningState
from planner.weather import HourlyWeather

if TYPE_CHECKING:
    from planner.store.store import Store

#: Name of the part that carries the kept days from pass to pass.
PAST_DAYS = "past-days"
#: Name of the part that carries what the last pull found wrong.
LAST_PULL = "last-pull"
#: Name of the part that carries what was expected of nights gone by.
GRASS_NIGHTS = "grass-nights"
#: What the store's figures may round off of a moment.
_SAME_MOMENT = timedelta(seconds=1)
#: How far back days are looked for in kept forecasts when no pass has carried them, and in which strides.
_LOOK_BACK_DAYS = 60
_STRIDE_DAYS = 2


@dataclass(frozen=True, slots=True, kw_only=True)
class Record:
    """What a pass needs to know beside config and weather."""

    entries: tuple[StoredEntry, ...] = ()
    observations: tuple[Observation, ...] = ()
    past: Mapping[date, Day] = field(default_factory=dict)
    nights: Expected = field(default_factory=dict)
    standing: tuple[WarningState, ...] = ()


@dataclass(frozen=True, slots=True, kw_only=True)
class Pull:
    """How the services were last asked, and what came of it."""

    at: datetime | None
    failed: bool
    """Whether none of them gave a forecast."""
    faults: tuple[str, ...]


def last_pull(store: Store, heard_at: datetime) -> Pull:
    """How the last pull went, as the newest pass has it; nothing is wrong where a forecast was heard since."""
    found = store.part(LAST_PULL)
    pull = None if found is None else msgspec.json.decode(found.body, type=Pull)
    if pull is None or (pull.at is not None and heard_at - pull.at > _SAME_MOMENT):
        return Pull(at=None, failed=False, faults=())
    return pull


def record_of(store: Store, config: Config, now: datetime) -> Record:
    """What the store holds for a pass made now."""
    return Record(
        entries=store.entries(since=now - timedelta(days=KEEP_DAYS)),
        observations=tuple(
            stored.observation for stored in store.observations(since=now - timedelta(days=KEEP_DAYS))
        ),
        past=past_days(store, config, now),
        nights=_nights(store),
        standing=standing_of(store.warnings()),
    )


def book(config: Config, record: Record) -> Book:
    """Config and diary in one."""
    return book_of(
        site=config.site,
        grasses=config.grasses,
        materials=config.materials,
        entries=[(stored.uuid, stored.entry) for stored in record.entries],
        done=config.done,
        sowings=config.sowings,
        observations=(*config.readings, *record.observations),
    )


def past_days(store: Store, config: Config, now: datetime) -> dict[date, Day]:
    """Days of weather kept by the newest pass; without one, those that kept forecasts still tell."""
    carried = store.part(PAST_DAYS)
    if carried is not None:
        return from_json(json.loads(carried.body)["days"])
    days: dict[date, Day] = {}
    today = now.astimezone(config.site.zone).date()
    for back in range(_LOOK_BACK_DAYS, -1, -_STRIDE_DAYS):
        at = now - timedelta(days=back)
        for name in config.forecast.providers:
            found = store.last_forecast(name, at)
            # A forecast from long before tells nothing about these days.
            if found is None or at - found.fetched_at > timedelta(days=_STRIDE_DAYS):
                continue
            weather = weather_of(found)
            if weather is not None:
                sky = conditions_of(weather, config.site, now=at).sky
                days = kept(days, _days_under(sky, config), min(today, at.date()))
    return days


def carried(past: Mapping[date, Day], sky: Quantities, config: Config, now: datetime) -> bytes:
    """The kept days with those of a new forecast, as the pass carries them on."""
    today = now.astimezone(config.site.zone).date()
    fresh = _days_under(sky, config)
    return json.dumps({"days": as_json(kept(past, fresh, today))}, separators=(",", ":")).encode()


def _days_under(sky: Quantities, config: Config) -> dict[date, Day]:
    return days_of(sky.weather, config.site.zone, sky["soil_temp_c"], sky["et0_hour_mm"])


def _nights(store: Store) -> Expected:
    """What was expected of nights gone by, as the newest pass has it."""
    found = store.part(GRASS_NIGHTS)
    return {} if found is None else nights_from_json(json.loads(found.body)["nights"])


def carried_nights(past: Expected, fresh: Expected, config: Config, now: datetime) -> bytes:
    """The nights kept with those of a new forecast, as the pass carries them on."""
    nights = kept_nights(past, fresh, now.astimezone(config.site.zone).date())
    return json.dumps({"nights": nights_as_json(nights)}, separators=(",", ":")).encode()


def weather_of(found: KeptForecast) -> HourlyWeather | None:
    """The weather in a kept forecast; None when it cannot be read any more."""
    try:
        return read_answer(provider(found.provider), found).weather
    except ForecastError:
        return None
