"""What a whole pass of the shipped jobs costs, from the conditions to the bytes that are kept, in wet bulbs."""

from __future__ import annotations

import time
import zlib
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import replace

import numpy as np
import pytest

from planner.config.load import load
from planner.indices.humidity import wet_bulb_c
from planner.planning.conditions import conditions_of
from planner.planning.plan import make_plan
from planner.planning.week import WeekOrder
from planner.reports.answers import encode_report, encode_workings
from planner.reports.assessment import Assessment, days_of
from planner.reports.build import report_of, workings_of
from planner.store.tables import ZLIB_LEVEL
from planner.warnings import step, unread
from planner.warnings.base import Scene
from tests.benchmarks.conftest import Hold
from tests.benchmarks.test_pass_speed import HOURS, MEMBERS, START, ensemble
from tests.made import ROOT, forecast

#: Most wet bulbs of the same hours and members that a pass may take, without the solving of the week. The aim is
#: 300. Measured on the shipped site, whose hours begin and end within the hour: 272 to 290 on a quiet machine, up to
#: 345 beside other work, and 403 on a quiet machine whose wet bulb is faster; this keeps it from growing.
MOST = 480
#: Most bytes of report and workings as the store keeps them.
MOST_BYTES = 1_000_000
#: Each phase is measured so often; the best counts, since whatever else the machine does only adds.
RUNS = 8


class Phases:
    """Time on the processor of each phase, the best of all runs."""

    def __init__(self) -> None:
        self.best: dict[str, float] = {}

    @contextmanager
    def phase(self, name: str) -> Iterator[None]:
        begun = time.process_time()
        yield
        self.best[name] = min(self.best.get(name, 9.0), time.process_time() - begun)


def _measured() -> tuple[float, int]:
    """Wet bulbs that a whole pass takes, and bytes of it that are kept."""
    config, weather = load(ROOT / "config" / "haysel.toml"), ensemble()
    seen, phases, kept = forecast(weather, START), Phases(), [b""]
    pressure = np.full((1, HOURS), 1000.0)

    for _ in range(RUNS):
        for _ in range(3):
            with phases.phase("wet bulb"):
                wet_bulb_c(weather["air_temp_c"], weather["rel_humidity_pct"], pressure)
        conditions = conditions_of(weather, config.site, now=START, constants=config.constants)
        with phases.phase("judging"):
            plan = make_plan(conditions, config.jobs, now=START)
        with phases.phase("days and warnings"):
            assessed = Assessment(
                made_at=START,
                plan=plan,
                notices=(),
                forecast=seen,
                members=MEMBERS,
                stale=False,
                stale_after_h=6,
                faults=(),
                days=days_of(plan),
            )
            scene = Scene(plan=plan, now=START, sowings=(), done=(), thresholds=config.warnings.model_dump())
            life = step(scene, ())
            assessed = replace(assessed, life=life, notices=life.notices, not_read=unread(scene))
        with phases.phase("report"):
            report = report_of(assessed, WeekOrder(placed=(), left=(), method=""))
        with phases.phase("workings"):
            workings = workings_of(plan)
        with phases.phase("bytes"):
            bodies = [encode_report(report), encode_workings(workings)]
        with phases.phase("compressed"):
            kept = [zlib.compress(body, ZLIB_LEVEL) for body in bodies]

    bulb = phases.best.pop("wet bulb")
    costs = {name: spent / bulb for name, spent in phases.best.items()}
    whole, stored = sum(costs.values()), sum(map(len, kept))
    # The shipped jobs on the shipped surfaces: fewer would measure less.
    assert len(plan.judged) >= 50
    assert len(report.windows) > 0
    assert len(workings.jobs) == len(plan.judged)
    shown = ", ".join(f"{name} {cost:.0f}" for name, cost in costs.items())
    print(f"\nwet bulb {bulb * 1e3:.2f} ms; whole pass {whole:.0f} of them: {shown}; {stored} bytes")  # noqa: T201
    return whole, stored


# Run by itself: two test workers side by side share the memory that a pass lives on.
@pytest.mark.replay
def test_a_whole_pass_stays_within_its_wet_bulbs(hold: Hold) -> None:
    # A round in which something else took the machine says nothing; the figure is that of a quiet one.
    for _ in range(5):
        whole, stored = _measured()
        if whole <= MOST:
            break
    assert stored < MOST_BYTES
    hold(
        "a whole pass of the shipped rules, kept form and all",
        whole,
        "wet bulbs of the same hours",
        most=MOST,
    )
