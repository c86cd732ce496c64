"""Soil water and soil temperature through pass after pass of a store, as the service runs them."""

from __future__ import annotations

from collections.abc import Iterator
from datetime import UTC, datetime, timedelta
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from planner.actions import one_pass
from planner.actions.one_pass import Passed
from planner.diary.observations import Observation
from planner.forecast import Fetched
from planner.reports.surface_rows import GroundRow
from planner.store.store import Store
from planner.weather import HourlyWeather
from tests.made import config, forecast, weather

D, H = timedelta(days=1), timedelta(hours=1)
FIRST = datetime(2026, 6, 1, 5, tzinfo=UTC)
BEGIN = FIRST.replace(hour=0) - 3 * D
FOUND = config(quiet_hours=None, wanted=(), outputs=())
GREEN = FOUND.site.surface("green")
DRY: dict[str, Any] = {"rain_mm": 0.0, "et0_mm": 1.5 / 24, "air_temp_c": 20.0, "soil_temp_6cm_c": np.nan}


@pytest.fixture
def store(tmp_path: Path) -> Iterator[Store]:
    opened = Store.open(str(tmp_path / "store.db"))
    yield opened.bound_to(FOUND.site.key, FOUND.site.place)
    opened.close()


@pytest.fixture
def world(monkeypatch: pytest.MonkeyPatch) -> dict[str, HourlyWeather]:
    """The weather as it came to pass; each pass sees three days back of it and a week ahead."""
    made = {"hours": weather(BEGIN, 24 * 50, **DRY)}

    def fetched_now(*_: Any, now: datetime) -> Fetched:
        begin = now.replace(hour=0) - 3 * D
        hours = made["hours"].cut(begin, begin + 10 * D)
        return Fetched(
            forecast=forecast(hours, now), ensemble=None, answers={}, stale=False, age_h=0.0, faults=()
        )

    monkeypatch.setattr(one_pass, "fetched_now", fetched_now)
    return made


def passes(store: Store, *days: int) -> Passed:
    for day in days:
        passed = one_pass.run(FOUND, store, now=FIRST + day * D, sends=False)
    return passed


def held(store: Store, day: int) -> float:
    """Water over field capacity of the green at the moment of the pass. [mm]"""
    now = FIRST + day * D
    passed_at = one_pass.fetched_now(FOUND, store, now=now)
    record = one_pass.record_of(store, FOUND, now)
    made = one_pass.assess(FOUND, passed_at.forecast, now=now, record=record)
    weather_of = made.plan.conditions.sky.weather
    return float(made.plan.conditions.surfaces["green"]["water_mm"][0, weather_of.index(now)])


def ground(passed: Passed, surface: str = "green") -> GroundRow:
    return next(row for row in passed.report.ground if row.surface == surface)


def test_a_drought_of_three_weeks_is_as_deep_as_by_hand(store, world):
    """Of the 27 mm that 0.15 m of sand hold at field capacity 18 are available; 3.2 mm go a day, less as it dries."""
    world["hours"] = weather(BEGIN, 24 * 50, **(DRY | {"et0_mm": 4.0 / 24}))
    passes(store, *range(21))
    assert held(store, 21) == pytest.approx(-18.0, abs=0.5)
    # A pass by itself, with three past days and no record, reads it half as dry.
    alone = one_pass.assess(
        FOUND, one_pass.fetched_now(FOUND, store, now=FIRST + 21 * D).forecast, now=FIRST + 21 * D
    )
    at = alone.plan.conditions.sky.weather.index(FIRST + 21 * D)
    assert float(alone.plan.conditions.surfaces["green"]["water_mm"][0, at]) > -15.0


def test_a_restart_and_a_gap_of_two_days_change_nothing(store, world, tmp_path):
    passes(store, *range(10))
    before = held(store, 12)
    again = Store.open(str(tmp_path / "store.db")).bound_to(FOUND.site.key, FOUND.site.place)
    assert held(again, 12) == before
    passes(again, 12, 13)
    assert held(again, 13) < before
    again.close()


def test_twelve_millimetres_by_hose_count_ten_days_later_and_may_be_taken_back(store, world):
    passes(store, *range(8))
    dry = held(store, 8)
    given = store.add_observation(
        Observation(at=FIRST + 2 * D, surface="green", figures={"water_mm": 12.0}), FIRST + 8 * D
    )
    # Written down six days late, when those hours are in no forecast any more.
    wet = held(store, 8)
    assert 3.0 < wet - dry <= 12.0
    store.withdraw_observation(given.uuid, FIRST + 8 * D, reason="of another green")
    assert held(store, 8) == dry


def test_a_probe_read_before_the_hours_sets_the_state_and_ends_the_guess(store, world):
    assert ground(passes(store, *range(8))).water_guess.startswith(
        "Soil water is a guess: nothing is on record before Fri 29 May"
    )
    store.add_observation(
        Observation(at=FIRST + 3 * D, surface="green", figures={"soil_moisture_pct": 18.0}), FIRST + 8 * D
    )
    passed = passes(store, 8)
    assert ground(passed).water_guess == ""
    assert ground(passed, "collar").water_guess != ""
    # Field capacity five days ago, 1.2 mm a day since.
    assert held(store, 8) == pytest.approx(-6.0, abs=0.6)


def test_rain_that_fell_while_the_hours_held_it_is_not_forgotten(store, world):
    wet = {**DRY, "rain_mm": {24 * 5 + 12: 20.0}}
    world["hours"] = weather(BEGIN, 24 * 50, **wet)
    passes(store, *range(12))
    # Nine days at 1.2 mm after the rain filled the sand, less in the end. It is in no hours that the last pass sees.
    assert held(store, 11) == pytest.approx(-10.0, abs=1.0)
    wet_held = held(store, 11)
    world["hours"] = weather(BEGIN, 24 * 50, **DRY)
    assert held(store, 11) == wet_held


def test_the_season_reaches_the_soil_through_the_passes(store, world):
    cold = {**DRY, "air_temp_c": dict.fromkeys(range(24 * 20), 4.0)}
    world["hours"] = weather(BEGIN, 24 * 50, **cold)
    passes(store, *range(20))
    now = FIRST + 20 * D
    made = one_pass.assess(
        FOUND,
        one_pass.fetched_now(FOUND, store, now=now).forecast,
        now=now,
        record=one_pass.record_of(store, FOUND, now),
    )
    bare = one_pass.assess(FOUND, one_pass.fetched_now(FOUND, store, now=now).forecast, now=now)
    at = made.plan.conditions.sky.weather.index(now)
    carried, alone = (float(one.plan.conditions.sky["soil_temp_c"][0, at]) for one in (made, bare))
    assert alone - carried > 3.0
