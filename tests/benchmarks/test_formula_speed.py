"""Speed of the formulas, always as a ratio of two times in the same run."""

from __future__ import annotations

import math
import time
from collections.abc import Callable

import numpy as np
import psychrolib
import pytest

from planner.indices import (
    evapotranspiration,
    frost,
    growth,
    humidity,
    infiltration,
    leaf_wetness,
    rain_energy,
    rain_wash,
    runoff,
    spray_air,
    sun,
    surface_temp,
)
from planner.indices.humidity import wet_bulb_c
from planner.indices.surface_temp import surface_temp_c
from planner.weather import Array
from tests.benchmarks.conftest import Hold


def _best_s(work: Callable[[], object], rounds: int = 7) -> float:
    best = np.inf
    for _ in range(rounds):
        # Time on the processor, so that whatever else the machine does is not counted.
        begin = time.process_time()
        work()
        best = min(best, time.process_time() - begin)
    return float(best)


def test_wet_bulb_is_a_hundred_times_faster_than_the_scalar_library(hold: Hold) -> None:
    psychrolib.SetUnitSystem(psychrolib.SI)
    rng = np.random.default_rng(1)
    count = 20_000
    air, humidity = rng.uniform(0, 42, count), rng.uniform(10, 100, count)
    pressure = rng.uniform(900, 1035, count)
    few = 400

    def scalar() -> list[float]:
        return [
            psychrolib.GetTWetBulbFromRelHum(a, h / 100, p * 100)
            for a, h, p in zip(air[:few], humidity[:few], pressure[:few], strict=True)
        ]

    theirs = _best_s(scalar, 3) / few
    ours = _best_s(lambda: wet_bulb_c(air, humidity, pressure)) / count
    hold("a library that works value by value", theirs / ours, "of our wet bulb over an array", least=100)


def test_surface_costs_no_more_than_five_wet_bulbs(hold: Hold) -> None:
    rng = np.random.default_rng(2)
    count = 20_000
    air, humidity = rng.uniform(-5, 30, count), rng.uniform(20, 100, count)
    wind, cloud = rng.uniform(0, 8, count), rng.uniform(0, 1, count)
    ground, pressure = air + rng.uniform(-4, 4, count), rng.uniform(900, 1035, count)
    sun = np.maximum(rng.uniform(-400, 700, count), 0.0)
    surface = _best_s(lambda: surface_temp_c(air, humidity, wind, cloud, ground, pressure, sun))
    bulb = _best_s(lambda: wet_bulb_c(air, humidity, pressure))
    hold("surface temperature", surface / bulb, "wet bulbs of the same hours", most=5)


MILLION = 1_000_000


def _made(*bounds: tuple[float, float]) -> list[Array]:
    rng = np.random.default_rng(3)
    return [rng.uniform(low, high, MILLION) for low, high in bounds]


def _e0(t: Array) -> Array:
    return 0.6108 * np.exp(17.27 * t / (t + 237.3))


def _magnus(t: Array) -> Array:
    return 6.112 * np.exp(17.62 * t / (243.12 + t))


def _penman(t: Array, rh: Array, u: Array, net: Array, ground: Array) -> Array:
    es = _e0(t)
    slope = 4098.0 * es / (t + 237.3) ** 2
    gamma = 0.000665 * 101.3
    top = 0.408 * slope * (net - ground) + gamma * 37.0 / (t + 273.0) * u * es * (1.0 - rh / 100.0)
    return np.maximum(top / (slope + gamma * (1.0 + 0.34 * u)), 0.0)


def _longwave(t: Array, rh: Array, c: Array) -> Array:
    clear = 1.24 * (rh / 100.0 * _magnus(t) / (t + 273.15)) ** (1.0 / 7.0)
    return (0.84 * c + (1.0 - 0.84 * c) * clear) * 5.670374e-8 * (t + 273.15) ** 4


