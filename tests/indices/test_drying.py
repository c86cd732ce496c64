"""Hours until firm and dry, and water to give."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from planner.indices.leaf_wetness import FIRM_PCT, firm_in_h, hours_until, irrigation_mm, rain_ahead_mm
from planner.indices.soil_water import SOILS
from tests.indices.made import quantities, site, weather


def test_hours_are_counted_up_to_the_first() -> None:
    out = hours_until([0.0, 0.0, 1.0, 0.0, np.nan, 1.0, 0.0])
    np.testing.assert_array_equal(out, [2.0, 1.0, 0.0, np.nan, np.nan, 0.0, np.nan])


@given(st.lists(st.sampled_from([0.0, 1.0]), min_size=1, max_size=40))
def test_hours_are_those_of_a_plain_search(states: list[float]) -> None:
    out = hours_until(states)
    for hour in range(len(states)):
        ahead = [step for step in range(len(states) - hour) if states[hour + step] == 1.0]
        assert np.array_equal(out[hour], float(ahead[0]) if ahead else np.nan, equal_nan=True)


def test_every_soil_has_a_limit() -> None:
    assert set(FIRM_PCT) == set(SOILS)


def test_loam_is_firm_a_day_or_more_after_rain_and_sand_sooner() -> None:
    rain = np.zeros(24 * 8)
    rain[30:34] = 5.5
    made = weather(24 * 8, rain_mm=rain, et0_mm=0.12)
    after = {soil: quantities(made, site(soil=soil))["firm_in_h"][0, 34] for soil in ("sand", "loam")}
    assert after["sand"] < after["loam"]
    assert after["loam"] > 24.0


def test_keeper_moves_the_limit() -> None:
    rain = np.zeros(24 * 8)
    rain[30:34] = 5.5
    made = weather(24 * 8, rain_mm=rain, et0_mm=0.12)
    own = quantities(made, constants={"firm_pct": 105.0})["firm_in_h"][0, 34]
    assert own < quantities(made)["firm_in_h"][0, 34]
    assert firm_in_h([[120.0, np.nan, 90.0]], 95.0)[0, 2] == 0.0


def test_rain_ahead_is_a_running_sum() -> None:
    rain = np.arange(6.0)
    np.testing.assert_array_equal(rain_ahead_mm(rain, 3), [3.0, 6.0, 9.0, 12.0, np.nan, np.nan])
    rain[3] = np.nan
    np.testing.assert_array_equal(rain_ahead_mm(rain, 3)[:2], [3.0, np.nan])


def test_water_is_due_at_the_end_of_the_ready_water() -> None:
    # 7.2 mm are easily had of the 18 mm of the worked sand.
    np.testing.assert_array_equal(irrigation_mm([-7.1, -7.2, -12.0, 3.0], 7.2, 0.0), [0.0, 7.2, 12.0, 0.0])
    assert irrigation_mm(-12.0, 7.2, 5.0) == pytest.approx(7.0)
    assert irrigation_mm(-12.0, 7.2, 20.0) == 0.0
    assert irrigation_mm(-5.0, 7.2, 0.0, trigger=0.5) == pytest.approx(5.0)
    assert np.isnan(irrigation_mm(np.nan, 7.2, 0.0))
    assert np.isnan(irrigation_mm(-12.0, 7.2, np.nan))
    assert irrigation_mm(-1.0, 7.2, np.nan) == 0.0


def test_dry_week_asks_for_water_and_coming_rain_puts_it_off() -> None:
    dry = quantities(weather(24 * 6, et0_mm=0.25), site(soil="sand"))["irrigation_mm"][0]
    assert dry[0] == 0.0
    assert dry[100] > 7.0
    rain = np.zeros(24 * 6)
    rain[110:114] = 8.0
    wet = quantities(weather(24 * 6, et0_mm=0.25, rain_mm=rain), site(soil="sand"))["irrigation_mm"][0]
    assert wet[100] == 0.0


def test_leaf_is_dry_again_some_hours_after_rain() -> None:
    rain = np.zeros(48)
    rain[34] = 3.0
    out = quantities(weather(48, rain_mm=rain, cloud_pct=20.0))["leaf_dry_in_h"][0]
    assert 2.0 <= out[34] <= 6.0
    assert out[33] == 0.0
