"""Soil temperature from the air."""

from __future__ import annotations

from datetime import UTC, date, datetime, timedelta

import numpy as np
import pytest

from planner.indices.past import Day
from planner.indices.soil_temp import (
    SOIL_TEMP,
    aged_mean_c,
    daily_soil_temp_c,
    daily_wave,
    hourly_soil_temp_c,
    soil_terms,
    trailing_day_mean_c,
)
from planner.weather import Array
from tests.indices.made import START, quantities, weather

NOON = datetime(2025, 4, 2, 10, tzinfo=UTC)


def hourly(air: Array, daily: Array, depth_m: float = 0.06) -> Array:
    return hourly_soil_temp_c(air, daily, np.arange(air.shape[1]) / 24.0, depth_m)


def test_older_days_weigh_less_and_missing_ones_nothing() -> None:
    # By hand: weights 1 and 1/e a day apart at one day, the middle day of three not known.
    fade = np.exp(-1.0)
    np.testing.assert_allclose(aged_mean_c([10.0, 20.0], 1.0)[1], (10 * fade + 20) / (fade + 1))
    found = aged_mean_c([10.0, np.nan, 20.0], 1.0)
    np.testing.assert_allclose(found, [10.0, 10.0, (10 * fade**2 + 20) / (fade**2 + 1)])
    assert np.isnan(aged_mean_c([np.nan, 5.0], 3.0)[0])
    np.testing.assert_allclose(aged_mean_c(np.full((2, 50), 7.0), 25.0), 7.0)


def test_cold_air_reaches_the_soil_in_part() -> None:
    near, season, _ = soil_terms(np.full(40, -10.0), 45.0, np.arange(1, 41))
    np.testing.assert_allclose((near, season), -10.0 * SOIL_TEMP.below_freezing)
    warm, _, sun = soil_terms(np.full(40, 10.0), 45.0, np.arange(172, 212))
    np.testing.assert_allclose(warm, 10.0)
    # FAO-56, table 2.6 (from memory): 42 MJ/m2 a day at 46 N in June.
    assert sun[0] * 0.0864 == pytest.approx(41.9, abs=0.4)


def test_soil_is_warmer_under_a_high_sun_and_after_a_warm_season() -> None:
    air = np.full(60, 14.0)
    june, december = (daily_soil_temp_c(air, 52.0, np.full(60, day))[-1] for day in (172, 355))
    assert june - december == pytest.approx(SOIL_TEMP.sun_k_per_wm2 * (480 - 89), abs=0.2)
    turned = np.concatenate([np.full(57, 20.0), np.full(3, 14.0)])
    assert daily_soil_temp_c(turned, 52.0, np.full(60, 172))[-1] > june + 2.0


def test_daily_wave_at_five_and_ten_centimetres() -> None:
    np.testing.assert_allclose(daily_wave(0.05), [0.653, 1.6], atol=0.06)
    np.testing.assert_allclose(daily_wave(0.10), [0.426, 3.3], atol=0.06)
    assert np.isnan(daily_wave(5.0)[0])


def test_soil_wave_is_damped_and_late() -> None:
    hour = np.arange(24 * 8)
    air = (12 + 6 * np.sin(hour / 24 * 2 * np.pi))[None, :]
    soil = hourly(air, np.full((1, 8), 15.0))[0, 48:-24]
    share, _ = daily_wave(0.06)
    assert np.ptp(soil) / 12.0 == pytest.approx(share, abs=0.01)
    assert (int(np.argmax(soil[:24])) - int(np.argmax(air[0, 48:72]))) % 24 == 2
    assert soil[:48].mean() == pytest.approx(15.0, abs=1e-6)
    deeper = hourly(air, np.full((1, 8), 15.0), 0.10)[0, 48:-24]
    assert np.ptp(deeper) < np.ptp(soil)


