"""Disease weather."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from planner.indices.leaf_wetness import brown_patch_index, dollar_spot_chance, pythium_risk
from tests.indices.made import quantities, weather


@pytest.mark.parametrize(
    ("temp", "humidity", "chance"),
    [(20, 70, 0.217), (20, 80, 0.404), (25, 80, 0.641), (15, 85, 0.288), (25, 60, 0.230)],
)
def test_dollar_spot_table(temp: float, humidity: float, chance: float) -> None:
    # Worked from the coefficients of Smith 2018 (second-hand).
    assert dollar_spot_chance(temp, humidity) == pytest.approx(chance, abs=0.001)


def test_dollar_spot_is_silent_outside_its_range() -> None:
    assert np.isnan(dollar_spot_chance([5.0, 36.0, np.nan], 80.0)).all()


@pytest.mark.parametrize(("low", "humidity", "index"), [(18, 80, 5.01), (20, 80, 5.30), (21.2, 90, 6.85)])
def test_brown_patch_table(low: float, humidity: float, index: float) -> None:
    assert brown_patch_index(low, humidity) == pytest.approx(index, abs=0.01)


@given(st.floats(-10, 35), st.floats(0, 84.3))
def test_brown_patch_never_warns_in_dry_air(low: float, humidity: float) -> None:
    assert brown_patch_index(low, humidity) < 6.0


def test_pythium_needs_heat_then_a_warm_humid_night() -> None:
    # Nutter 1983: above 30 C, then 14 hours with more than 90 % and not below 20 C.
    assert pythium_risk(31.0, 14.0, 21.0) == 1.0
    assert pythium_risk(30.0, 14.0, 21.0) == 0.0
    assert pythium_risk(31.0, 13.0, 21.0) == 0.0
    assert pythium_risk(31.0, 14.0, 20.0) == 0.0
    assert np.isnan(pythium_risk(31.0, np.nan, 21.0))


def test_pythium_on_the_hours() -> None:
    hour = np.arange(72)
    air = 27 + 5 * np.sin((hour - 8) / 24 * 2 * np.pi)
    humid = quantities(weather(72, air_temp_c=air, rel_humidity_pct=95.0))
    assert humid["pythium_risk"][0, 30] == 1.0
    dry = quantities(weather(72, air_temp_c=air, rel_humidity_pct=60.0))
    assert dry["pythium_risk"][0, 30] == 0.0


@given(st.floats(10, 34), st.floats(30, 99))
def test_dollar_spot_rises_with_warmth_and_humidity(temp: float, humidity: float) -> None:
    here = dollar_spot_chance(temp, humidity)
    assert 0 <= here <= 1
    assert dollar_spot_chance(temp + 1, humidity) > here
    assert dollar_spot_chance(temp, humidity + 1) > here
