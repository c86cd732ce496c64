"""Growth potential against its author's printed figures."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from planner.indices.grasses import GRASSES
from planner.indices.growth import (
    daily_nitrogen_g_m2,
    growth_in_light,
    growth_potential,
    monthly_nitrogen_g_m2,
)
from tests.indices.made import quantities, site, weather


def test_growth_potential_printed_by_woods() -> None:
    # Woods, article of 30 April 2020: mean 15 C gives 0.66, 16.9 C gives 0.85.
    np.testing.assert_allclose(growth_potential([15.0, 16.9]), [0.66, 0.85], atol=0.005)


def test_cool_and_warm_grass_cross_where_woods_says() -> None:
    # Woods, footnote of 26 May 2023: about 24.8 C.
    temps = np.arange(22.0, 28.0, 0.01)
    cool, warm = growth_potential(temps), growth_potential(temps, 31.0, 7.0)
    assert temps[np.argmin(np.abs(cool - warm))] == pytest.approx(24.8, abs=0.05)


def test_growth_is_full_at_the_optimum_and_held_above_it_for_warm_grass() -> None:
    assert growth_potential(20.0) == 1.0
    assert growth_potential(31.0) == pytest.approx(0.135, abs=0.001)
    assert growth_potential(38.0, 31.0, 7.0) == pytest.approx(0.607, abs=0.001)
    assert growth_potential(38.0, 31.0, 7.0, plateau=True) == 1.0


def test_month_of_nitrogen() -> None:
    # Woods 2015: 3 g/m2 in a month of full growth; at 0.66 that is 1.98.
    assert monthly_nitrogen_g_m2(0.66) == pytest.approx(1.98)
    assert np.isnan(monthly_nitrogen_g_m2([np.nan, 1.2])).all()


@given(st.floats(-30, 45), st.floats(12, 35), st.floats(3, 10))
def test_growth_stays_between_none_and_full(temp: float, optimum: float, width: float) -> None:
    assert 0.0 <= growth_potential(temp, optimum, width) <= 1.0
    nearer = temp + (optimum - temp) * 0.5
    assert growth_potential(nearer, optimum, width) >= growth_potential(temp, optimum, width)


def test_unknown_or_absurd_temperatures_give_nothing() -> None:
    assert np.isnan(growth_potential([np.nan, 60.0, -80.0])).all()


def test_days_of_nitrogen_add_up_to_the_month() -> None:
    growth = np.full(30, 0.66)
    assert daily_nitrogen_g_m2(growth, 3.0, 30.0).sum() == pytest.approx(monthly_nitrogen_g_m2(0.66, 3.0))
    assert np.isnan(daily_nitrogen_g_m2([np.nan, 1.5])).all()
    cool, warm = (
        quantities(weather(48, air_temp_c=25.0), site(grass=GRASSES[name]))["nitrogen_g_m2"][0, 0]
        for name in ("creeping_bent", "couch")
    )
    assert cool == pytest.approx(3.0 / 30.4 * float(growth_potential(25.0)))
    assert warm == pytest.approx(4.0 / 30.4 * float(growth_potential(25.0, 31.0, 7.0)))
    own = quantities(weather(48, air_temp_c=25.0), constants={"nitrogen_most_g_m2": 1.5})["nitrogen_g_m2"]
    assert own[0, 0] == pytest.approx(0.5 * cool)


def test_shade_cuts_growth_in_proportion() -> None:
    np.testing.assert_allclose(growth_in_light(0.8, [0.0, 15.0, 30.0, 50.0], 30.0), [0.0, 0.4, 0.8, 0.8])
    assert np.isnan(growth_in_light([np.nan, 0.5], [20.0, np.nan], 30.0)).all()
    made = weather(60)
    open_, shaded = (quantities(made, site(shade=shade))["growth_in_light"] for shade in (0.0, 0.7))
    assert shaded[0, 10] < open_[0, 10] <= quantities(made)["growth_potential"][0, 10]
    assert np.isnan(open_[0, 48:]).all()
