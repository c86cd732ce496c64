"""The week's work: no two jobs at once, gaps kept, hours of the day kept, and the best of what is left."""

from __future__ import annotations

import itertools
import subprocess
import sys
from datetime import UTC, datetime, timedelta
from zoneinfo import ZoneInfo

import pytest

from planner.actions.one_pass import computed
from planner.config.load import load
from planner.forecast.recorded import read_file
from planner.planning.apart import Away
from planner.planning.asks import Ask
from planner.planning.plan import make_plan
from planner.planning.solver import AtMost, Choice, choose
from planner.planning.week import order as order_of_asks
from planner.site import WorkDone
from tests.made import DEMO, ROOT, config, ground, weather
from tests.planning.clash import clash

ZONE = ZoneInfo("Europe/London")
START = datetime(2026, 5, 4, tzinfo=UTC)
NOW = START + timedelta(days=3, hours=5)


@pytest.fixture(scope="module")
def plan():
    made = config()
    rain = dict.fromkeys(range(24 * 7, 24 * 7 + 6), 0.4)
    laid = ground(weather(START, 24 * 12, rain_mm=rain), now=NOW)
    return make_plan(laid, made.jobs, now=NOW)


def order(tasks, **settings):
    """The order of work that is wanted once, at any time."""
    return order_of_asks([Ask(judged=task) for task in tasks], **settings)


def wanted(plan, *pairs):
    return [next(j for j in plan.judged if (j.job.name, j.surface.name) == pair) for pair in pairs]


def check(week, hours_a_day=8.0):
    for first, second in itertools.pairwise(week.placed):
        assert first.end <= second.start
    for one, other in itertools.combinations(week.placed, 2):
        assert not clash(
            one.judged, one.start.timestamp() / 3600, other.judged, other.start.timestamp() / 3600
        )
    by_day: dict[object, float] = {}
    for placed in week.placed:
        day = placed.start.astimezone(ZONE).date()
        by_day[day] = by_day.get(day, 0.0) + placed.judged.job.duration_h
        assert placed.judged.suitability.state[placed.hour] <= 1
    assert all(hours <= hours_a_day + 1e-9 for hours in by_day.values())


def test_every_wanted_job_gets_an_hour_and_none_two(plan):
    tasks = wanted(
        plan,
        ("mow_green", "green"),
        ("foliar_feed", "green"),
        ("mow_surrounds", "east bank"),
        ("rolling", "green"),
    )
    week = order(tasks, now=NOW, zone=ZONE)
    check(week)
    assert sorted(p.judged.job.name for p in week.placed) == sorted(t.job.name for t in tasks)
    assert week.method == "the best order there is"


def test_the_cut_and_the_spray_on_one_surface_keep_their_gaps(plan):
    # Rules: half an hour at least after the cut, twelve hours at least before the next.
    week = order(wanted(plan, ("mow_green", "green"), ("foliar_feed", "green")), now=NOW, zone=ZONE)
    check(week)
    by_name = {p.judged.job.name: p for p in week.placed}
    cut, feed = by_name["mow_green"], by_name["foliar_feed"]
    if cut.start < feed.start:
        assert feed.start - cut.end >= timedelta(minutes=30)
    else:
        assert cut.start - feed.end >= timedelta(hours=12)


def test_time_away_is_kept_free(plan):
    away = Away(start=NOW, end=NOW + timedelta(days=2))
    week = order(wanted(plan, ("mow_green", "green"), ("rolling", "green")), now=NOW, zone=ZONE, away=[away])
    assert week.placed
    assert all(placed.start >= away.end for placed in week.placed)


def test_a_short_day_spreads_the_work(plan):
    tasks = wanted(plan, ("mow_green", "green"), ("mow_surrounds", "east bank"), ("mow_collar", "collar"))
    week = order(tasks, now=NOW, zone=ZONE, hours_a_day=1.0)
    check(week, hours_a_day=1.0)
    assert len({placed.start.astimezone(ZONE).date() for placed in week.placed}) == len(week.placed) == 3


