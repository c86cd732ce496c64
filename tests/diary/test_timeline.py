"""Days kept from pass to pass, bridged over small holes, unknown over large ones."""

from __future__ import annotations

from datetime import UTC, date, datetime, timedelta
from zoneinfo import ZoneInfo

import numpy as np
import pytest

from planner.diary.timeline import as_json, days_of, from_json, kept, timeline_of
from planner.indices.past import Day
from tests.made import weather

LONDON = ZoneInfo("Europe/London")
START = datetime(2026, 3, 25, tzinfo=UTC)


def day(air_c: float, hours: int = 24) -> Day:
    return Day(air_c=air_c, soil_c=air_c, rain_mm=0.0, hours=hours)


def past(first: date, temps: list[float | None]) -> dict[date, Day]:
    return {first + timedelta(days=n): day(t) for n, t in enumerate(temps) if t is not None}


def test_days_of_a_forecast_are_local_ones_and_the_clock_may_change():
    days = days_of(weather(START, 24 * 7), LONDON)
    assert days[date(2026, 3, 29)].hours == 23
    assert days[date(2026, 3, 28)].hours == 24


def test_a_sum_reaches_further_back_than_the_forecast():
    hours = weather(START, 24 * 4, air_temp_c=12.0)
    old = past(date(2026, 3, 15), [10.0] * 10)
    timeline = timeline_of(old, hours, LONDON)
    summed = timeline.since(datetime(2026, 3, 15, tzinfo=LONDON), lambda air: air)
    assert summed[0] == pytest.approx(100.0)
    assert summed[24] == pytest.approx(112.0)
    assert summed[36] == pytest.approx(118.0)


def test_a_day_of_23_hours_counts_as_one_day():
    timeline = timeline_of({}, weather(START, 24 * 7, air_temp_c=10.0), LONDON)
    begin, end = datetime(2026, 3, 28, tzinfo=LONDON), datetime(2026, 3, 31, tzinfo=LONDON)
    assert timeline.between(begin, end, lambda air: air) == pytest.approx(30.0)


def test_two_missing_days_are_bridged_and_three_are_not():
    hours = weather(START, 24 * 4, air_temp_c=16.0)
    begin = datetime(2026, 3, 20, tzinfo=LONDON)
    bridged = timeline_of(past(date(2026, 3, 20), [10.0, 10.0, 10.0]), hours, LONDON)
    assert bridged.since(begin, lambda air: air)[0] == pytest.approx(30.0 + 12.0 + 14.0)
    broken = timeline_of(past(date(2026, 3, 20), [10.0, 10.0]), hours, LONDON)
    assert np.isnan(broken.since(begin, lambda air: air)[0])


def test_nothing_is_known_before_the_moment():
    timeline = timeline_of({}, weather(START, 48), LONDON)
    summed = timeline.since(START + timedelta(hours=30), lambda air: air)
    assert np.isnan(summed[:30]).all()
    assert summed[30] == 0.0


def test_a_moment_beyond_reach_is_unknown():
    timeline = timeline_of({}, weather(START, 48), LONDON)
    assert np.isnan(timeline.since(datetime(2020, 1, 1, tzinfo=UTC), lambda air: air)).all()


def test_kept_days_come_back_from_json_as_they_were():
    days = past(date(2026, 3, 20), [1.25, None, -3.5])
    days[date(2026, 3, 23)] = Day(air_c=float("nan"), soil_c=4.0, rain_mm=float("nan"), hours=0)
    told = from_json(as_json(days))
    assert as_json(told) == as_json(days)
    assert np.isnan(told[date(2026, 3, 23)].air_c)


def test_days_that_a_former_version_kept_are_read_without_use_and_moisture():
    told = from_json({"2026-03-20": [9.0, 8.0, 1.5, 24]})[date(2026, 3, 20)]
    assert (told.air_c, told.rain_mm, told.hours) == (9.0, 1.5, 24)
    assert np.isnan(told.et0_mm)
    assert np.isnan(told.moisture_m3m3)


def test_use_and_moisture_of_a_day_are_kept():
    hours = weather(START, 24 * 3, soil_moisture_m3m3=0.31)
    days = days_of(hours, LONDON, et0_hour_mm=np.full((1, 72), 0.1))
    told = from_json(as_json(days))[date(2026, 3, 26)]
    assert told.et0_mm == pytest.approx(2.4)
    assert told.moisture_m3m3 == pytest.approx(0.31)


def test_a_newer_forecast_replaces_a_day_and_a_cut_one_does_not():
    today = date(2026, 3, 26)
    old = {date(2026, 3, 24): day(5.0), date(2026, 3, 25): day(5.0)}
    fresh = {date(2026, 3, 24): day(9.0, hours=10), date(2026, 3, 25): day(9.0), date(2026, 3, 29): day(9.0)}
    told = kept(old, fresh, today)
    assert {n: one.air_c for n, one in told.items()} == {date(2026, 3, 24): 5.0, date(2026, 3, 25): 9.0}


def test_days_older_than_the_season_go():
    old = {date(2024, 1, 1): day(5.0), date(2026, 3, 1): day(5.0)}
    assert list(kept(old, {}, date(2026, 3, 26))) == [date(2026, 3, 1)]
