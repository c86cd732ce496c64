"""Moisture of the air against printed values and an independent library."""

from __future__ import annotations

import numpy as np
import psychrolib
import pytest
from hypothesis import given
from hypothesis import strategies as st

from planner.indices.humidity import (
    pressure_at_hpa,
    saturation_vapour_pressure_hpa,
    vapour_pressure_deficit_kpa,
    vapour_pressure_hpa,
    wet_bulb_c,
)

#: (air, humidity, wet bulb, Delta T) by psychrolib 2.5.0 at 101325 Pa.
ORACLE = [
    (20, 50, 13.78, 6.22),
    (30, 30, 17.97, 12.03),
    (35, 20, 18.87, 16.13),
    (25, 60, 19.47, 5.53),
    (10, 80, 8.29, 1.71),
    (15, 95, 14.51, 0.49),
    (5, 70, 2.86, 2.14),
    (40, 15, 20.36, 19.64),
]


@pytest.mark.parametrize(("air", "humidity", "bulb", "delta"), ORACLE)
def test_wet_bulb_oracle_values(air: float, humidity: float, bulb: float, delta: float) -> None:
    assert wet_bulb_c(air, humidity) == pytest.approx(bulb, abs=0.02)
    assert air - wet_bulb_c(air, humidity) == pytest.approx(delta, abs=0.02)


def test_wet_bulb_against_psychrolib() -> None:
    psychrolib.SetUnitSystem(psychrolib.SI)
    rng = np.random.default_rng(7)
    air, humidity, pressure = (
        rng.uniform(-5, 45, 3000),
        rng.uniform(10, 100, 3000),
        rng.uniform(850, 1040, 3000),
    )
    oracle = np.array(
        [
            psychrolib.GetTWetBulbFromRelHum(a, h / 100, p * 100)
            for a, h, p in zip(air, humidity, pressure, strict=True)
        ]
    )
    error = np.abs(wet_bulb_c(air, humidity, pressure) - oracle)
    # Measured: 0.026 where the bulb is thawed, 0.003 where it is frozen.
    assert error[oracle > 0.5].max() < 0.03
    assert error[oracle <= 0.5].max() < 0.005


def test_wet_bulb_over_the_whole_grid_of_the_claim() -> None:
    psychrolib.SetUnitSystem(psychrolib.SI)
    air, humidity = (a.ravel() for a in np.meshgrid(np.arange(-5.0, 45.1, 1.0), np.arange(10.0, 100.1, 2.5)))
    oracle = np.array(
        [psychrolib.GetTWetBulbFromRelHum(a, h / 100, 101325) for a, h in zip(air, humidity, strict=True)]
    )
    error = np.abs(wet_bulb_c(air, humidity, 1013.25) - oracle)
    # Measured: 0.026 where the bulb is thawed, 0.003 where it is frozen.
    assert error[oracle > 0.5].max() < 0.03
    assert error[oracle <= 0.5].max() < 0.005


def test_vapour_pressure_agrees_with_fao56_printed_values() -> None:
    # FAO-56, as cited in the tests of pyet: e0(24.5) 3.075, e0(15) 1.705, e0(19.75) 2.30 kPa.
    # The Magnus constants differ from those of FAO-56 by up to 0.3 %.
    printed = np.array([3.075, 1.705, 2.30])
    np.testing.assert_allclose(saturation_vapour_pressure_hpa([24.5, 15.0, 19.75]) / 10, printed, rtol=3e-3)
    # ea from RH 82/54 at T 25/18 is 1.70 kPa there, e0(18)*0.82 and e0(25)*0.54 averaged.
    ea = (vapour_pressure_hpa(18.0, 82.0) + vapour_pressure_hpa(25.0, 54.0)) / 20.0
    assert ea == pytest.approx(1.70, abs=0.01)
    assert vapour_pressure_deficit_kpa(25.0, 100.0) == 0.0


def test_pressure_printed_in_fao56() -> None:
    # FAO-56 through the tests of pyet: 81.8 kPa at 1800 m, 87.9 kPa at 1200 m.
    assert pressure_at_hpa(1800.0) == pytest.approx(818.0, abs=1.0)
    assert pressure_at_hpa(1200.0) == pytest.approx(879.0, abs=1.0)


@given(st.floats(-19, 49), st.floats(5, 100), st.floats(700, 1050))
def test_wet_bulb_lies_below_air_and_rises_with_humidity(
    air: float, humidity: float, pressure: float
) -> None:
    bulb = float(wet_bulb_c(air, humidity, pressure))
    assert bulb <= air
    assert bulb > air - 40
    if humidity < 99 and not -1.5 < bulb < 1.5:
        assert wet_bulb_c(air, humidity + 1.0, pressure) > bulb - 1e-9


def test_outside_its_window_nothing_is_said() -> None:
    assert np.isnan(wet_bulb_c([60.0, np.nan, 20.0], [50.0, 50.0, 130.0])).all()
    assert np.isnan(saturation_vapour_pressure_hpa([80.0, np.nan])).all()
