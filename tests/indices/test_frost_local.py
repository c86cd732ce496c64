"""What a place teaches the frost model: on twenty years of grass minima at De Bilt (KNMI station 260)."""

from __future__ import annotations

import numpy as np
import pytest

from planner.indices.frost import FEWEST_NIGHTS, MOST_K, frost_chance, trailing_shift_k
from planner.indices.humidity import saturation_vapour_pressure_hpa, vapour_pressure_hpa
from planner.indices.surface_temp import surface_temp_c
from planner.weather import Array
from tests.indices.made import quantities, table, weather


def _de_bilt() -> tuple[Array, Array]:
    """Measured grass minimum, and the bare balance at the air minimum."""
    days = table("debilt_1980_1999_daily.csv")
    low, mean = days["air_temp_min_c"], days["air_temp_mean_c"]
    vapour = vapour_pressure_hpa(mean, days["rel_humidity_mean_pct"])
    humidity = np.minimum(100.0 * vapour / saturation_vapour_pressure_hpa(low), 100.0)
    cloud = days["cloud_okta"] / 8.0
    balance = surface_temp_c(low, humidity, days["wind_mean_ms"], cloud, mean, days["pressure_msl_hpa"])
    return days["grass_min_10cm_c"], balance


def test_shift_learned_at_de_bilt_betters_the_nights_to_come() -> None:
    # Every night is shifted by what the nights before it taught. Measured: 1.97 to 1.29 K.
    grass, balance = _de_bilt()
    shift = trailing_shift_k(grass, balance)[:-1]
    bare, shifted = (float(np.sqrt(np.nanmean(e**2))) for e in (balance - grass, balance + shift - grass))
    assert np.nanmean(balance - grass) == pytest.approx(1.39, abs=0.01)
    assert bare == pytest.approx(1.97, abs=0.01)
    assert shifted == pytest.approx(1.29, abs=0.01)
    # Brier score of grass frost with a spread of 1.5 K. Measured: 0.0462 to 0.0354.
    known = ~np.isnan(balance + grass)
    frost = (grass < 0.0).astype(float)[known]
    scores = [
        float(np.mean((frost_chance(value, 1.5)[known] - frost) ** 2)) for value in (balance, balance + shift)
    ]
    assert scores == pytest.approx([0.0462, 0.0354], abs=0.0002)


def test_steady_error_is_learned_most_of_the_way_and_no_night_sees_itself() -> None:
    measured = np.full(60, -2.0)
    shift = trailing_shift_k(measured, np.zeros(60))
    assert shift.size == 61
    assert (shift[:FEWEST_NIGHTS] == 0.0).all()
    assert -2.0 < shift[-1] < -1.5
    jump = measured.copy()
    jump[30] = 5.0
    np.testing.assert_array_equal(trailing_shift_k(jump, np.zeros(60))[:31], shift[:31])


def test_unknown_nights_teach_nothing_and_the_shift_is_held() -> None:
    assert trailing_shift_k(np.full(30, np.nan), np.zeros(30))[-1] == 0.0
    assert trailing_shift_k(np.full(4, -3.0), np.zeros(4))[-1] == 0.0
    assert trailing_shift_k(np.full(90, -20.0), np.zeros(90))[-1] == -MOST_K


def test_shift_reaches_the_surface_at_night_and_not_at_noon() -> None:
    plain = quantities(weather(48, air_temp_c=3.0))
    shifted = quantities(weather(48, air_temp_c=3.0), constants={"surface_shift_k": -1.5})
    change = (shifted["surface_temp_c"] - plain["surface_temp_c"])[0]
    light = plain["sunlight_wm2"][0]
    dark = (light == 0.0) & (np.roll(light, 1) == 0.0)
    np.testing.assert_allclose(change[1:][dark[1:]], -1.5)
    assert change[light > 300.0] == pytest.approx(0.0)
    # Constants of the wash index stand beside it.
    assert shifted["wash_bare"].max() == plain["wash_bare"].max()
    ground = [q["frost_chance_ground"][0, 30] for q in (plain, shifted)]
    assert ground[1] > ground[0]
