"""The order of windows, and the plan as a whole, on hand-made windows: which one a keeper should look at first."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta
from types import SimpleNamespace

import numpy as np
import pytest

from planner.planning.plan import Judged, last_chance, make_plan, rank
from planner.planning.suitability import judge
from planner.planning.windows import Window, find
from planner.rules.gap import Gap
from planner.rules.limit import Limit
from planner.site import WorkDone
from tests.made import config, ground, weather

NOW = datetime(2026, 5, 4, 6, tzinfo=UTC)
H = timedelta(hours=1)


def window(at_h: float = 0.0, lasts_h: float = 2.0, next_h: float | None = 10.0, **changes) -> Window:
    """A steady window that begins `at_h` hours from NOW; the next one begins `next_h` hours after its end."""
    start = NOW + at_h * H
    end = start + lasts_h * H
    plain = {
        "job": "mow",
        "surface": "green",
        "start": start,
        "latest_start": end - H,
        "end": end,
        "best_start": start,
        "state": "steady",
        "score": 0.5,
        "margin": 0.8,
        "chance": 0.5,
        "best_hour": 0,
        "steady_from": None,
        "steady_until": None,
        "next_start": None if next_h is None else end + next_h * H,
    }
    return Window(**{**plain, **changes})


def judged(*windows: Window, job: str = "mow", surface: str = "green") -> Judged:
    return Judged(
        job=SimpleNamespace(name=job),
        surface=SimpleNamespace(name=surface),
        attempt=None,
        suitability=None,
        windows=windows,
    )


def first_of(one: Window, other: Window) -> Window:
    """The window that ranks first, in whatever order they come."""
    (a, b), (c, d) = rank([judged(one, other)], NOW), rank([judged(other, one)], NOW)
    assert (a.window, b.window) == (c.window, d.window)
    return a.window


def test_steady_comes_before_narrow_however_roomy_the_narrow_one_is():
    steady, narrow = window(margin=0.2), window(state="narrow", margin=1.0, score=1.0, chance=1.0)
    assert first_of(steady, narrow) is steady


def test_a_day_of_waiting_costs_three_parts_in_a_hundred():
    # Worked by hand: 0.80 in a day is worth 0.776, 0.81 in three days 0.739.
    today, tomorrow, later = window(margin=0.76), window(24, margin=0.80), window(72, margin=0.81)
    assert first_of(today, tomorrow) is tomorrow
    assert first_of(today, later) is today


def test_waiting_counts_from_the_first_hour_on():
    # 0.79 in a day is worth 0.766.
    soon, tomorrow = window(margin=0.78), window(24, margin=0.79)
    assert first_of(soon, tomorrow) is soon


def test_a_window_that_is_open_already_gains_nothing_by_its_age():
    open_since_yesterday, now = window(-24, 30, margin=0.76), window(margin=0.77)
    assert first_of(open_since_yesterday, now) is now
    # A whole day ago counts like now, and not less.
    assert first_of(window(-24, 30, margin=0.79), now).margin == 0.79


def test_the_last_chance_for_long_counts_for_more():
    # 0.70 as a last chance is worth 0.805, 0.65 is worth 0.7475.
    ordinary = window(margin=0.78)
    last, weak = window(margin=0.70, next_h=None), window(margin=0.65, next_h=None)
    assert first_of(ordinary, last) is last
    assert first_of(ordinary, weak) is ordinary


@pytest.mark.parametrize(
    ("next_h", "is_last"), [(None, True), (1.0, False), (48.0, False), (48.1, True), (100.0, True)]
)
def test_a_last_chance_is_one_without_another_within_two_days(next_h, is_last):
    found = window(next_h=next_h)
    assert last_chance(found) is is_last
    assert rank([judged(found)], NOW)[0].is_last_chance is is_last


def test_two_days_are_counted_from_the_end_of_the_window():
    # Forty hours of window and nine of waiting: the next one is near.
    assert not last_chance(window(lasts_h=40, next_h=9))


def test_worth_that_differs_by_less_than_can_be_known_leaves_it_to_the_mean_of_all_needs():
    safe, bold = window(margin=0.801, score=0.9), window(margin=0.804, score=0.2)
    assert first_of(safe, bold) is safe
    # Four parts in a hundred are a difference.
    assert first_of(window(margin=0.78, score=0.9), window(margin=0.82, score=0.2)).margin == 0.82


def test_equal_scores_leave_it_to_the_chance():
    likely, unlikely = window(score=0.501, chance=0.9), window(score=0.504, chance=0.3)
    assert first_of(likely, unlikely) is likely
    assert first_of(window(score=0.46, chance=0.9), window(score=0.54, chance=0.3)).score == 0.54


def test_a_chance_that_is_not_known_counts_as_none():
    unknown, small = window(chance=None), window(chance=0.1)
    assert first_of(unknown, small) is small
    longer = window(chance=None, lasts_h=5)
    assert first_of(longer, window(chance=0.0)) is longer


def test_equal_chances_leave_it_to_the_longer_window_then_to_the_sooner():
    assert first_of(window(lasts_h=2), window(lasts_h=6)).end == NOW + 6 * H
    # An hour costs a thousandth, which is below what is told apart.
    assert first_of(window(0.5), window(1.0)).start == NOW + 0.5 * H


def test_at_last_the_names_decide_so_that_the_order_never_changes():
    found = rank(
        [
            judged(window(), job="roll", surface="apron"),
            judged(window(), job="mow", surface="tee"),
            judged(window(), job="mow", surface="green"),
        ],
        NOW,
    )
    assert [(each.judged.job.name, each.judged.surface.name) for each in found] == [
        ("mow", "green"),
        ("mow", "tee"),
        ("roll", "apron"),
    ]
    assert [each.rank for each in found] == [1, 2, 3]


AIR = Limit(id="air", label="air", quantity="air_temp_c", hard_min=5, best_from=10, low="cold")
WATER = Limit(id="water", label="water", quantity="storage_pct_fc", hard_max=400, best_to=300, high="wet")


def job(name: str, *needs, **changes):
    plain = {
        "name": name,
        "needs": needs,
        "surfaces": ("green", "apron strip", "collar"),
        "duration_min": 60.0,
    }
    return config().job("mow_green").model_copy(update={**plain, **changes})


def test_a_plan_judges_each_job_on_each_surface_as_if_it_were_alone():
    laid = ground(weather(NOW, 72, air_temp_c=dict.fromkeys(range(20, 30), 2.0)))
    jobs = (job("second", AIR, WATER), job("first", AIR))
    plan = make_plan(laid, jobs, now=NOW + 3 * H)
    site_order = [s.name for s in laid.site.surfaces if s.name in jobs[0].surfaces]
    assert [(j.job.name, j.surface.name) for j in plan.judged] == [
        (name, surface) for name in ("second", "first") for surface in site_order
    ]
    assert plan.made_at == NOW + 3 * H
    assert plan.conditions is laid
    assert [each.rank for each in plan.ranked] == list(range(1, 1 + sum(len(j.windows) for j in plan.judged)))
    for each in plan.judged:
        attempt = each.attempt
        assert attempt.quantities.surface_here.name == each.surface.name
        alone = judge(each.job, each.surface, attempt)
        assert (each.suitability.state == alone.state).all()
        assert each.suitability.surface.name == each.surface.name
        assert each.windows == find(alone, attempt, now=NOW + 3 * H)
        assert {w.surface for w in each.windows} == {each.surface.name}


def test_work_done_and_planned_counts_where_it_is_done():
    since = Gap(id="since", label="since", direction="since", other=("mowing",), hard_min=10, low="too soon")
    until = Gap(id="until", label="until", direction="until", other=("mowing",), hard_min=10, low="too near")
    done = WorkDone(job="m", kind="mowing", surface="green", at=NOW)
    planned = WorkDone(job="m", kind="mowing", surface="collar", at=NOW + 30 * H)
    plan = make_plan(
        ground(weather(NOW, 48)), [job("feed", AIR, since, until)], now=NOW, done=(done,), planned=(planned,)
    )
    opened = {j.surface.name: (j.suitability.state <= 1) for j in plan.judged}
    assert opened["apron strip"][:47].all()
    assert list(np.flatnonzero(~opened["green"][:47])) == list(range(10))
    # An hour of work and ten before the cut at 30, then ten after it.
    assert list(np.flatnonzero(~opened["collar"][:47])) == list(range(20, 40))


def test_the_chance_comes_from_the_ensemble_and_the_verdict_from_the_forecast():
    plain = weather(NOW, 24)
    cold = weather(
        NOW, 24, members=4, air_temp_c=np.array([[2.0], [16.0], [16.0], [16.0]]) * np.ones((1, 24))
    )
    plan = make_plan(ground(plain), [job("mow", AIR)], now=NOW, ensemble=ground(cold))
    assert all((j.suitability.state[:20] == 0).all() for j in plan.judged)
    assert all((j.suitability.chance[:20] == 0.75).all() for j in plan.judged)
    assert make_plan(ground(plain), [job("mow", AIR)], now=NOW).judged[0].suitability.chance is None
