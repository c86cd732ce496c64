"""The words of a verdict: the side that presses, figures told apart from their limits, counts, surfaces once."""

from __future__ import annotations

import itertools

import numpy as np
import pytest

from planner.answers.others import workings
from planner.explaining import explain
from planner.rules.base import Need, Reading
from planner.rules.count import Count
from planner.words import held_against, is_low, job_on, roomier, sentence
from tests.service.conftest import Briefing, briefing

__all__ = ["briefing"]


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
    assert held_against(need(**SHAPES[1]), 1.1487).endswith("1.149 K, at least 1.05 K, kinder from 1.15 K")
    assert held_against(need(**SHAPES[1]), 1.1513) == "figure 1.2 K, at least 1.05 K, kinder from 1.15 K"


@pytest.mark.parametrize(("times", "words"), [(0, "not once"), (1, "once"), (2, "twice"), (6, "6 times")])
def test_a_count_is_told_in_words(times: int, words: str) -> None:
    one = Count(id="rolled", label="rolled in the last 7 days", other=("rolling",), days=7, hard_max=5)
    assert held_against(one, float(times)) == f"rolled {words} in the last 7 days, at most 5 times"
    if times < 5:
        assert sentence("steady", one, float(times)).startswith("Holds with room; tightest: rolled")


def test_a_surface_in_the_name_of_a_job_is_not_told_again() -> None:
    assert job_on("mow the green", "green") == "mow the green"
    assert job_on("foliar feed", "green") == "foliar feed, green"


def test_explain_tells_the_verdict_that_barred_the_hour(briefing: Briefing) -> None:
    """A limit missed by less than its room is rounded to still fails where the hour is read."""
    from datetime import timedelta

    judged = next(j for j in briefing.plan.judged if (j.job.name, j.surface.name) == ("foliar_feed", "green"))
    told = workings(briefing, judged)
    row = next(n for n, one in enumerate(told["needs"]) if one["id"] == "gust")
    hour = judged.trial.quantities.weather.index(briefing.made_at)
    judged.suitability.room.flags.writeable = True
    kept = judged.suitability.room[row, hour]
    judged.suitability.room[row, hour] = -0.0004
    try:
        again = workings(briefing, judged)
    finally:
        judged.suitability.room[row, hour] = kept
    found = explain(again, briefing.made_at + timedelta(minutes=5))
    gust = next(one for one in found["needs"] if one["need"] == "gust")
    assert gust["verdict"] == "fails"
    assert gust["wants"]
    assert gust["wants"] in found["would_have_to_change"]


def test_every_closed_hour_names_what_would_have_to_change(briefing: Briefing) -> None:
    from datetime import datetime, timedelta

    for judged in briefing.plan.judged[:12]:
        told = workings(briefing, judged)
        first = datetime.fromisoformat(told["first_hour"])
        for index in range(0, len(told["states"]), 7):
            found = explain(told, first + timedelta(hours=index))
            assert (found["state"] in ("barred", "broken")) <= bool(found["would_have_to_change"])