def _leaf_loss(t: Array, rh: Array, u: Array, sun: Array, sky: Array) -> Array:
    es, kelvin = _magnus(t), t + 273.15
    slope = es * 17.62 * 243.12 / (243.12 + t) ** 2
    ra = np.maximum(0.748 * u, 0.5) / 208.0
    net = 0.77 * sun + 0.5 * 0.985 * (sky - 5.670374e-8 * kelvin**4)
    air = 101325.0 / (287.05 * kelvin) * 1005.0
    heat = air * ra + 2.0 * 0.985 * 5.670374e-8 * kelvin**3 + 1.0
    gamma = 1005.0 * 1013.25 / (0.622 * 2.5e6) * heat / (air * ra)
    return (slope * net + heat * es * (1.0 - rh / 100.0)) / (slope + gamma) * (3600.0 / 2.5e6)


def _runoff(p: Array) -> Array:
    store = 25400.0 / 86.0 - 254.0
    return np.where(p > 0.2 * store, (p - 0.2 * store) ** 2 / (p + 0.8 * store), 0.0)


#: Of a slope of 10 %.
_SINE = 0.1 / np.sqrt(1.01)
_T, _RH, _U, _C = (-5.0, 40.0), (10.0, 100.0), (0.0, 12.0), (0.0, 1.0)
#: A formula, the plain expression that a hand would write for it, and the ranges of its arguments.
PLAIN: list[tuple[str, Callable[..., object], Callable[..., object], tuple[tuple[float, float], ...]]] = [
    ("growth_potential", growth.growth_potential, lambda t: np.exp(-0.5 * ((t - 20.0) / 5.5) ** 2), (_T,)),
    (
        "growth_in_light",
        lambda g, d: growth.growth_in_light(g, d, 30.0),
        lambda g, d: g * np.minimum(d / 30.0, 1.0),
        (_C, (0, 60)),
    ),
    ("growing_degree_days", growth.growing_degree_days, lambda t: np.maximum(t - 0.0, 0.0), (_T,)),
    (
        "vapour_pressure_deficit_kpa",
        humidity.vapour_pressure_deficit_kpa,
        lambda t, rh: _magnus(t) * (1.0 - rh / 100.0) / 10.0,
        (_T, _RH),
    ),
    (
        "hourly_et0_mm",
        lambda *a: evapotranspiration.hourly_et0_mm(*a, 101.3),
        _penman,
        (_T, _RH, _U, (-0.3, 3), (-0.1, 0.3)),
    ),
    ("longwave_down_wm2", surface_temp.longwave_down_wm2, _longwave, (_T, _RH, _C)),
    (
        "leaf_loss_mm_per_h",
        lambda *a: leaf_wetness.leaf_loss_mm_per_h(*a, a[0]),
        _leaf_loss,
        (_T, _RH, _U, (0, 900), (250, 420)),
    ),
    (
        "rain_energy_mj_ha_mm",
        rain_energy.rain_energy_mj_ha_mm,
        lambda i: 0.29 * (1.0 - 0.72 * np.exp(-0.05 * i)),
        ((0, 80),),
    ),
    ("runoff_mm", lambda p: runoff.runoff_mm(p, 86.0), _runoff, ((0, 100),)),
    (
        "sheet_shear_pa",
        lambda q: rain_wash.sheet_shear_pa(q, 10.0, 10.0),
        lambda q: 9810.0 * np.cbrt(24.0 * 1.14e-6 * q / 3.6e5 / (78.48 * _SINE)) * _SINE * np.exp(-1.0 / 3.0),
        ((0, 50),),
    ),
    (
        "cloudy_sky_wm2",
        sun.cloudy_sky_wm2,
        lambda h, c: np.maximum(910.0 * np.sin(np.radians(h)) - 30.0, 0.0) * (1.0 - 0.75 * c**3.4),
        ((-20, 80), _C),
    ),
    (
        "dollar_spot_chance",
        leaf_wetness.dollar_spot_chance,
        lambda t, rh: 1.0 / (1.0 + np.exp(11.4041 - 0.0894 * rh - 0.1932 * t)),
        ((10, 35), _RH),
    ),
    (
        "brown_patch_index",
        leaf_wetness.brown_patch_index,
        lambda t, rh: -21.5 + 0.15 * rh + 1.4 * t - 0.033 * t * t,
        ((-5.0, 35.0), _RH),
    ),
    (
        "drift_towards",
        lambda d: spray_air.drift_towards(d, 90.0, 20.0),
        lambda d: (np.abs((d - 90.0) % 360.0 - 180.0) <= 70.0).astype(float),
        ((0, 360),),
    ),
    ("drop_life_s", spray_air.drop_life_s, lambda k: np.minimum(1e4 / (80.0 * k), 3600.0), ((0.1, 30),)),
    (
        "days_to_emerge",
        lambda t: growth.days_to_emerge(t, 7.0, 20.0, 4.0),
        lambda t: 7.0 * 16.0 / np.minimum(np.maximum(t - 4.0, 1e-9), 16.0),
        ((5, 40),),
    ),
    (
        "irrigation_mm",
        lambda w, r: leaf_wetness.irrigation_mm(w, 7.0, r),
        lambda w, r: np.where(np.maximum(-w, 0.0) >= 7.0, np.maximum(-w - r, 0.0), 0.0),
        ((-20, 5), (0, 10)),
    ),
    (
        "frost_chance",
        lambda m: frost.frost_chance(m, 1.5),
        np.vectorize(lambda m: 0.5 * math.erfc(m / 1.5 / math.sqrt(2.0))),
        ((-8, 12),),
    ),
]


