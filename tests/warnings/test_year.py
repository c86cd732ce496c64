"""A year of real weather, sown every fortnight, under a perfect forecast: everything that washed was told in time.

Every rain event whose observed chance of wash asks for care while seed lies open was warned of with at least 12 h
lead; at most one message for each event and change.
"""

from __future__ import annotations

import json
import re
from collections import defaultdict
from collections.abc import Iterator
from dataclasses import dataclass, replace
from datetime import UTC, date, datetime, timedelta

import numpy as np
import pytest

from planner.actions.one_pass import assess
from planner.actions.pass_input import Record, carried
from planner.config.load import Config
from planner.diary.timeline import from_json
from planner.forecast.tables import from_station_table
from planner.indices.past import Day
from planner.planning.conditions import conditions_of
from planner.site import Sowing
from planner.warnings.life import News, WarningState, body
from planner.weather import HourlyWeather
from tests.made import ROOT, config, forecast

TABLE = ROOT / "fixtures" / "published" / "frankfurt_2024_hourly.csv"
ELEVATION_M = 112.0
H = timedelta(hours=1)
SURFACE = "apron strip"
EVERY_H = 6
#: The shipped threshold of care.
CARE = 0.4
WHAT = re.compile(r"now \w+|begins \d+ h|(stronger|weaker): \d")


def frankfurt() -> HourlyWeather:
    """Hours of the station; a hole is filled with the hour before, since the figure is about a perfect forecast."""
    raw = from_station_table(TABLE, elevation_m=ELEVATION_M)
    columns = {}
    for name in raw:
        column = raw[name].copy()
        known = np.where(~np.isnan(column[0]), np.arange(raw.hours), 0)
        columns[name] = column[:, np.maximum.accumulate(known)]
    return HourlyWeather.from_columns(epoch_s=raw.epoch_s.tolist(), columns=columns)


def ground(every_days: int, first: datetime) -> Config:
    found = config(jobs=(), wanted=())
    site = replace(
        found.site, latitude_deg=50.03, longitude_deg=8.53, elevation_m=ELEVATION_M, timezone="Europe/Berlin"
    )
    grass = site.surface(SURFACE).grass
    sowings = tuple(
        Sowing(surface=SURFACE, at=first + timedelta(days=day), grass=grass)
        for day in range(0, 350, every_days)
    )
    return replace(found, site=site, sowings=sowings)


@dataclass(frozen=True)
class Event:
    """Hours of one rain event that carry an observed chance at or above the threshold of care."""

    begins: datetime
    ends: datetime
    chance: float


def observed(weather: HourlyWeather, found: Config) -> Iterator[Event]:
    quantities = conditions_of(weather, found.site, now=weather.start, sowings=found.sowings).surfaces[
        SURFACE
    ]
    chance, rain = quantities["wash_chance"][0], quantities["rain_mm"][0]
    number = quantities["rain_event"][0]
    for event in np.unique(number[(chance >= CARE) & (number > 0)]):
        hours = np.flatnonzero((number == event) & (chance >= CARE))
        wet = hours[rain[hours] >= max(0.5, 0.1 * rain[hours].max())]
        yield Event(
            begins=weather.time(int(wet[0])),
            ends=weather.time(int(hours[-1]) + 1),
            chance=float(chance[hours].max()),
        )


@dataclass(frozen=True)
class Replayed:
    """What was told over the year, and from when to when each warning stood, with the hours it spoke of."""

    told: list[tuple[datetime, News]]
    stood: dict[str, list[tuple[datetime, datetime, datetime, float]]]


def replay(weather: HourlyWeather, found: Config) -> Replayed:
    states: dict[str, WarningState] = {}
    told: list[tuple[datetime, News]] = []
    stood: dict[str, list[tuple[datetime, datetime, datetime, float]]] = defaultdict(list)
    past: dict[date, Day] = {}
    now = weather.start + 72 * H
    while now < weather.end - 8 * 24 * H:
        seen = forecast(weather.cut(now - 72 * H, now + 8 * 24 * H), now)
        briefing = assess(found, seen, now=now, record=Record(past=past, standing=tuple(states.values())))
        past = from_json(json.loads(carried(past, briefing.plan.conditions.sky, found, now))["days"])
        assert briefing.life is not None
        states |= {one.id: one for one in briefing.life.states}
        told += [(now, news) for news in briefing.life.news]
        for one in briefing.notices:
            if one.kind == "wash" and one.ends is not None:
                stood[one.id].append((now, one.begins, one.ends, one.strength))
        now += EVERY_H * H
    return Replayed(told, stood)


@pytest.fixture(scope="module")
def year() -> HourlyWeather:
    return frankfurt()


@pytest.fixture(scope="module")
def replayed(year: HourlyWeather) -> tuple[Replayed, list[Event]]:
    found = ground(14, datetime(2024, 1, 5, 9, tzinfo=UTC))
    last = year.end - 8 * 24 * H
    events = [event for event in observed(year, found) if year.start + 96 * H < event.begins < last]
    return replay(year, found), events


@pytest.mark.replay
def test_every_event_that_washed_was_told_twelve_hours_ahead(replayed: tuple[Replayed, list[Event]]) -> None:
    life, events = replayed
    assert len(events) >= 4, "the year must hold storms, or the test proves nothing"
    leads = []
    for event in events:
        warned = [
            at
            for rows in life.stood.values()
            for at, begins, ends, strength in rows
            if begins < event.ends and event.begins < ends and strength >= CARE
        ]
        assert warned, f"{event} was never warned of"
        leads.append((event.begins - min(warned)) / H)
    assert min(leads) >= 12.0, leads
    print(f"events {len(events)}, leads {sorted(round(lead) for lead in leads)} h")  # noqa: T201


@pytest.mark.replay
def test_at_most_one_message_for_each_event_and_change(replayed: tuple[Replayed, list[Event]]) -> None:
    life, _ = replayed
    keys = [(news.id, news.change) for _, news in life.told]
    assert len(keys) == len(set(keys))
    by_warning: dict[str, list[News]] = defaultdict(list)
    for _, news in life.told:
        by_warning[news.id].append(news)
    for rows in by_warning.values():
        words = [news.state for news in rows]
        assert words[0] == "raised"
        # Under a perfect forecast nothing is ever withdrawn and raised again.
        assert words.count("raised") <= 1, [body(news) for news in rows]
        assert words.count("over") <= 1
        # A change says what changed: a level, an onset, a named step of strength.
        changes = [news.what for news in rows if news.state in ("changed", "eased")]
        assert all(WHAT.search(what) for what in changes), changes
        # A drought lasts for weeks, and its level follows each hot spell.
        assert len(rows) <= (8 if rows[0].notice.kind == "wilt" else 6), [
            (news.state, news.what) for news in rows
        ]
    counts = {
        kind: sum(news.notice.kind == kind for _, news in life.told)
        for kind in ("wash", "frost", "seed_stress")
    }
    print(f"warnings {len(by_warning)}, messages {counts}")  # noqa: T201


@pytest.mark.replay
def test_only_sown_ground_is_warned_of(replayed: tuple[Replayed, list[Event]]) -> None:
    life, _ = replayed
    assert {news.notice.surface for _, news in life.told if news.notice.kind == "wash"} == {SURFACE}
