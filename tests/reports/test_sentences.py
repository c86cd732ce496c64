"""The words of a verdict: the side that presses, figures told apart from their limits, counts, surfaces once."""

from __future__ import annotations

import itertools
from datetime import timedelta

import numpy as np
import pytest

from planner.margin import STATES
from planner.reports.build import workings_of
from planner.reports.explain import explain
from planner.reports.sentences import held_against, is_low, job_on, roomier, sentence
from planner.rules.base import Need, Reading
from planner.rules.gap import Count
from tests.reports.made import demo_assessment, demo_pass


def need(**limits: float) -> Need:
    return Need(id="x", label="figure", unit="K", **limits)


SHAPES = [
    {"hard_min": 1.0, "best_from": 2.0, "best_to": 8.0, "hard_max": 10.0},
    {"hard_min": 1.05, "best_from": 1.15, "best_to": 1.4},
    {"best_from": 4.0, "best_to": 10.0, "hard_max": 15.0},
    {"hard_min": 3.0, "hard_max": 20.0},
    {"best_from": 2.0},
    {"hard_max": 4.0},
]


@pytest.mark.parametrize("limits", SHAPES)
def test_the_side_told_is_the_side_that_judges(limits: dict[str, float]) -> None:
    one = need(**limits)
    for low, extra in itertools.product(np.linspace(-3.0, 24.0, 55), (0.0, 0.5, 6.0)):
        reading = Reading(low=np.array([[low]]), high=np.array([[low + extra]]))
        by_low, by_high = (float(side[0, 0]) for side in one.sides(reading))
        if abs(by_low - by_high) > 1e-6:
            assert roomier(one, low, low + extra) == (by_low > by_high)
            if extra == 0.0 and ("hard_max" in limits or "best_to" in limits):
                assert is_low(one, float(low)) == (by_low < by_high)


def test_a_figure_short_of_comfort_is_told_that_comfort() -> None:
    assert held_against(need(**SHAPES[1]), 1.1487) == "figure 1.1, needs 1.05, best from 1.15"
    assert held_against(need(**SHAPES[1]), 1.1513) == "figure 1.2, needs 1.05"


@pytest.mark.parametrize(
    ("times", "words"),
    [(0, "not rolled"), (1, "rolled once"), (2, "rolled twice"), (6, "rolled 6 times")],
)
def test_a_count_is_told_in_words(times: int, words: str) -> None:
    one = Count(id="rolled", label="rolled in the last 7 days", other=("rolling",), days=7, hard_max=5)
    assert held_against(one, float(times)) == f"{words} in the last 7 days, at most 5 times"
    if times < 5:
        assert sentence("steady", one, float(times)).startswith(f"With room; closest limit: {words}")


def test_a_surface_in_the_name_of_a_job_is_not_told_again() -> None:
    assert job_on("mow the green", "green") == "mow the green"
    assert job_on("foliar feed", "green") == "foliar feed, green"


def test_explain_tells_the_verdict_that_barred_the_hour() -> None:
    """A limit missed by less than its margin is rounded to still fails where the hour is read."""
    assessment, (report, workings) = demo_assessment(), demo_pass()
    judged = next(
        one for one in assessment.plan.judged if (one.job.name, one.surface.name) == ("foliar_feed", "green")
    )
    found = workings.of("foliar_feed", "green")
    assert found is not None
    row = next(n for n, need in enumerate(workings.needs_of(found)) if need.id == "gust")
    hour = judged.attempt.quantities.weather.index(assessment.made_at)
    judged.suitability.margin.flags.writeable = True
    kept = judged.suitability.margin[row, hour]
    judged.suitability.margin[row, hour] = -0.0004
    try:
        again = workings_of(assessment.plan)
    finally:
        judged.suitability.margin[row, hour] = kept
    moment = assessment.made_at + timedelta(minutes=5)
    explained = explain(report, again, "foliar_feed", moment, "green")
    gust = next(one for one in explained.needs if one.need == "gust")
    assert gust.verdict == "fails"
    assert gust.wants
    assert gust.wants in explained.would_have_to_change


def test_every_closed_hour_names_what_would_have_to_change() -> None:
    report, workings = demo_pass()
    closed = 0
    for one in workings.jobs[:12]:
        for hour in range(0, workings.count, 7):
            moment = workings.first + timedelta(hours=hour)
            found = explain(report, workings, one.job, moment, one.surface)
            assert found.state == STATES[one.states[hour]]
            closed += found.state in ("barred", "broken")
            assert (found.state in ("barred", "broken")) <= bool(found.would_have_to_change)
    assert closed
