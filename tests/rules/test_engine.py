"""The engine against the same rules as a plain loop, and the promises that each kind of need makes."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from planner.margin import NARROW, STATES
from planner.planning.conditions import attempt_of
from planner.planning.suitability import judge
from planner.planning.windows import find
from planner.rules.base import Attempt, Reading
from planner.rules.figures import summed_up, touched
from planner.rules.gap import Gap
from planner.rules.limit import Limit
from planner.site import WorkDone
from tests.made import config, ground, weather
from tests.rules.plain_loop import state_at

NOON = datetime(2026, 5, 7, 12, tzinfo=UTC)


def rough_weather(seed: int, hours: int = 24 * 6, members: int = 1, gaps: bool = True):
    """Weather that wanders over every limit, with holes in it."""
    rng = np.random.default_rng(seed)
    shape = (members, hours)
    day = np.sin((np.arange(hours) % 24 - 9) / 24 * 2 * np.pi)
    humidity = np.clip(75 - 25 * day + rng.normal(0, 8, shape), 20, 100)
    if gaps:
        humidity[:, rng.integers(0, hours, 4)] = np.nan
    return weather(
        datetime(2026, 5, 4, tzinfo=UTC),
        hours,
        members,
        air_temp_c=13 + 7 * day + rng.normal(0, 2, shape),
        rel_humidity_pct=humidity,
        wind_10m_ms=np.clip(2.6 + 1.2 * day + rng.normal(0, 0.7, shape), 0, None),
        gust_10m_ms=np.clip(4.0 + 2 * day + rng.normal(0, 1, shape), 0, None),
        rain_mm=np.where(rng.random(shape) < 0.06, rng.exponential(1.5, shape), 0.0),
        cloud_pct=rng.uniform(0, 100, shape),
        shortwave_wm2=np.clip(600 * day, 0, None) + np.zeros(shape),
        soil_temp_6cm_c=13.0,
    )


@pytest.mark.parametrize("seed", [0, *(pytest.param(seed, marks=pytest.mark.replay) for seed in (1, 2, 3))])
def test_engine_agrees_with_a_plain_loop_hour_by_hour(seed):
    # Source: the rules file's own words, walked hour by hour by tests/rules/plain_loop.py.
    made = config()
    hours = rough_weather(seed)
    laid = ground(hours)
    done = tuple(
        WorkDone(job="mow_surrounds", kind="mowing", surface=s.name, at=NOON - timedelta(days=2))
        for s in made.site.surfaces
    )
    planned = tuple(
        WorkDone(job="mow_green", kind="mowing", surface=s.name, at=NOON + timedelta(days=1))
        for s in made.site.surfaces
    )
    seen = set()
    for job in made.jobs:
        for surface in job.surfaces_of(made.site):
            attempt = attempt_of(laid, job, surface, done, planned)
            states = [STATES[code] for code in judge(job, surface, attempt).state]
            looped = [state_at(job, surface, attempt, hour) for hour in range(hours.hours)]
            assert states == looped, (job.name, surface.name)
            seen |= set(states)
    assert {"narrow", "barred", "broken", "unread"} <= seen


def test_every_member_is_judged_as_if_it_were_alone():
    made = config()
    members = 3
    hours = rough_weather(9, members=members, gaps=False)
    laid = ground(hours)
    for job in made.jobs[:4]:
        surface = job.surfaces_of(made.site)[0]
        attempt = attempt_of(laid, job, surface)
        found = judge(job, surface, attempt)
        assert found.chance is not None
        good = np.array(
            [
                [
                    state_at(job, surface, attempt, hour, member) in ("steady", "narrow")
                    for hour in range(hours.hours)
                ]
                for member in range(members)
            ]
        )
        readable = np.array(
            [state_at(job, surface, attempt, hour) != "unread" for hour in range(hours.hours)]
        )
        assert np.allclose(found.chance[readable], good.mean(axis=0)[readable])
        assert np.isnan(found.chance[~readable]).all()


def test_latest_start_is_the_last_that_a_minute_by_minute_trial_accepts():
    made = config()
    hours = rough_weather(2, gaps=False)
    laid = ground(hours)
    checked = 0
    for job in made.jobs:
        if not job.surfaces_of(made.site):
            continue
        surface = job.surfaces_of(made.site)[0]
        attempt = attempt_of(laid, job, surface)
        suitability = judge(job, surface, attempt)
        for window in find(suitability, attempt, now=hours.start)[:3]:
            hour = hours.index(window.latest_start)
            minutes = (window.latest_start - hours.time(hour)) / timedelta(minutes=1)
            assert _holds_at(job, surface, attempt, hour, minutes), (job.name, window)
            # Five minutes later it must fail, or be the business of the next hour.
            later = minutes + 5
            if later < 60:
                assert not _holds_at(job, surface, attempt, hour, later), (job.name, window)
            checked += 1
    assert checked > 5


def _holds_at(job, surface, attempt, hour, minutes):
    from dataclasses import replace

    shifted = replace(attempt, offset_h=minutes / 60.0)
    for need in job.needs_on(surface):
        room = float(need.result(shifted).margin[hour])
        if np.isnan(room):
            if not need.optional:
                return False
        elif room < -1e-6:
            return False
    return True


LIMIT = Limit(
    id="x",
    label="x",
    quantity="air_temp_c",
    hard_min=2,
    best_from=6,
    best_to=10,
    hard_max=20,
    low="l",
    high="h",
)


@pytest.mark.parametrize(
    ("value", "room"), [(2, 0.0), (4, 0.5), (6, 1.0), (15, 0.5), (20, 0.0), (1, -0.25), (25, -0.5)]
)
def test_room_is_a_trapezoid_from_limit_to_comfort(value, room):
    # Source: Derringer & Suich 1980, two-sided desirability with exponent 1 (from memory).
    figure = np.array([[float(value)]])
    assert LIMIT.margin(Reading(low=figure, high=figure))[0, 0] == pytest.approx(room)


@given(st.floats(2, 6), st.floats(0, 4))
def test_room_rises_toward_comfort(value, more):
    low, high = np.array([[value]]), np.array([[min(6.0, value + more)]])
    assert (
        LIMIT.margin(Reading(low=low, high=low))[0, 0]
        <= LIMIT.margin(Reading(low=high, high=high))[0, 0] + 1e-12
    )


def test_an_unknown_figure_has_no_room_and_does_not_hold():
    gone = np.array([[np.nan]])
    reading = Reading(low=gone, high=gone)
    assert np.isnan(LIMIT.margin(reading)[0, 0])
    assert not LIMIT.holds(reading)[0, 0]


@settings(max_examples=60)
@given(
    st.lists(st.one_of(st.floats(0, 30), st.just(float("nan"))), min_size=3, max_size=40),
    st.integers(-6, 6),
    st.integers(0, 9),
)
def test_sliding_spans_equal_a_loop(values, low, length):
    column = np.array([values])
    high = low + length

    for how, reduce in (("total", np.sum), ("mean", np.mean), ("lowest", np.min), ("highest", np.max)):
        got = summed_up(column, low, high, how)[0]
        for start in range(len(values)):
            inside = start + low >= 0 and start + high < len(values)
            wanted = reduce(column[0, start + low : start + high + 1]) if inside else np.nan
            assert got[start] == pytest.approx(wanted, abs=1e-6, nan_ok=True)


@pytest.mark.parametrize(
    ("span", "hours"),
    [
        ((0, 1), (0, 0)),
        ((0, 0.75), (0, 0)),
        ((0.25, 1.25), (0, 1)),
        ((-1, 0), (-1, -1)),
        ((0.75, 4.75), (0, 4)),
        ((1, 5), (1, 4)),
    ],
)
def test_a_span_counts_every_hour_it_touches(span, hours):
    assert touched(*span) == hours


def test_a_gap_counts_elapsed_hours_over_a_clock_change():
    # 2026-03-29 01:00Z: Europe/London goes to summer time; the gap is told in elapsed hours all the same.
    start = datetime(2026, 3, 28, tzinfo=UTC)
    hours = weather(start, 72)
    laid = ground(hours)
    cut = WorkDone(job="mow_green", kind="mowing", surface="green", at=start + timedelta(hours=20))
    gap = Gap(id="g", label="since cut", direction="since", other=("mowing",), hard_min=10, low="too soon")
    attempt = Attempt(quantities=laid.surfaces["green"], duration_h=1.0, done=(cut,))
    figures = gap.result(attempt).reading.low[0]
    assert np.isinf(figures[19])
    assert figures[20] == 0.0
    assert figures[30] == 10.0


def test_a_gap_with_an_upper_limit_and_no_record_is_unread():
    laid = ground(weather(NOON, 24))
    gap = Gap(id="g", label="since cut", direction="since", other=("mowing",), hard_min=1, best_to=72)
    attempt = Attempt(quantities=laid.surfaces["green"], duration_h=1.0)
    assert np.isnan(gap.result(attempt).reading.low).all()


def test_unread_is_never_open_and_never_scores():
    made = config()
    hours = weather(
        datetime(2026, 5, 4, tzinfo=UTC), 96, rel_humidity_pct=dict.fromkeys(range(48, 96), np.nan)
    )
    laid = ground(hours)
    job = made.job("foliar_feed")
    surface = made.site.surface("green")
    found = judge(job, surface, attempt_of(laid, job, surface))
    assert (found.state[48:] == STATES.index("unread")).all()
    assert (found.score[48:] == 0).all()
    assert (found.state[:40] <= NARROW).any()
