"""Speed of the formulas, always as a ratio of two times in the same run."""

from __future__ import annotations

import time
from collections.abc import Callable

import numpy as np
import psychrolib

from planner.indices.humidity import wet_bulb_c
from planner.indices.surface_temp import surface_temp_c


def _best_s(work: Callable[[], object], rounds: int = 7) -> float:
    best = np.inf
    for _ in range(rounds):
        begin = time.perf_counter()
        work()
        best = min(best, time.perf_counter() - begin)
    return float(best)


def test_wet_bulb_is_a_hundred_times_faster_than_the_scalar_library() -> None:
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
    assert theirs / ours >= 100.0, f"{theirs / ours:.0f} times"


def test_surface_costs_no_more_than_five_wet_bulbs() -> None:
    rng = np.random.default_rng(2)
    count = 20_000
    air, humidity = rng.uniform(-5, 30, count), rng.uniform(20, 100, count)
    wind, cloud = rng.uniform(0, 8, count), rng.uniform(0, 1, count)
    ground, pressure = air + rng.uniform(-4, 4, count), rng.uniform(900, 1035, count)
    sun = np.maximum(rng.uniform(-400, 700, count), 0.0)
    surface = _best_s(lambda: surface_temp_c(air, humidity, wind, cloud, ground, pressure, sun))
    bulb = _best_s(lambda: wet_bulb_c(air, humidity, pressure))
    assert surface / bulb <= 5.0, f"{surface / bulb:.1f} wet bulbs"
