"""What a second reading of the week, of windows and of labels found: each once wrong, held here."""

from __future__ import annotations

from dataclasses import replace
from datetime import UTC, datetime, timedelta

import numpy as np
import pytest

from planner.actions.one_pass import computed
from planner.diary.due import Wanted
from planner.planning.conditions import attempt_of
from planner.planning.suitability import judge
from planner.planning.windows import find
from planner.rules.clock import Clock
from planner.rules.gap import Gap
from planner.rules.limit import Limit
from planner.site import WorkDone
from planner.terms import PLAY
from tests.made import config, forecast, ground, weather

START = datetime(2026, 5, 4, tzinfo=UTC)
NOW = START + timedelta(days=3, hours=5)


def week(*wanted: Wanted, done=(), play_d: float | None = None):
    """The week of what is wanted, on mild dry days."""
    planned = ()
    if play_d is not None:
        planned = (WorkDone(job=PLAY, kind=PLAY, surface="green", at=NOW + timedelta(days=play_d)),)
    made = config(wanted=wanted, done=done, planned=planned)
    hours = weather(START, 24 * 12, cloud_pct=60.0)
    return computed(made, forecast(hours, NOW), now=NOW)[0].week


def want(job: str, label: str, **how) -> Wanted:
    return Wanted(job=job, label=label, surface="green", **how)


def test_a_far_play_day_does_not_keep_work_from_its_hour():
    feed = want("foliar_feed", "foliar feed", every_days=60.0)
    assert [row.job for row in week(feed, play_d=40.0).work] == ["foliar_feed"]


def test_the_morning_of_a_play_day_has_its_roll_though_none_is_due():
    roll = want("rolling", "roll", every_days=14.0)
    yesterday = WorkDone(job="rolling", kind="rolling", surface="green", at=NOW - timedelta(days=1))
    rows = [row for row in week(roll, done=(yesterday,), play_d=3.3).work if row.job == "rolling"]
    assert [row.start.date() for row in rows] == [(NOW + timedelta(days=3.3)).date()]
    assert week(roll, done=(yesterday,)).work == ()


@pytest.mark.parametrize("opens", ["06:05", "06:10", "06:20", "06:30", "06:50"])
def test_hours_that_open_at_any_minute_open_then(opens):
    laid = ground(weather(START, 48))
    green = laid.site.surface("green")
    job = config().job("mow_green").model_copy(update={"needs": (Clock(opens=opens, closes="12:00"),)})
    attempt = attempt_of(laid, job, green)
    first = find(judge(job, green, attempt), attempt, now=START)[0]
    # London is an hour ahead of UTC in May.
    assert f"{first.start + timedelta(hours=1):%H:%M}" == opens


def test_a_job_that_asks_for_nothing_here_is_open():
    laid = ground(weather(START, 48))
    green = laid.site.surface("green")
    since = Gap(id="s", label="s", direction="since", other=("mowing",), hard_min=5, low="x")
    warm = Limit(id="w", label="w", quantity="air_temp_c", hard_min=5, grasses=("warm",), low="x")
    for needs in ((since,), (warm,)):
        job = config().job("mow_green").model_copy(update={"needs": needs})
        assert (judge(job, green, attempt_of(laid, job, green)).state == 0).all()


def test_wind_that_is_not_known_lets_no_spray_through_beside_water():
    hours = weather(START, 96, wind_dir_deg=np.nan)
    laid = ground(hours)
    job = config().job("systemic_herbicide")
    bank, tees = laid.site.surface("east bank"), laid.site.surface("mat tees")
    assert (judge(job, bank, attempt_of(laid, job, bank)).state > 1).all()
    # Far from any edge it is named as not read.
    assert (judge(job, tees, attempt_of(laid, job, tees)).state <= 1).any()
    far = replace(bank, edges=(replace(bank.edges[0], distance_m=80.0),))
    assert all(need.optional for need in job.needs_on(far) if need.id.startswith("edge"))


@pytest.mark.parametrize(
    ("opens", "closes", "latest"),
    [("06:10", "06:55", "06:10"), ("06:30", "07:40", "06:55"), ("06:30", "07:20", "06:35")],
)
def test_a_span_of_hours_without_a_full_hour_is_a_window(opens, closes, latest):
    # Forty-five minutes of work, begun and finished inside the span.
    laid = ground(weather(START, 48))
    green = laid.site.surface("green")
    job = config().job("mow_green").model_copy(update={"needs": (Clock(opens=opens, closes=closes),)})
    attempt = attempt_of(laid, job, green)
    found = find(judge(job, green, attempt), attempt, now=START)
    local = timedelta(hours=1)
    assert [f"{one.start + local:%H:%M}" for one in found] == [opens] * 2
    assert [f"{one.latest_start + local:%H:%M}" for one in found] == [latest] * 2
    assert found[0].next_start == found[1].start
    assert found[0].state == "steady"


def test_the_week_takes_such_a_window_and_says_what_limits_it():
    spans = dict.fromkeys(("mon", "tue", "wed", "thu", "fri", "sat", "sun"), (("06:30", "07:40"),))
    hours_need = Clock(id="keeper_hours", days=spans)
    made = config()
    jobs = tuple(
        job.model_copy(update={"needs": (*(n for n in job.needs if n.id != "allowed_hours"), hours_need)})
        for job in made.jobs
        if job.name == "mow_green"
    )
    full = replace(made, jobs=jobs, wanted=(want("mow_green", "mow the green", every_days=2.0),), done=())
    report = computed(full, forecast(weather(START, 24 * 12, cloud_pct=60.0), NOW), now=NOW)[0]
    first = report.week.work[0]
    assert f"{first.start:%H:%M}" == "06:30"
    assert first.state in ("steady", "narrow")
    window = next(row for row in report.windows if row.start <= first.start <= row.latest_start)
    assert window.limiting.need != "keeper_hours"
    assert [hour.start for hour in window.hours] == [window.start]
