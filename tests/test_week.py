"""The week's work: no two jobs at once, gaps kept, hours of the day kept, and the best of what is left."""

from __future__ import annotations

import itertools
from datetime import UTC, datetime, timedelta
from zoneinfo import ZoneInfo

import pytest

from planner.plan import make
from planner.solver import Row, choose
from planner.week import Away, clash, order
from tests.made import config, ground, weather

ZONE = ZoneInfo("Europe/London")
START = datetime(2026, 5, 4, tzinfo=UTC)
NOW = START + timedelta(days=3, hours=5)


@pytest.fixture(scope="module")
def plan():
    made = config()
    rain = dict.fromkeys(range(24 * 7, 24 * 7 + 6), 0.4)
    laid = ground(weather(START, 24 * 12, rain_mm=rain), now=NOW)
    return make(laid, made.jobs, now=NOW)


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
    assert "mixed-integer" in week.method


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
    assert week.left[0][1] == "no hour of the week holds while you are there"


def test_placing_one_by_one_keeps_the_same_promises(plan, monkeypatch):
    def gone(*_: object) -> list[int]:
        raise ImportError

    monkeypatch.setattr("planner.week.choose", gone)
    tasks = wanted(plan, ("mow_green", "green"), ("foliar_feed", "green"), ("rolling", "green"))
    week = order(tasks, now=NOW, zone=ZONE)
    check(week)
    assert "one by one" in week.method


def test_the_solver_finds_the_best_of_a_knapsack(capfd):
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
    found = choose(values, [Row(range(4), weights, most)])
    assert found is not None
    assert tuple(found.items) == best
    assert found.is_best
    # The solver's own greeting must not mix with ours.
    assert capfd.readouterr().out == ""
