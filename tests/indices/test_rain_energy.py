"""Energy of rain against a worked storm and a thousand recorded events."""

from __future__ import annotations

import numpy as np
import pytest

from planner.indices.rain_energy import (
    events_from_number,
    rain_energy_mj_ha_mm,
    rain_events,
)
from planner.weather import Array
from tests.indices.made import quantities, site, table, weather

#: Seven ten-minute depths of the rainerosr vignette.
STORM = [2.5, 5.8, 8.2, 6.1, 3.4, 2.0, 1.5]


def erosivity_mj_mm_ha_h(depths_mm: Array, step_h: float) -> float:
    """EI30 of an event (RUSLE 1997, chapter 2): its energy times its greatest half-hour intensity."""
    energy = (rain_energy_mj_ha_mm(depths_mm / step_h) * depths_mm).sum()
    steps = max(1, round(0.5 / step_h))
    halves = np.convolve(depths_mm, np.ones(steps)) / (steps * step_h)
    return float(energy * halves.max())


def test_energy_of_the_worked_storm() -> None:
    depths = np.array(STORM)
    energy = (rain_energy_mj_ha_mm(depths * 6) * depths).sum()
    assert energy == pytest.approx(7.0604, abs=1e-4)
    assert erosivity_mj_mm_ha_h(depths, 1 / 6) == pytest.approx(283.8, abs=0.1)


def test_hourly_rain_reads_the_storm_a_third_too_low() -> None:
    hourly = erosivity_mj_mm_ha_h(np.array([28.0, 1.5]), 1.0)
    assert hourly == pytest.approx(191.0, abs=0.5)
    assert hourly * 1.730 == pytest.approx(330.0, abs=1.0)


def test_recorded_events_multiply_and_are_mostly_small() -> None:
    # 1010 events of ten-minute gauges in Flanders: erosivity is energy times I30.
    events = table("erosive_events_flanders.csv")
    assert events["rain_mm"].size == 1010
    product = events["energy_mj_ha"] * events["i30_mm_h"]
    np.testing.assert_allclose(product, events["erosivity_mj_mm_ha_h"], rtol=1e-4)
    large = events["rain_mm"] >= 12.7
    assert large.mean() == pytest.approx(0.133, abs=0.002)
    share = events["erosivity_mj_mm_ha_h"][large].sum() / events["erosivity_mj_mm_ha_h"].sum()
    assert share == pytest.approx(0.769, abs=0.002)


def test_energy_of_recorded_events_lies_within_that_of_their_steady_and_peak_rate() -> None:
    # Ten minutes can hold at most three times the greatest half-hour intensity.
    events = table("erosive_events_flanders.csv")
    unit = events["energy_mj_ha"] / events["rain_mm"]
    assert (unit <= rain_energy_mj_ha_mm(np.minimum(3 * events["i30_mm_h"], 300.0)) + 1e-6).all()
    assert (unit >= rain_energy_mj_ha_mm(0.0) - 1e-6).all()


def test_median_erosivity_at_the_line_of_an_erosive_storm() -> None:
    events = table("erosive_events_flanders.csv")
    near = np.abs(events["rain_mm"] - 12.7) <= 1.0
    assert near.sum() == 44
    assert np.median(events["erosivity_mj_mm_ha_h"][near]) == pytest.approx(6.2, abs=0.1)


def test_events_part_after_six_dry_hours() -> None:
    rain = np.array([[5.0, 0, 0, 0, 0, 0, 4.0, 0, 0, 0, 0, 0, 0, 3.0, 0, 1.0, 0]])
    events = rain_events(rain)
    assert events.number[0].tolist() == [1] * 7 + [0] * 6 + [2] * 3 + [0]
    np.testing.assert_allclose(events.total(rain), [9.0, 4.0])
    np.testing.assert_allclose(events.highest(rain), [5.0, 3.0])


def test_steady_light_rain_is_one_event() -> None:
    assert rain_events(np.ones((1, 5))).number.max() == 1


def test_events_do_not_run_from_one_member_into_the_next() -> None:
    rain = np.zeros((2, 10))
    rain[0, 9], rain[1, 0] = 5.0, 5.0
    events = rain_events(rain)
    assert events.number[0, 9] == 1
    assert events.number[1, 0] == 2


def test_events_are_found_again_from_their_numbers() -> None:
    rng = np.random.default_rng(3)
    rain = np.where(rng.random((3, 200)) < 0.1, rng.exponential(3, (3, 200)), 0.0)
    rain[1, 50:60] = np.nan
    events = rain_events(rain)
    again = events_from_number(events.number.astype(float))
    assert (again.number == events.number).all()
    assert (again.first == events.first).all()
    assert (again.last == events.last).all()
    assert (events.number[1, 50:60] == 0).all()


def test_dry_weather_has_no_events() -> None:
    events = rain_events(np.zeros((2, 24)))
    assert events.first.size == 0
    assert events.highest(np.zeros((2, 24))).size == 0
    assert events.total(np.zeros((2, 24))).size == 0


def test_unknown_rain_gives_unknown_energy() -> None:
    assert np.isnan(rain_energy_mj_ha_mm([np.nan, -1.0, 400.0])).all()


def test_erosivity_of_two_hours_on_a_slope() -> None:
    # The worked storm as hours: 28.0 and 1.5 mm give 191.0 by hand, 330 with the factor of half hours; 9 % over
    # 22.13 m counts once.
    rain = np.zeros(72)
    rain[30:32] = [28.0, 1.5]
    rain[60] = np.nan
    q = quantities(weather(72, rain_mm=rain), site(slope_pct=9.0, slope_length_m=22.13, soil="loam"))
    found = q["event_erosivity"][0]
    assert found[[30, 31]] == pytest.approx(330.0, rel=0.01)
    assert found[[29, 33]].tolist() == [0.0, 0.0]
    assert np.flatnonzero(np.isnan(found)).tolist() == [60]
    # 29.5 mm on newly graded loam, curve number 86: by hand (29.5 - 8.27)^2 / (29.5 + 33.08).
    assert q["event_runoff_mm"][0, [30, 31]] == pytest.approx(7.2, abs=0.05)
    assert np.isnan(q["event_runoff_mm"][0, 60])
