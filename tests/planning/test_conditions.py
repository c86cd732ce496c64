"""What jobs and surfaces share is listed by value, computed once, and changes no verdict."""

from __future__ import annotations

from collections import Counter
from dataclasses import replace
from datetime import UTC, datetime, timedelta

import numpy as np

from planner.planning.conditions import Task, attempt_of, compute_figures, conditions_of, tasks_of
from planner.planning.plan import make_plan
from planner.planning.suitability import judge
from planner.planning.windows import find
from planner.rules import figures
from planner.rules.clock import Clock
from planner.rules.gap import Gap
from planner.rules.limit import Limit
from planner.site import WorkDone
from tests.made import config, ground, weather

NOW = datetime(2026, 5, 4, tzinfo=UTC)
H = timedelta(hours=1)
AIR = Limit(
    id="air", label="air", quantity="air_temp_c", when="after", hours=(0.25, 5.5), hard_min=5, low="cold"
)
WATER = Limit(id="water", label="water", quantity="storage_pct_fc", hard_max=110, high="wet")
RATIO = Limit(
    id="ratio", label="ratio", quantity="grass_height_ratio", hard_min=1, low="short", optional=True
)


def job(name="roll", *needs, minutes=60.0):
    names = tuple(surface.name for surface in config().site.surfaces)
    changes = {"name": name, "needs": needs, "surfaces": names, "duration_min": minutes}
    return config().job("mow_green").model_copy(update=changes)


def wavy(members: int = 1):
    rng = np.random.default_rng(3)
    air = 6 + 5 * np.sin(np.arange(72) / 24 * 2 * np.pi) + rng.normal(0, 1, (members, 72))
    return weather(NOW, 72, members, air_temp_c=air, rain_mm={9: 12.0, 33: 4.0})


def test_a_job_that_the_sky_alone_decides_is_one_task_on_all_surfaces():
    laid = ground(wavy())
    (task,) = tasks_of(laid, job("roll", AIR))
    assert list(task.attempts) == [surface.name for surface in laid.site.surfaces]
    for name, attempt in task.attempts.items():
        assert attempt.quantities.surface_here.name == name
    # Water sets surfaces apart by their root zones: here two of sand and three of loam, of one depth.
    assert [list(task.attempts) for task in tasks_of(laid, job("roll", AIR, WATER))] == [
        ["green", "collar"],
        ["east bank", "apron strip", "mat tees"],
    ]


def test_what_the_diary_says_of_one_surface_sets_it_apart():
    made = config()
    hours = wavy()
    tall = {"green": {"grass_height_ratio": np.full((1, hours.hours), 1.4)}}
    laid = conditions_of(hours, made.site, now=NOW, diary_quantities=tall)
    tasks = tasks_of(laid, job("mow", RATIO))
    assert [list(task.attempts) for task in tasks][0] == ["green"]
    assert len(tasks) == 2
    assert tasks[0].judged().margin[0, 0] > 0
    assert np.isnan(tasks[1].judged().margin[0, 0])


def test_work_on_record_sets_its_surface_apart_and_no_other():
    laid = ground(wavy())
    gap = Gap(id="g", label="since", direction="since", other=("mowing",), hard_min=5, low="too soon")
    cut = WorkDone(job="mow", kind="mowing", surface="green", at=NOW - 2 * H)
    tasks = tasks_of(laid, job("feed", AIR, gap), done=(cut,))
    assert {tuple(task.attempts) for task in tasks} >= {("green",)}
    assert len(tasks) == 2


