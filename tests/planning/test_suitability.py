"""Verdicts on invented margins: what bars, what breaks, what limits, what it scores, and how sure it is."""

from __future__ import annotations

from datetime import UTC, datetime
from types import SimpleNamespace

import numpy as np
import pytest

from planner.margin import EPS, STATES
from planner.planning.conditions import attempt_of
from planner.planning.suitability import judge, needs_of, verdicts
from planner.rules.gap import Gap
from planner.rules.limit import Limit
from planner.site import WorkDone
from tests.made import config, ground, weather

START = datetime(2026, 5, 4, tzinfo=UTC)
NAN = np.nan


def need(*, after=False, optional=False, weight=1.0):
    return SimpleNamespace(is_after=after, optional=optional, weight=weight)


NOW_A, NOW_B, LATER = need(), need(), need(after=True)


def states(needs, table):
    return [STATES[code] for code in verdicts(needs, np.array(table, dtype=float))[0]]


def limits(needs, table):
    return list(verdicts(needs, np.array(table, dtype=float))[2])


def scores(needs, table):
    return verdicts(needs, np.array(table, dtype=float))[1]


def test_states_from_the_least_margin():
    # At the limit it still holds, within comfort it is steady; a hair's breadth is the rounding of a sum.
    table = [[1.0, 0.999, 0.5, 0.0, -0.001, -5e-8, 1 - 5e-8, -2e-7]]
    assert states((NOW_A,), table) == [
        "steady",
        "narrow",
        "narrow",
        "narrow",
        "barred",
        "narrow",
        "steady",
        "barred",
    ]


def test_a_margin_that_is_short_by_just_the_rounding_of_a_sum_holds():
    assert states((NOW_A,), [[-EPS, 1.0 - EPS]]) == ["narrow", "steady"]
    assert states((LATER,), [[-EPS, 1.0 - EPS]]) == ["narrow", "steady"]


def test_what_fails_after_the_start_breaks_and_what_fails_at_it_bars():
    table = [[1, -0.1, -0.1, 0.5, 1], [-0.1, 1, -0.9, 1, 0.5]]
    assert states((NOW_A, LATER), table) == ["broken", "barred", "barred", "narrow", "narrow"]
    assert states((LATER,), [[-2e-7, -5e-8, 1.0]]) == ["broken", "narrow", "steady"]


def test_the_need_with_the_least_margin_limits():
    assert limits((NOW_A, NOW_B, LATER), [[0.5, 0.2, 3], [0.2, 0.5, 2], [0.3, 0.1, 1]]) == [1, 2, 2]


def test_of_a_barred_hour_a_need_at_the_start_limits_however_badly_a_later_one_fails():
    assert limits((LATER, NOW_A, NOW_B), [[-9.0, -9.0], [-0.1, 0.2], [0.2, 0.3]]) == [1, 0]


def test_a_needed_figure_that_is_unknown_leaves_the_hour_unread():
    table = [[NAN, 1, NAN, 1], [1, NAN, -1, 1]]
    assert states((NOW_A, NOW_B), table) == ["unread", "unread", "unread", "steady"]
    assert limits((NOW_A, NOW_B), table) == [0, 1, 0, 0]
    assert list(scores((NOW_A, NOW_B), table)) == [0, 0, 0, 1]


def test_an_optional_figure_that_is_unknown_is_passed_over():
    needs = (need(optional=True), NOW_A, need(after=True, optional=True))
    table = [[NAN, NAN, NAN], [0.5, -0.5, 1], [NAN, 1, NAN]]
    assert states(needs, table) == ["narrow", "barred", "steady"]
    assert limits(needs, table) == [1, 1, 1]
    # Half a margin scores a half, whatever else is unknown.
    assert scores(needs, table) == pytest.approx([0.5, 0.0, 1.0])


def test_an_hour_of_which_nothing_is_known_is_unread():
    needs = (need(optional=True), need(optional=True))
    assert states(needs, [[NAN, 1], [NAN, NAN]]) == ["unread", "steady"]


def test_what_is_unread_is_said_of_the_needed_figure_and_not_of_an_optional_one():
    needs = (need(optional=True), NOW_A, NOW_B)
    assert limits(needs, [[NAN], [-0.9], [NAN]]) == [2]
    # Where nothing is known at all, the first need stands for all.
    assert limits((need(optional=True), need(optional=True)), [[NAN], [NAN]]) == [0]


