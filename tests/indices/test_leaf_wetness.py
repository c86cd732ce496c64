"""Wet and dry leaves. No printed worked example of leaf wetness was found."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from planner.indices.leaf_wetness import LEAF, leaf_loss_mm_per_h, wet_by_humidity, wet_leaf
from planner.indices.surface_temp import GRASS_SURFACE, STEFAN_BOLTZMANN
from tests.indices.made import quantities, weather


def test_humidity_rule() -> None:
    out = wet_by_humidity([95.0, 60.0, np.nan, np.nan, 60.0, 60.0], [0.0, 0.0, 0.0, 1.0, 0.5, np.nan])
    assert out[[0, 1, 3, 4]].tolist() == [1.0, 0.0, 1.0, 1.0]
    assert np.isnan(out[[2, 5]]).all()


def test_wet_nights_and_dry_days() -> None:
    still = quantities(weather(72, wind_10m_ms=1.0, cloud_pct=0.0, rel_humidity_pct=95.0, shortwave_wm2=0.0))
    assert still["leaf_wet"][0, 12:].all()
    dry = quantities(weather(72, rel_humidity_pct=60.0, air_temp_c=20.0))
    assert not dry["leaf_wet"].any()


def test_dew_of_the_night_is_gone_by_noon() -> None:
    hour = np.arange(72)
    wave = np.sin((hour - 9) / 24 * 2 * np.pi)
    q = quantities(
        weather(72, air_temp_c=12 + 6 * wave, rel_humidity_pct=78 - 20 * wave, cloud_pct=0.0, wind_10m_ms=1.5)
    )
    wet = q["leaf_wet"][0]
    assert wet[28] == 1.0
    assert wet[38] == 0.0


def test_rain_wets_the_leaf_and_the_air_dries_it_again() -> None:
    rain = np.zeros(48)
    rain[34] = 3.0
    q = quantities(weather(48, rain_mm=rain, cloud_pct=20.0))
    wet = q["leaf_wet"][0]
    assert wet[34] == 1.0
    assert wet[35] == 1.0
    assert wet[33] == 0.0
    assert wet[40] == 0.0


def test_without_cloud_the_humidity_rule_stands_in() -> None:
    humid = np.full(48, 70.0)
    humid[20:25] = 96.0
    q = quantities(weather(48, cloud_pct=None, shortwave_wm2=None, rel_humidity_pct=humid))
    assert np.flatnonzero(q["leaf_wet"][0]).tolist() == list(range(20, 25))


def test_unknown_humidity_leaves_the_leaf_unknown() -> None:
    humid = np.full(48, 70.0)
    humid[20:25] = np.nan
    wet = quantities(weather(48, rel_humidity_pct=humid))["leaf_wet"][0]
    assert np.isnan(wet[20:25]).all()
    assert not np.isnan(wet[:20]).any()
    # What the night left on the leaf is not known until the sun would have dried a full one.
    assert np.isnan(wet[25:28]).all()
    assert (wet[40:44] == 0.0).all()


def test_unknown_rain_leaves_the_leaf_unknown_until_it_would_have_dried() -> None:
    rain = np.zeros(48)
    rain[34] = np.nan
    wet = quantities(weather(48, rain_mm=rain))["leaf_wet"][0]
    assert wet[33] == 0.0
    assert np.isnan(wet[34:36]).all()
    assert wet[40] == 0.0


def test_store_holds_no_more_than_it_can() -> None:
    rain = np.array([[50.0] + [0.0] * 9])
    steady = np.full((1, 10), 0.02)
    wet = wet_leaf(rain, steady, np.zeros((1, 10)))
    # A tenth of a millimetre lasts five hours at a fiftieth an hour, after the hour of the rain.
    assert wet[0].tolist() == [1.0] * 5 + [0.0] * 5 or wet[0].tolist() == [1.0] * 6 + [0.0] * 4
    assert LEAF.holds_mm == 0.1


@given(st.floats(0, 35), st.floats(20, 98), st.floats(0, 10), st.floats(0, 800))
def test_loss_falls_with_humidity(air: float, rh: float, wind: float, sun: float) -> None:
    out = float(leaf_loss_mm_per_h(air, rh, wind, sun, 330.0, air))
    assert leaf_loss_mm_per_h(air, rh + 2.0, wind, sun, 330.0, air) <= out + 1e-12


def test_loss_agrees_with_reference_grass_in_size() -> None:
    # At 20 C, 60 %, 3 m/s and 500 W/m2 a wet leaf gives a little more than reference grass.
    assert float(leaf_loss_mm_per_h(20.0, 60.0, 3.0, 500.0, 340.0, 20.0)) == pytest.approx(0.55, abs=0.2)


@pytest.mark.parametrize(
    ("air", "rh", "wind", "sun", "sky", "under"),
    [
        (12.0, 95.0, 1.5, 0.0, 290.0, 14.0),
        (20.0, 60.0, 3.0, 400.0, 340.0, 18.0),
        (2.0, 90.0, 2.0, 0.0, 230.0, 4.0),
    ],
)
def test_leaf_loss_solves_the_balance_of_heat(
    air: float, rh: float, wind: float, sun: float, sky: float, under: float
) -> None:
    """The same balance with nothing made linear, halved until heat in is heat out."""

    def full(temp: float) -> float:
        return float(6.112 * np.exp(17.62 * temp / (243.12 + temp)))

    density = 101325.0 / (287.05 * (air + 273.15))
    wind_part = max(0.748 * wind, 0.5) / 208.0

    def vapour_wm2(leaf: float) -> float:
        return density * 2.5e6 * 0.622 / 1013.25 * wind_part * (full(leaf) - rh / 100.0 * full(air))

    def left_wm2(leaf: float) -> float:
        seen = LEAF.sky_share * GRASS_SURFACE.emissivity
        income = 0.77 * sun + seen * (sky - STEFAN_BOLTZMANN * (leaf + 273.15) ** 4)
        return (
            income
            + LEAF.under_wm2k * (under - leaf)
            - density * 1005.0 * wind_part * (leaf - air)
            - vapour_wm2(leaf)
        )

    low, high = air - 20.0, air + 20.0
    for _ in range(60):
        middle = 0.5 * (low + high)
        low, high = (middle, high) if left_wm2(middle) > 0.0 else (low, middle)
    wanted = vapour_wm2(low) * 3600.0 / 2.5e6
    assert float(leaf_loss_mm_per_h(air, rh, wind, sun, sky, under)) == pytest.approx(
        wanted, rel=0.06, abs=0.002
    )


def test_dew_falls_on_clear_humid_nights_only() -> None:
    def dew(**columns: float) -> float:
        hours = {
            "air_temp_c": 12.0,
            "shortwave_wm2": 0.0,
            "cloud_pct": 0.0,
            "rel_humidity_pct": 96.0,
            "wind_10m_ms": 1.5,
        }
        return float(quantities(weather(48, **(hours | columns)))["dew_mm"][0, 30:].mean())

    assert 0.01 < dew() < 0.1
    assert dew(cloud_pct=100.0) < 0.4 * dew()
    assert dew(rel_humidity_pct=65.0) == 0.0
    assert dew(shortwave_wm2=200.0) == 0.0