@pytest.mark.parametrize(("name", "ours", "plain", "bounds"), PLAIN, ids=[row[0] for row in PLAIN])
def test_formula_takes_at_most_five_times_its_plain_expression(
    name: str,
    ours: Callable[..., object],
    plain: Callable[..., object],
    bounds: tuple[tuple[float, float], ...],
    hold: Hold,
) -> None:
    arguments = _made(*bounds)
    few = [argument[:2000] for argument in arguments]
    np.testing.assert_allclose(np.asarray(ours(*few)), np.asarray(plain(*few)), rtol=1e-6, atol=1e-6)
    ratios = []
    for _ in range(3):
        ratios.append(_best_s(lambda: ours(*arguments), 1) / _best_s(lambda: plain(*arguments), 1))
    hold(f"`{name}`", min(ratios), "of its plain expression", most=5)


def test_infiltration_tells_its_cost_by_member_and_hour(hold: Hold) -> None:
    # 51 members over 16 days, storms every 40 hours a few hours apart; told as wet bulbs of the same hours.
    rng = np.random.default_rng(4)
    rain = np.zeros((51, 384))
    for member in range(51):
        for start in range(10, 370, 40):
            at = start + int(rng.integers(-4, 5))
            rain[member, at : at + 6] = rng.exponential(2.0, 6)
    each, ways = np.ones(51), rain_wash.ways()
    ground = infiltration.Ground(
        room=np.full(rain.shape, 0.18),
        suction_mm=88.9 * each,
        conductivity_mm_h=3.4 * each,
        spreads_h=24.0 * each,
        frozen=np.zeros(rain.shape),
    )
    melt = np.zeros(rain.shape)
    given = {"quarters": ways.quarters, "beds": ways.beds, "hollows_mm": 0.5}
    excess = _best_s(lambda: infiltration.peak_excess_mm_h(rain, melt, ground, **given), 3)
    air, humid = rng.uniform(0, 40, rain.shape), rng.uniform(10, 100, rain.shape)
    bulb = _best_s(lambda: wet_bulb_c(air, humid), 3)
    hold("infiltration, a soil, all its ways", excess / bulb, "wet bulbs of the same hours", most=60)