def test_the_score_is_the_weighted_geometric_mean_of_the_desirabilities():
    # Derringer & Suich 1980 (from memory): (0.25^1 * 0.64^3)^(1/4) = 0.506, (0.25 * 0.64)^(1/2) = 0.4.
    table = [[0.25, 1.0, 5.0], [0.64, 0.64, 2.0]]
    assert scores((NOW_A, NOW_B), table) == pytest.approx([0.4, 0.8, 1.0])
    heavy = need(weight=3.0)
    assert scores((NOW_A, heavy), table) == pytest.approx([0.50596, 0.71554, 1.0], abs=1e-4)
    # The same where another hour is not read.
    with_gap = [[0.25, NAN], [0.64, 1.0]]
    assert scores((NOW_A, heavy), with_gap) == pytest.approx([0.50596, 0.0], abs=1e-4)


def test_a_figure_on_its_limit_scores_next_to_nothing_and_not_nothing():
    # A thousandth for the figure on its limit, one for the other: the root of a thousandth.
    assert scores((NOW_A, NOW_B), [[0.0], [1.0]]) == pytest.approx([0.0316], abs=1e-4)
    assert scores((NOW_A, NOW_B, need(optional=True)), [[0.0, 1], [1.0, 1], [NAN, 1]])[0] == pytest.approx(
        0.0316, abs=1e-4
    )


def test_hours_that_do_not_hold_score_nothing():
    assert list(scores((NOW_A, LATER), [[-0.1, 1, 1], [1, -0.1, 1]])) == [0, 0, 1]


def air(**changes):
    plain = {"id": "air", "label": "air", "quantity": "air_temp_c", "hard_min": 5.0, "low": "cold"}
    return Limit(**{**plain, **changes})


RAIN = Limit(id="rain", label="rain", quantity="rain_mm", hard_max=1.0, best_to=0.5, high="rain")
SNOW = Limit(id="snow", label="snow", quantity="snow_mm", hard_max=0.5, high="snow", optional=True)
FORECAST_SNOW = SNOW.model_copy(update={"optional": False})


def judged(*needs, members=None, done=(), hours=6, minutes=60.0, count=1, **columns):
    laid = ground(weather(START, hours, count, **columns))
    surface = laid.site.surface("green")
    job = config().job("mow_green").model_copy(update={"needs": needs, "duration_min": minutes})
    attempt = attempt_of(laid, job, surface, done)
    spread = None if members is None else attempt_of(ground(members), job, surface, done)
    return judge(job, surface, attempt, members=spread)


def members(**columns):
    return {name: np.array(rows, dtype=float) for name, rows in columns.items()}


def test_the_chance_is_the_share_of_members_in_which_every_limit_holds():
    columns = members(
        air_temp_c=[[9, 9, 9, 9, 9, 9], [9, 2, 9, 2, 9, 9], [9, 9, 9, 2, 9, 9], [9, 9, 9, 2, 9, 9]],
        rain_mm=[[0, 0, 0, 0, 0, 0], [0, 0, 3, 3, 0, 0], [0, 3, 3, 0, 0, 0], [0, 0, 0, 0, 3, 0]],
    )
    found = judged(air(), RAIN, count=4, **columns)
    assert list(found.chance) == [1.0, 0.5, 0.5, 0.25, 0.75, 1.0]
    # The plain forecast is the first member, and it holds throughout.
    assert {STATES[code] for code in found.state} == {"steady"}


def test_the_chance_is_of_the_members_that_can_be_read():
    columns = members(
        air_temp_c=[[9] * 6, [9, NAN, NAN, NAN, 2, 9], [9, 2, NAN, NAN, 9, 9], [9, 9, 2, NAN, 9, 9]],
        rain_mm=[[0] * 6] * 4,
    )
    found = judged(air(), RAIN, count=4, **columns)
    # The third hour: one holds, one fails, two are not read; the fourth: only the first is read.
    assert list(found.chance) == pytest.approx([1.0, 2 / 3, 0.5, 1.0, 0.75, 1.0])


def test_an_hour_that_no_member_can_be_read_in_has_no_chance():
    found = judged(air(), count=2, air_temp_c=np.array([[9, NAN], [9, NAN]]), hours=2)
    assert found.chance[0] == 1.0
    assert np.isnan(found.chance[1])


