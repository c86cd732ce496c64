"""What is on record at a moment, as a pass takes it: diary entries, kept days, and where warnings stand."""

from __future__ import annotations

import json
from collections.abc import Mapping
from dataclasses import dataclass, field
from datetime import date, datetime, timedelta
from typing import TYPE_CHECKING

from planner.config.load import Config
from planner.diary.book import Book, book_of
from planner.diary.timeline import KEEP_DAYS, Day, as_json, days_of, from_json, kept
from planner.errors import ForecastError
from planner.forecast import Answer, provider, read_answer
from planner.notices.life import Standing
from planner.store.records import KeptForecast, StoredEntry
from planner.telling import standing_of
from planner.weather import Array, HourlyWeather

if TYPE_CHECKING:
    from planner.store import Store

#: Name of the answer that carries the kept days from pass to pass.
PAST_DAYS = "past-days"
#: Name of the answer that carries what the last pull found wrong.
LAST_PULL = "last-pull"
#: What the store's figures may round off of a moment.
_SAME_MOMENT = timedelta(seconds=1)
#: How far back days are looked for in kept forecasts when no pass has carried them, and in which strides.
_LOOK_BACK_DAYS = 60
_STRIDE_DAYS = 2


@dataclass(frozen=True, slots=True, kw_only=True)
class Record:
    """What a pass needs to know beside config and weather."""

    entries: tuple[StoredEntry, ...] = ()
    past: Mapping[date, Day] = field(default_factory=dict)
    standing: tuple[Standing, ...] = ()


@dataclass(frozen=True, slots=True, kw_only=True)
class Pull:
    """How the services were last asked, and what came of it."""

    at: datetime | None
    failed: bool
    """Whether none of them gave a forecast."""
    faults: tuple[str, ...]

    def encoded(self) -> bytes:
        """As a pass carries it on."""
        at = None if self.at is None else self.at.isoformat()
        told = {"at": at, "failed": self.failed, "faults": list(self.faults)}
        return json.dumps(told, separators=(",", ":"), ensure_ascii=False).encode()


def last_pull(store: Store, heard_at: datetime) -> Pull:
    """How the last pull went, as the newest pass tells; nothing is wrong where a forecast was heard since."""
    found = store.answer(LAST_PULL)
    told = None if found is None else json.loads(found.body)
    at = None if told is None or told["at"] is None else datetime.fromisoformat(told["at"])
    if told is None or (at is not None and heard_at - at > _SAME_MOMENT):
        return Pull(at=None, failed=False, faults=())
    return Pull(at=at, failed=bool(told["failed"]), faults=tuple(told["faults"]))


def record_of(store: Store, config: Config, now: datetime) -> Record:
    """What the store holds for a pass made now."""
    return Record(
        entries=store.entries(since=now - timedelta(days=KEEP_DAYS)),
        past=past_days(store, config, now),
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
    )


def past_days(store: Store, config: Config, now: datetime) -> dict[date, Day]:
    """Days of weather kept by the newest pass; without one, those that kept forecasts still tell."""
    carried = store.answer(PAST_DAYS)
    if carried is not None:
        told = json.loads(carried.body)
        # Days of another place are no days of this one.
        return from_json(told["days"]) if told["place"] == _place(config) else {}
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
                days = kept(days, days_of(weather, config.site.zone), min(today, at.date()))
    return days


def carried(
    past: Mapping[date, Day], weather: HourlyWeather, soil_c: Array, config: Config, now: datetime
) -> bytes:
    """The kept days with those of a new forecast, as the pass carries them on."""
    today = now.astimezone(config.site.zone).date()
    fresh = days_of(weather, config.site.zone, soil_c)
    told = {"place": _place(config), "days": as_json(kept(past, fresh, today))}
    return json.dumps(told, separators=(",", ":")).encode()


def _place(config: Config) -> list[float | str]:
    """What makes days those of another place."""
    site = config.site
    return [round(site.latitude_deg, 2), round(site.longitude_deg, 2), site.timezone]


def weather_of(found: KeptForecast) -> HourlyWeather | None:
    """The weather in a kept forecast; None when it cannot be read any more."""
    answer = Answer(raw=found.body, url=found.url, fetched_at=found.fetched_at, issued_at=found.issued_at)
    try:
        return read_answer(provider(found.provider), answer).weather
    except ForecastError:
        return None
