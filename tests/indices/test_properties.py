"""Bounds, monotony and gaps of every formula of one value at a time, for arguments drawn at random."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, field
from typing import Any

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from planner.indices import evapotranspiration as et
from planner.indices import (
    frost,
    grass_min,
    growth,
    humidity,
    infiltration,
    leaf_wetness,
    rain_energy,
    rain_wash,
    runoff,
    soil_water,
    spray_air,
    sun,
    surface_temp,
)

Range = tuple[float, float]


@dataclass(frozen=True)
class Law:
    """What a formula keeps to over a range of its arguments."""

    formula: Callable[..., Any]
    ranges: tuple[Range, ...]
    low: float
    high: float
    rises: tuple[int, ...] = ()
    """Arguments with which the value never falls."""
    falls: tuple[int, ...] = ()
    ignores_gap_of: tuple[int, ...] = field(default=())
    """Arguments whose gap may leave the value known: another says it already."""


_T, _RH, _U, _C = (-19.0, 49.0), (6.0, 100.0), (0.0, 20.0), (0.0, 1.0)
LAWS: dict[str, Law] = {
    "growth_potential": Law(growth.growth_potential, ((-30, 45),), 0, 1),
    "growth_potential_below_best": Law(growth.growth_potential, ((-30, 20),), 0, 1, rises=(0,)),
    "growth_potential_held": Law(
        lambda t: growth.growth_potential(t, 31.0, 7.0, plateau=True), ((-30, 45),), 0, 1, rises=(0,)
    ),
    "monthly_nitrogen_g_m2": Law(growth.monthly_nitrogen_g_m2, (_C,), 0, 3, rises=(0,)),
    "daily_nitrogen_g_m2": Law(growth.daily_nitrogen_g_m2, (_C,), 0, 0.1, rises=(0,)),
    "growth_in_light": Law(
        lambda g, d: growth.growth_in_light(g, d, 30.0), (_C, (0, 100)), 0, 1, rises=(0, 1)
    ),
    "growing_degree_days": Law(growth.growing_degree_days, ((-50, 50),), 0, 50, rises=(0,)),
    "saturation_vapour_pressure_hpa": Law(
        humidity.saturation_vapour_pressure_hpa, ((-60, 60),), 0, 210, rises=(0,)
    ),
    "vapour_pressure_hpa": Law(humidity.vapour_pressure_hpa, (_T, _RH), 0, 130, rises=(0, 1)),
    "vapour_pressure_deficit_kpa": Law(
        humidity.vapour_pressure_deficit_kpa, (_T, _RH), 0, 13, rises=(0,), falls=(1,)
    ),
    "wet_bulb_c": Law(humidity.wet_bulb_c, (_T, _RH, (600, 1050)), -30, 49.001),
    "saturation_kpa": Law(et.saturation_kpa, ((-60, 60),), 0, 21, rises=(0,)),
    "saturation_slope_kpa_k": Law(et.saturation_slope_kpa_k, ((-60, 60),), 0, 1.1, rises=(0,)),
    "psychrometric_kpa_k": Law(et.psychrometric_kpa_k, ((50, 110),), 0.03, 0.08, rises=(0,)),
    "hourly_et0_mm": Law(
        lambda t, rh, u, net: et.hourly_et0_mm(t, rh, u, net, 0.1 * net, 101.3),
        (_T, _RH, _U, (-0.3, 3.5)),
        0,
        5,
        rises=(3,),
        falls=(1,),
    ),
    "hourly_net_mj_m2": Law(et.hourly_net_mj_m2, (_T, (0.1, 5), (0, 5), _C), -1, 4, rises=(2,)),
    "net_longwave_mj_m2": Law(
        lambda t, ea, sun_: et.net_longwave_mj_m2(t + 5.0, t - 5.0, ea, sun_, 30.0),
        (_T, (0.1, 5), (0, 30)),
        -1,
        20,
        rises=(2,),
        falls=(1,),
    ),
    "hargreaves_et0_mm": Law(
        # To a thermometer's digits: a finer swing is lost in the sum with the temperature.
        lambda t, swing, sky: et.hargreaves_et0_mm(
            np.round(t, 4), np.round(t, 4) + np.round(swing, 4), np.round(t, 4) - np.round(swing, 4), sky
        ),
        ((-17, 50), (0, 15), (0, 45)),
        0,
        25,
        rises=(0, 1, 2),
    ),
    "longwave_down_wm2": Law(surface_temp.longwave_down_wm2, (_T, _RH, _C), 50, 660, rises=(0, 1)),
    "surface_temp_c": Law(
        lambda t, rh, u, c: surface_temp.surface_temp_c(t, rh, u, c, t), (_T, _RH, _U, _C), -40, 60
    ),
    "leaf_loss_mm_per_h": Law(
        lambda t, rh, u, sun_, sky: leaf_wetness.leaf_loss_mm_per_h(t, rh, u, sun_, sky, t),
        (_T, _RH, _U, (0, 1000), (150, 450)),
        -0.3,
        4,
        rises=(3, 4),
        falls=(1,),
    ),
    "wet_by_humidity": Law(
        leaf_wetness.wet_by_humidity, (_RH, (0, 5)), 0, 1, rises=(0, 1), ignores_gap_of=(0, 1)
    ),
    "grass_temp_c": Law(
        grass_min.grass_temp_c, ((-30, 30), _T, _U, (-60, 60)), -33, 39.7, rises=(0, 1, 2, 3)
    ),
    "grass_spread_k": Law(grass_min.grass_spread_k, (_U,), 0.5, 2.5, falls=(0,)),
    "air_less_c": Law(grass_min.air_less_c, ((-30, 30), (-60, 60)), -33, 30, rises=(0, 1)),
    "daily_grass_min_c": Law(
        grass_min.daily_grass_min_c, ((-30, 30), (-30, 30), _U, _C), -60, 60, rises=(0, 2, 3), falls=(1,)
    ),
    "daily_ground_frost_chance": Law(
        grass_min.daily_ground_frost_chance, ((-30, 15), (-20, 30), _U, _C), 0, 1
    ),
    "frost_chance": Law(frost.frost_chance, ((-30, 30), (0.3, 5)), 0, 1, falls=(0,)),
    "forecast_spread_k": Law(frost.forecast_spread_k, ((-5, 16),), 1.5, 6, rises=(0,)),
    "rain_energy_mj_ha_mm": Law(rain_energy.rain_energy_mj_ha_mm, ((0, 300),), 0.08, 0.29, rises=(0,)),
    "runoff_mm": Law(lambda p: runoff.runoff_mm(p, 86.0), ((0, 500),), 0, 500, rises=(0,)),
    "sheet_shear_pa": Law(lambda q: rain_wash.sheet_shear_pa(q, 10.0, 10.0), ((0, 300),), 0, 6, rises=(0,)),
    "ponding_mm": Law(
        lambda rate, thirst: infiltration.ponding_mm(rate, 3.4, thirst),
        ((3.5, 200), (0, 100)),
        0,
        3400,
        rises=(1,),
        falls=(0,),
    ),
    "sunk_in_mm": Law(
        lambda before, rate, thirst: infiltration.sunk_in_mm(before, rate, 0.25, 3.4, thirst),
        ((0, 100), (0, 200), (0, 100)),
        0,
        150,
        rises=(0, 1, 2),
    ),
    "clear_sky_wm2": Law(sun.clear_sky_wm2, ((-90, 90),), 0, 880, rises=(0,)),
    "cloudy_sky_wm2": Law(sun.cloudy_sky_wm2, ((-90, 90), _C), 0, 880, rises=(0,), falls=(1,)),
    "daily_light_mol_m2": Law(sun.daily_light_mol_m2, ((0, 45),), 0, 93, rises=(0,)),
    "stability_class": Law(
        lambda u, c, h: spray_air.stability_class(u, c, h, h < 0.0), (_U, _C, (-60, 80)), 1, 7
    ),
    "drift_towards": Law(spray_air.drift_towards, ((0, 360), (0, 360), (0, 240)), 0, 1, rises=(2,)),
    "drop_life_s": Law(spray_air.drop_life_s, ((0, 40),), 3, 3600, falls=(0,)),
    "dollar_spot_chance": Law(leaf_wetness.dollar_spot_chance, ((10, 35), _RH), 0, 1, rises=(0, 1)),
    "disease_pressure": Law(
        leaf_wetness.disease_pressure,
        (_C, (-40, 9), _C),
        0,
        1,
        rises=(0, 1, 2),
        ignores_gap_of=(0, 1, 2),
    ),
    "brown_patch_index": Law(leaf_wetness.brown_patch_index, ((-10, 35), _RH), -40, 9, rises=(1,)),
    "pythium_risk": Law(leaf_wetness.pythium_risk, ((0, 45), (0, 24), (0, 30)), 0, 1, rises=(0, 1, 2)),
    "days_to_emerge": Law(
        lambda s: growth.days_to_emerge(s, 7.0, 20.0, 4.0), ((-20, 45),), 7, np.inf, falls=(0,)
    ),
    "emergence_rate_per_day": Law(
        lambda s: growth.emergence_rate_per_day(s, 7.0, 20.0, 4.0), ((-20, 45),), 0, 0.15, rises=(0,)
    ),
    "established": Law(growth.established, ((0, 10),), 0, 1, rises=(0,)),
    "readily_available_mm": Law(
        lambda total, use: soil_water.readily_available_mm(total, use, 0.4),
        ((1, 100), (0, 12)),
        0,
        80,
        rises=(0,),
        falls=(1,),
    ),
    "irrigation_mm": Law(
        lambda w, rain: leaf_wetness.irrigation_mm(w, 7.2, rain),
        ((-18, 10), (0, 30)),
        0,
        18,
        falls=(0, 1),
        ignores_gap_of=(1,),
    ),
}
LAW_OF = pytest.mark.parametrize("law", LAWS.values(), ids=LAWS)


def _draw(data: st.DataObject, law: Law) -> list[float]:
    return [data.draw(st.floats(low, high)) for low, high in law.ranges]


@LAW_OF
@settings(deadline=None, max_examples=40)
@given(data=st.data())
def test_value_is_known_and_within_bounds(law: Law, data: st.DataObject) -> None:
    out = float(law.formula(*_draw(data, law)))
    assert law.low - 1e-9 <= out <= law.high + 1e-9


@LAW_OF
@settings(deadline=None, max_examples=25)
@given(data=st.data())
def test_value_follows_its_arguments(law: Law, data: st.DataObject) -> None:
    arguments = _draw(data, law)
    here = float(law.formula(*arguments))
    for sign, places in ((1.0, law.rises), (-1.0, law.falls)):
        for place in places:
            more = list(arguments)
            more[place] = data.draw(st.floats(arguments[place], law.ranges[place][1]))
            there = float(law.formula(*more))
            assert here == there or sign * (there - here) >= -1e-9, (place, arguments, more)


@LAW_OF
@settings(deadline=None, max_examples=10)
@given(data=st.data())
def test_unknown_in_is_unknown_out_and_leaves_the_rest(law: Law, data: st.DataObject) -> None:
    arguments = _draw(data, law)
    for place in range(len(arguments)):
        if place in law.ignores_gap_of:
            continue
        columns = [np.array([value, value]) for value in arguments]
        columns[place][1] = np.nan
        out = np.asarray(law.formula(*columns))
        assert np.isnan(out[1]), place
        # The balance stops when all values are near enough; the rest are the same to a bit or two.
        np.testing.assert_allclose(out[0], float(law.formula(*arguments)), rtol=1e-9, atol=1e-4)


@LAW_OF
def test_an_array_is_its_scalars(law: Law) -> None:
    rng = np.random.default_rng(12)
    columns = [rng.uniform(low, high, (3, 4)) for low, high in law.ranges]
    whole = np.asarray(law.formula(*columns))
    assert whole.shape == (3, 4)
    for place in np.ndindex(3, 4):
        one = float(law.formula(*(float(column[place]) for column in columns)))
        np.testing.assert_allclose(whole[place], one, rtol=1e-9, atol=1e-4)