def test_members_unknown_in_one_need_are_not_counted_for_another():
    columns = members(air_temp_c=[[9], [NAN], [9]], rain_mm=[[0], [0], [NAN]])
    assert list(judged(air(), RAIN, count=3, hours=1, **columns).chance) == [1.0]
    columns = members(air_temp_c=[[9], [NAN], [2]], rain_mm=[[0], [0], [NAN]])
    # The second and the third cannot be read; of what can be, the first holds.
    assert list(judged(air(), RAIN, count=3, hours=1, **columns).chance) == [1.0]


def test_an_optional_figure_unknown_in_some_members_does_not_lower_the_chance():
    columns = members(snow_mm=[[0, 0, 0], [NAN, 2, 0], [NAN, NAN, 0], [0, 0, 2]], air_temp_c=[[9] * 3] * 4)
    assert list(judged(air(), SNOW, count=4, hours=3, **columns).chance) == [1.0, 0.75, 0.75]
    assert judged(air(), FORECAST_SNOW, count=4, hours=3, **columns).chance == pytest.approx(
        [1.0, 2 / 3, 0.75]
    )


def test_one_forecast_has_no_chance_and_an_ensemble_lends_it_one():
    assert judged(air()).chance is None
    many = weather(
        START, 6, 300, air_temp_c=np.where(np.arange(300) < 60, 2.0, 9.0)[:, None] * np.ones((1, 6))
    )
    found = judged(air(), members=many)
    # More members than a byte can count.
    assert list(found.chance) == pytest.approx([0.8] * 6)
    shared = weather(START, 6, 3)
    alike = judged(air(), members=shared)
    assert list(alike.chance) == [1.0] * 6


def test_needs_that_no_member_differs_in_give_no_chance():
    laid = ground(weather(START, 4, 3))
    surface = laid.site.surface("green")
    gap = Gap(id="g", label="since", direction="since", other=("mowing",), hard_min=2, low="too soon")
    job = config().job("mow_green").model_copy(update={"needs": (gap,)})
    cut = WorkDone(job="m", kind="mowing", surface="green", at=START)
    assert judge(job, surface, attempt_of(laid, job, surface, (cut,))).chance is None


def test_a_gap_to_work_that_is_not_on_record_is_not_among_the_needs():
    laid = ground(weather(START, 24))
    surface = laid.site.surface("green")
    gap = Gap(id="g", label="since", direction="since", other=("mowing",), hard_min=2, low="too soon")
    longest = gap.model_copy(update={"id": "longest", "hard_max": 90.0})
    job = config().job("mow_green").model_copy(update={"needs": (air(), gap, longest)})
    attempt = attempt_of(laid, job, surface)
    assert [n.id for n in needs_of(job, surface, attempt)] == ["air", "longest"]
    cut = WorkDone(job="m", kind="mowing", surface="green", at=START)
    with_work = attempt_of(laid, job, surface, (cut,))
    assert [n.id for n in needs_of(job, surface, with_work)] == ["air", "g", "longest"]
    assert [n.id for n in judge(job, surface, with_work).needs] == ["air", "g", "longest"]


def test_the_figure_said_is_that_of_the_side_with_less_margin():
    both = air(hard_min=0.0, best_from=5.0, best_to=15.0, hard_max=25.0, high="hot")
    temps = np.array([[8, 12, 3, 12, 14, 21, 6, 6]])
    found = judged(both, minutes=120.0, hours=8, air_temp_c=temps)
    # 3 is 0.6 of the way to comfort from below, 12 well within it; 21 is 0.4 of the way from above, 14 within.
    assert [found.value(0, hour) for hour in (0, 1, 4, 6)] == [12.0, 3.0, 21.0, 6.0]
    # Where 8 and 12 both lie in comfort the upper side has less: 13 of 10 K below the limit, against 8 of 5 above.
    assert found.margin[0, :2] == pytest.approx([1.3, 0.6])


def test_a_figure_with_one_side_is_said_as_it_is():
    found = judged(air(), hours=3, air_temp_c=np.array([[9.0, 4.0, 7.5]]))
    assert [found.value(0, hour) for hour in range(3)] == [9.0, 4.0, 7.5]


def test_an_unknown_figure_is_said_as_unknown():
    found = judged(air(best_to=15.0), minutes=120.0, hours=3, air_temp_c=np.array([[9.0, NAN, 9.0]]))
    assert np.isnan(found.value(0, 0))