def test_what_finds_no_hour_is_told(plan):
    away = Away(start=NOW, end=NOW + timedelta(days=20))
    week = order(wanted(plan, ("mow_green", "green")), now=NOW, zone=ZONE, away=[away])
    assert week.placed == ()
    assert week.left[0].is_away


def test_placing_one_by_one_keeps_the_same_promises(plan, monkeypatch):
    def gone(*_: object) -> list[int]:
        raise ImportError

    monkeypatch.setattr("planner.planning.week.choose", gone)
    tasks = wanted(plan, ("mow_green", "green"), ("foliar_feed", "green"), ("rolling", "green"))
    week = order(tasks, now=NOW, zone=ZONE)
    check(week)
    assert "one by one" in week.method


def test_a_solver_without_an_answer_leaves_the_week_to_the_plain_way(plan, monkeypatch):
    tasks = wanted(plan, ("mow_green", "green"), ("foliar_feed", "green"), ("rolling", "green"))
    monkeypatch.setattr("planner.planning.solver.TIME_LIMIT_S", 0.0)
    assert choose([1.0, 2.0], [AtMost([0, 1], [1.0, 1.0], 1.0)]) is None
    week = order(tasks, now=NOW, zone=ZONE)
    check(week)
    assert len(week.placed) == 3
    assert "one by one" in week.method


def test_a_best_so_far_is_not_called_the_best(plan, monkeypatch):
    def hurried(values, rows):
        found = choose(values, rows)
        return Choice(found.items, is_best=False)

    monkeypatch.setattr("planner.planning.week.choose", hurried)
    week = order(wanted(plan, ("mow_green", "green"), ("rolling", "green")), now=NOW, zone=ZONE)
    assert "the time there was" in week.method
    monkeypatch.setattr("planner.planning.week.choose", lambda values, rows: Choice([], is_best=False))
    week = order(wanted(plan, ("mow_green", "green"), ("rolling", "green")), now=NOW, zone=ZONE)
    assert len(week.placed) == 2
    assert "one by one" in week.method


def test_planned_work_takes_hands_and_hours_of_its_day(plan):
    day = NOW.replace(hour=8)
    fixed = Away(start=day, end=day + timedelta(hours=4))
    tasks = wanted(plan, ("mow_green", "green"), ("rolling", "green"), ("mow_collar", "collar"))
    week = order(tasks, now=NOW, zone=ZONE, hours_a_day=4.0, planned=[fixed])
    assert len(week.placed) == 3
    assert all(placed.start.astimezone(ZONE).date() > day.astimezone(ZONE).date() for placed in week.placed)
    roomy = order(tasks, now=NOW, zone=ZONE, hours_a_day=8.0, planned=[fixed])
    assert all(placed.end <= fixed.start or placed.start >= fixed.end for placed in roomy.placed)
    assert any(placed.start.date() == day.date() for placed in roomy.placed)


@pytest.mark.parametrize("minute", [0, 20])
def test_the_running_hour_is_worked_in_while_it_holds(minute):
    now = START + timedelta(days=3, hours=9, minutes=minute)
    # Rain from the next hour on leaves but the running one.
    laid = ground(weather(START, 24 * 6, rain_mm=dict.fromkeys(range(24 * 3 + 11, 24 * 6), 6.0)), now=now)
    judged = make_plan(laid, config().jobs, now=now)
    week = order(wanted(judged, ("mow_green", "green")), now=now, zone=ZONE)
    assert [placed.start for placed in week.placed] == [now]


def test_an_hour_that_no_longer_holds_is_not_worked_in(plan):
    late = NOW.replace(hour=17, minute=58)
    laid = ground(weather(START, 24 * 12), now=late)
    judged = make_plan(laid, config().jobs, now=late)
    week = order(wanted(judged, ("mow_green", "green")), now=late, zone=ZONE)
    for placed in week.placed:
        assert any(w.start <= placed.start <= w.latest_start for w in placed.judged.windows)


