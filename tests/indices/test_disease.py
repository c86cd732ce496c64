"""Disease weather."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from planner.indices import INDEX
from planner.indices.grasses import GRASSES
from planner.indices.leaf_wetness import (
    brown_patch_index,
    disease_pressure,
    dollar_spot_chance,
    pythium_risk,
)
from planner.indices.quantities import Quantities
from tests.indices.made import NOW, quantities, site, weather


@pytest.mark.parametrize(
    ("temp", "humidity", "chance"),
    [(20, 70, 0.217), (20, 80, 0.404), (25, 80, 0.641), (15, 85, 0.288), (25, 60, 0.230)],
)
def test_dollar_spot_table(temp: float, humidity: float, chance: float) -> None:
    # Worked from the coefficients of Smith 2018 (second-hand).
    assert dollar_spot_chance(temp, humidity) == pytest.approx(chance, abs=0.001)


def test_cold_or_great_heat_is_no_risk_and_what_is_missing_stays_missing() -> None:
    # The range in which its authors use the equation: 10 to 35 C (from memory).
    np.testing.assert_array_equal(dollar_spot_chance([-20.0, 9.9, 35.1], 99.0), 0.0)
    assert (dollar_spot_chance([10.0, 35.0], 99.0) > 0.2).all()
    assert np.isnan(dollar_spot_chance([np.nan, 5.0, 15.0], [80.0, np.nan, np.nan])).all()
    assert brown_patch_index(-25.0, 100.0) < 0.0
    assert np.isnan(brown_patch_index([np.nan, 5.0], [80.0, np.nan])).all()
    # Winter has a known pressure: none.
    assert disease_pressure(dollar_spot_chance(2.0, 95.0), brown_patch_index(-12.0, 95.0), 0.0) == 0.0


def test_a_winter_day_is_known_to_be_without_disease_weather() -> None:
    winter = quantities(weather(24 * 6, air_temp_c=1.0, rel_humidity_pct=95.0))
    assert (winter["disease_pressure"][0, -72:-24] == 0.0).all()


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


@pytest.mark.parametrize(
    ("dollar", "brown", "pythium", "pressure"),
    [
        (0.2, 0.0, 0.0, 1.0),
        (0.1, 0.0, 0.0, 0.5),
        (0.0, 6.0, 0.0, 1.0),
        (0.0, 3.0, 0.0, 0.5),
        (0.0, -9.0, 1.0, 1.0),
        (0.7, 9.0, 1.0, 1.0),
        (0.05, -3.0, 0.0, 0.25),
    ],
)
def test_pressure_is_one_at_each_published_threshold(dollar, brown, pythium, pressure) -> None:
    # Thresholds of smith-2018 (0.20), fidanza-1996 (6) and nutter-1983 (a yes); the scale between is ours.
    assert disease_pressure(dollar, brown, pythium) == pytest.approx(pressure)


def test_pressure_is_not_known_where_one_is_not_and_none_is_at_its_threshold() -> None:
    nan = np.nan
    assert np.isnan(disease_pressure([nan, 0.1, nan], [1.0, nan, nan], [0.0, 0.0, nan])).all()
    assert (disease_pressure([nan, 0.3], [6.5, nan], [0.0, nan]) == 1.0).all()


def test_on_warm_season_grass_dollar_spot_alone_counts() -> None:
    # Brown patch and pythium figures were made on ryegrass and bent (their abstracts).
    sky = weather(24 * 6, air_temp_c=11.0, rel_humidity_pct=70.0)
    laid = dict.fromkeys(("brown_patch_index", "pythium_risk"), np.ones((1, 24 * 6)))
    couch, bent = (
        Quantities(sky, place, INDEX, now=NOW, surface=place.surfaces[0], diary_quantities=laid)
        for place in (site(grass=GRASSES["couch"]), site())
    )
    assert bent["disease_pressure"][0, -1] == 1.0
    assert couch["disease_pressure"][0, -1] == pytest.approx(dollar_spot_chance(11.0, 70.0) / 0.2)
