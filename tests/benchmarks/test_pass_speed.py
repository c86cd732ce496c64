"""How long a pass takes, as ratios measured in one run: machines differ, ratios hold."""

from __future__ import annotations

import time
from collections.abc import Callable
from dataclasses import replace
from datetime import UTC, datetime

import numpy as np
import pytest

from planner.indices.humidity import wet_bulb_c
from planner.planning.conditions import attempt_of, conditions_of
from planner.planning.plan import make_plan
from planner.planning.suitability import judge
from planner.weather import Array, HourlyWeather
from tests.benchmarks.conftest import Hold
from tests.made import config
from tests.rules.plain_loop import state_at

HOURS, MEMBERS = 16 * 24, 51
START = datetime(2026, 5, 4, tzinfo=UTC)
#: Measured: 65 to 75, for about 1.6 times the needs that took 52 to 54, the infiltration of seeding jobs among them;
#: 96 to 104 on another machine, on which the code that took 75 takes 103; this keeps it from growing.
MOST_WET_BULBS = 125


def ensemble() -> HourlyWeather:
    """Members that wander from day to day, as members do."""
    rng = np.random.default_rng(1)
    day = np.sin((np.arange(HOURS) % 24 - 9) / 24 * 2 * np.pi)

    def wander(spread: float) -> Array:
        knots = rng.normal(0, spread, (MEMBERS, HOURS // 24 + 2))
        return np.stack([np.interp(np.arange(HOURS) / 24, np.arange(knots.shape[1]), row) for row in knots])

    columns = {
        "air_temp_c": 13 + 6 * day + wander(2),
        "rel_humidity_pct": np.clip(75 - 22 * day + wander(8), 20, 100),
        "wind_10m_ms": np.clip(3 + 1.5 * day + wander(1.5), 0.2, None),
        "gust_10m_ms": np.clip(5 + 2 * day + wander(2), 0.2, None),
        "wind_dir_deg": (200 + wander(60)) % 360,
        # Rain in about one hour of twelve, as in temperate places.
        "rain_mm": np.clip(wander(1.5) - 1.7, 0, None),
        "cloud_pct": np.clip(50 + wander(40), 0, 100),
        "shortwave_wm2": np.clip(600 * day, 0, None) + np.zeros((MEMBERS, HOURS)),
        # Ensembles carry these too.
        "soil_temp_6cm_c": 13 + 2 * day + wander(1),
        "et0_mm": np.clip(0.25 * day, 0, None) + np.zeros((MEMBERS, HOURS)),
    }
    epoch = (int(START.timestamp()) + 3600 * np.arange(HOURS)).tolist()
    return HourlyWeather.from_columns(epoch_s=epoch, columns=columns)


def best_of(runs: int, *calls: Callable[[], object]) -> list[float]:
    """Shortest time of each call, taken in turn so that a slow moment of the machine hits them alike."""
    best = [float("inf")] * len(calls)
    for _ in range(runs):
        for number, call in enumerate(calls):
            begun = time.perf_counter()
            call()
            best[number] = min(best[number], time.perf_counter() - begun)
    return best


# Run by itself: two test workers side by side share the memory that a pass lives on.
@pytest.mark.replay
def test_judging_takes_few_wet_bulbs_and_a_hundredth_of_a_plain_loop(hold: Hold) -> None:
    weather = ensemble()
    made = config()
    site = replace(made.site, surfaces=made.site.surfaces[:4])
    names = tuple(surface.name for surface in site.surfaces)
    jobs = [job.model_copy(update={"surfaces": names}) for job in made.jobs[:8]]

    def whole_pass() -> None:
        ground = conditions_of(weather, site, now=START)
        plan = make_plan(ground, jobs, now=START)
        assert len(plan.judged) == 32

    pressure = np.full((1, HOURS), 1000.0)

    def wet_bulb() -> None:
        wet_bulb_c(weather["air_temp_c"], weather["rel_humidity_pct"], pressure)

    whole_pass()
    # A round in which something else took the machine says nothing; the figure is that of a quiet one.
    for _ in range(6):
        passed, bulb = best_of(9, whole_pass, wet_bulb)
        ratio = passed / bulb
        if ratio <= MOST_WET_BULBS:
            break
    what = f"judging 8 jobs on 4 surfaces, {HOURS // 24} days of {MEMBERS} members"
    hold(what, ratio, "wet bulbs of the same hours", most=MOST_WET_BULBS)

    # The plain loop is timed on a sample of start hours and members, and counted for all of them.
    ground = conditions_of(weather, site, now=START)
    attempts = [
        (job, surface, attempt_of(ground, job, surface)) for job in jobs[:4] for surface in site.surfaces[:2]
    ]
    for job, surface, attempt in attempts:
        judge(job, surface, attempt)
    sample = range(100, 112)
    begun = time.perf_counter()
    for job, surface, attempt in attempts:
        for hour in sample:
            state_at(job, surface, attempt, hour, 7)
    per_hour = (time.perf_counter() - begun) / (len(attempts) * len(sample))
    looped = per_hour * HOURS * MEMBERS * 32
    hold("the same by a plain loop", looped / passed, "of that", least=100)