def test_a_placed_job_is_judged_with_the_rest_of_the_plan(plan):
    tasks = wanted(plan, ("mow_surrounds", "east bank"), ("systemic_herbicide", "east bank"))
    week = order(tasks, now=NOW, zone=ZONE)
    check(week)
    assert len(week.placed) == 2
    cut, spray = sorted(week.placed, key=lambda placed: placed.judged.job.kind)
    assert cut.judged.job.kind == "mowing"
    needs = spray.judged.suitability.needs
    side = "since" if cut.start < spray.start else "until"
    row = next(
        n for n, need in enumerate(needs) if "mowing" in getattr(need, "other", ()) and need.direction == side
    )
    told = spray.judged.suitability.value(row, spray.hour) * (24.0 if needs[row].unit == "d" else 1.0)
    since = (spray.start - cut.end) if cut.start < spray.start else (cut.start - spray.end)
    assert told == pytest.approx(since / timedelta(hours=1), abs=0.01)


def demo(**changes):
    from dataclasses import replace

    now = datetime(2026, 5, 7, 5, tzinfo=UTC)
    full = replace(load(DEMO), **changes)
    week = read_file(ROOT / "fixtures" / "demo" / "week.csv", fetched_at=now)
    return computed(full, week, now=now)[0].week


def test_every_sentence_of_the_demos_week_is_true_of_its_plan():
    week = demo()
    placed = {(row.job, row.surface): row for row in week.work}
    cut, spray = placed["mow_surrounds", "east bank"], placed["systemic_herbicide", "east bank"]
    days = (spray.start - cut.end) / timedelta(days=1)
    assert days < 7
    if spray.limiting.need == "since_cut":
        assert spray.limiting.value == pytest.approx(days, abs=0.1)
    assert all(row.state in ("steady", "narrow") for row in week.work)
    assert {row.kind for row in week.work} >= {"spraying", "mowing"}


def test_the_answer_keeps_planned_work_out_of_reach_and_lists_it():
    at = datetime.fromisoformat("2026-05-07T09:00:00+01:00")
    core = WorkDone(job="hollow_coring", kind="aerating", surface="collar", at=at)
    roll = WorkDone(job="rolling", kind="rolling", surface="green", at=at.replace(hour=8))
    week = demo(planned=(core, roll))
    planned = {row.job: row for row in week.planned}
    begin, end = planned["hollow_coring"].start, planned["hollow_coring"].end
    assert begin == at
    assert end > begin
    for row in week.work:
        assert row.end <= begin or row.start >= end, row
    # What is planned already is not placed a second time.
    assert "rolling" not in {row.job for row in week.work}


def test_the_solver_finds_the_best_of_a_knapsack():
    # The textbook 0-1 knapsack, checked by trying all subsets.
    values, weights, most = [60.0, 100.0, 120.0, 70.0], [10.0, 20.0, 30.0, 15.0], 50.0
    best = max(
        (
            subset
            for n in range(5)
            for subset in itertools.combinations(range(4), n)
            if sum(weights[i] for i in subset) <= most
        ),
        key=lambda subset: sum(values[i] for i in subset),
    )
    found = choose(values, [AtMost(range(4), weights, most)])
    assert found is not None
    assert tuple(found.items) == best
    assert found.is_best


@pytest.mark.parametrize("call", ["solve()", "thread = Thread(target=solve); thread.start(); thread.join()"])
def test_a_solve_leaves_the_output_of_the_process_alone(call):
    script = (
        "import os, sys\n"
        "from threading import Thread\n"
        "from planner.planning.solver import AtMost, choose\n"
        "def redirected(*_):\n"
        "    raise AssertionError('the output is not ours to redirect')\n"
        "os.dup2 = redirected\n"
        "def solve():\n"
        "    print(choose([1.0, 2.0], [AtMost([0, 1], [1.0, 1.0], 1.0)]).items, file=sys.stderr)\n"
        f"{call}\n"
    )
    done = subprocess.run([sys.executable, "-c", script], capture_output=True, text=True, check=True)
    assert done.stdout == ""
    assert done.stderr == "[1]\n"
