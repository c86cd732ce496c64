"""Soil temperature from the air."""

from __future__ import annotations

import numpy as np
import pytest

from planner.indices.soil_temp import (
    daily_wave,
    hourly_soil_temp_c,
    smoothed_soil_temp_c,
    trailing_day_mean_c,
)
from tests.indices.made import quantities, weather


def test_soil_follows_a_step() -> None:
    soil = smoothed_soil_temp_c(np.full(8, 20.0), 10.0)
    np.testing.assert_allclose(soil[[0, 1, 2, 7]], [12.5, 14.375, 15.78, 19.0], atol=0.01)


def test_hours_reach_the_same_as_days() -> None:
    hours = smoothed_soil_temp_c(np.full(48, 20.0), 10.0, steps_per_day=24)
    np.testing.assert_allclose(hours[[23, 47]], [12.5, 14.375], atol=1e-9)


def test_daily_wave_at_five_and_ten_centimetres() -> None:
    np.testing.assert_allclose(daily_wave(0.05), [0.653, 1.6], atol=0.06)
    np.testing.assert_allclose(daily_wave(0.10), [0.426, 3.3], atol=0.06)
    assert np.isnan(daily_wave(5.0)[0])


def test_soil_wave_is_damped_and_late() -> None:
    hour = np.arange(24 * 8)
    air = (12 + 6 * np.sin(hour / 24 * 2 * np.pi))[None, :]
    soil = hourly_soil_temp_c(air)[0, -24:]
    share, _ = daily_wave(0.06)
    assert np.ptp(soil) / 12.0 == pytest.approx(share, abs=0.1)
    assert (int(np.argmax(soil)) - int(np.argmax(air[0, -24:]))) % 24 in (1, 2, 3)
    assert soil.mean() == pytest.approx(12.0, abs=0.2)


def test_gap_is_unknown_and_leaves_the_soil_as_it_was() -> None:
    air = np.array([10.0, np.nan, 10.0])
    soil = smoothed_soil_temp_c(air, 10.0)
    assert np.isnan(soil[1])
    assert soil[2] == 10.0
    assert np.isnan(hourly_soil_temp_c(np.full((1, 30), np.nan))).all()


def test_short_run_of_hours() -> None:
    assert hourly_soil_temp_c(np.array([[10.0]])).shape == (1, 1)


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