def test_hours_of_a_warming_week_keep_the_means_of_its_days() -> None:
    daily = np.arange(8.0, 16.0)[None, :]
    air = np.repeat(daily[0], 24)[None, :]
    soil = hourly(air, daily)[0].reshape(8, 24).mean(axis=1)
    np.testing.assert_allclose(soil[1:-1], daily[0, 1:-1], atol=0.1)


def test_gap_is_unknown_and_the_hours_beside_it_are_not() -> None:
    air = np.full((1, 72), 10.0)
    air[0, 30] = np.nan
    soil = hourly(air, np.full((1, 3), 12.0))
    assert np.flatnonzero(np.isnan(soil[0])).tolist() == [30, 32]
    assert np.isnan(hourly(np.full((1, 30), np.nan), np.full((1, 2), np.nan))).all()


def test_short_run_of_hours() -> None:
    for hours in (1, 5, 30):
        soil = quantities(weather(hours))["soil_temp_c"]
        assert soil.shape == (1, hours)
        assert not np.isnan(soil).any()


def test_days_kept_before_the_hours_count_as_hours_would() -> None:
    """A pass that holds three past days and has kept the others tells what one with all hours tells."""
    rng = np.random.default_rng(4)
    hours = 24 * 70
    air = 12 + 6 * np.sin((np.arange(hours) - 8) / 24 * 2 * np.pi) + np.repeat(rng.normal(0, 4, 70), 24)
    begin = START - timedelta(days=1)
    whole = weather(hours, start=begin, air_temp_c=air)
    q = quantities(whole)
    means = q.days.mean_of_known(whole["air_temp_c"])[0]
    past = {
        day: Day(air_c=float(mean), soil_c=0.0, rain_mm=0.0, hours=24)
        for day, mean in zip(q.days.dates[:67], means, strict=False)
    }
    cut = whole.cut(begin + timedelta(days=67), whole.end)
    as_run = quantities(cut, past=past)["soil_temp_c"][0]
    bare = quantities(cut)["soil_temp_c"][0]
    truth = q["soil_temp_c"][0, 24 * 67 :]
    assert np.abs(as_run - truth)[14:].max() < 0.15
    assert np.abs(bare - truth)[14:].max() > 0.5


def test_season_reaches_the_soil_of_a_pass_through_the_kept_days() -> None:
    made = weather(24 * 5, soil_temp_6cm_c=None, air_temp_c=12.0)
    first = START.date()

    def kept(air_c: float) -> dict[date, Day]:
        days = (first - timedelta(days=number) for number in range(1, 60))
        return {day: Day(air_c=air_c, soil_c=air_c, rain_mm=0.0, hours=24) for day in days}

    cold, warm = (quantities(made, past=kept(air))["soil_temp_c"][0, -1] for air in (2.0, 18.0))
    # By hand: five days at 12 C after sixty at another, both weights as fitted.
    near, season = (np.exp(-5 / days) for days in (SOIL_TEMP.near_days, SOIL_TEMP.season_days))
    assert warm - cold == pytest.approx(16.0 * (SOIL_TEMP.near * near + SOIL_TEMP.season * season), abs=0.6)


def test_forecast_soil_comes_first_and_the_model_fills_its_gaps() -> None:
    given = np.full(48, 9.0)
    given[30:] = np.nan
    soil = quantities(weather(48, soil_temp_6cm_c=given))["soil_temp_c"][0]
    assert (soil[:30] == 9.0).all()
    assert not np.isnan(soil[30:]).any()
    assert (soil[30:] != 9.0).any()


def test_mean_of_the_day_up_to_each_hour() -> None:
    air = np.arange(72.0)[None, :] % 24.0
    out = trailing_day_mean_c(air)
    np.testing.assert_allclose(out[0, 23:], 11.5)
    assert (np.abs(out - 11.5) < 6.1).all()
    air[0, 30] = np.nan
    assert not np.isnan(trailing_day_mean_c(air)).any()
    assert np.isnan(trailing_day_mean_c(np.full((1, 48), np.nan))).all()