def test_every_figure_is_computed_once_and_none_after_the_list(monkeypatch):
    laid = ground(wavy(2))
    counted: Counter[tuple[int, ...]] = Counter()
    plain = figures.summed_up

    def counting(column, low, high, how):
        counted[(column.__array_interface__["data"][0], column.shape[0], low, high, how)] += 1
        return plain(column, low, high, how)

    monkeypatch.setattr(figures, "summed_up", counting)
    total = Limit(
        id="rain", label="rain", quantity="rain_mm", when="before", hours=(6, 0), sum_up="total", hard_max=9
    )
    jobs = [job("a", AIR, WATER, total, minutes=45.0), job("b", total, AIR, minutes=45.0), job("c", AIR)]
    tasks = [task for each in jobs for task in tasks_of(laid, each)]
    compute_figures(tasks)
    # The air and the rain serve three jobs; the water is each surface's own.
    assert set(counted.values()) == {1}
    listed = len(laid.shared.figures)
    for task in tasks:
        find(task.judged(), task.attempt, now=NOW, moments=task.moments)
    assert len(laid.shared.figures) == listed
    assert set(counted.values()) == {1}


def test_a_plain_forecast_needs_no_figures_of_members():
    total = Limit(
        id="rain", label="rain", quantity="rain_mm", when="before", hours=(6, 0), sum_up="total", hard_max=9
    )
    plain, members = ground(wavy()), ground(wavy(2))
    compute_figures(tasks_of(plain, job("a", total)))
    compute_figures(tasks_of(members, job("a", total)))
    assert (len(plain.shared.figures), len(members.shared.figures)) == (2, 3)


def test_a_plan_lists_its_figures_before_it_judges(monkeypatch):
    laid = ground(wavy())
    listed = []

    plain = Task.judged

    def judged(task):
        listed.append(len(laid.shared.figures))
        return plain(task)

    monkeypatch.setattr(Task, "judged", judged)
    make_plan(laid, [job("a", AIR), job("b", WATER)], now=NOW)
    assert set(listed) == {len(laid.shared.figures)}


def test_what_is_shared_changes_no_verdict_and_no_window():
    made = config()
    hours, clock = wavy(5), Clock(opens="06:30", closes="19:45")
    jobs = [job("a", AIR, clock, WATER, minutes=45.0), job("b", clock, AIR, minutes=90.0), *made.jobs[:3]]
    plan = make_plan(conditions_of(hours, made.site, now=NOW), jobs, now=NOW)
    assert sum(len(each.windows) for each in plan.judged) > 5
    for each in plan.judged:
        fresh = conditions_of(hours, made.site, now=NOW)
        attempt = attempt_of(fresh, each.job, each.surface)
        alone = judge(each.job, each.surface, attempt)
        for field in ("margin", "state", "score", "limiting", "chance"):
            np.testing.assert_array_equal(getattr(each.suitability, field), getattr(alone, field))
        assert each.windows == find(alone, attempt, now=NOW)


def test_needs_that_are_alike_by_value_share_their_result():
    laid = ground(wavy())
    attempt = attempt_of(laid, job("a", AIR), laid.site.surfaces[0])
    same = AIR.model_copy(update={"id": "other", "label": "another name"})
    tighter = AIR.model_copy(update={"hard_min": 6.0})
    assert same.result(attempt) is AIR.result(attempt)
    assert tighter.result(attempt) is not AIR.result(attempt)
    # From 1.25 h to 6.5 h after the start: a quarter of an hour later the same hours are touched.
    assert AIR.key(replace(attempt, offset_h=0.25)) == AIR.key(attempt)
    assert AIR.key(replace(attempt, offset_h=0.75)) != AIR.key(attempt)


def test_conditions_hand_on_all_that_is_known_of_the_site():
    made = config()
    laid = conditions_of(wavy(), made.site, now=NOW + H, constants={"firm_pct": 88.0})
    assert laid.sky.surface is None
    assert list(laid.surfaces) == [surface.name for surface in made.site.surfaces]
    for name, quantities in laid.surfaces.items():
        assert quantities.surface_here.name == name
        assert quantities.now == NOW + H
        assert quantities.constants == {"firm_pct": 88.0}
        assert quantities["delta_t_k"] is laid.sky["delta_t_k"]
