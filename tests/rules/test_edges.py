"""Hours at the edges: clocks that stand off the full hour, openings within an hour, work planned inside a job."""

from __future__ import annotations

from dataclasses import replace
from datetime import UTC, datetime, timedelta
from zoneinfo import ZoneInfo

import numpy as np
import pytest

from planner.planning.conditions import attempt_of, conditions_of
from planner.planning.suitability import judge
from planner.planning.windows import find
from planner.rules.base import Attempt
from planner.rules.clock import Clock, Season
from planner.rules.gap import Gap
from planner.rules.limit import Limit
from planner.site import WorkDone
from tests.made import config, ground, weather

START = datetime(2026, 5, 4, tzinfo=UTC)


def work(kind: str, at: datetime) -> WorkDone:
    return WorkDone(job=kind, kind=kind, surface="green", at=at)


def only(*needs, minutes: float = 45.0):
    job = config().job("mow_green")
    return job.model_copy(update={"needs": tuple(needs), "duration_min": minutes})


def windows(needs, *, zone="Europe/London", done=(), planned=(), minutes=45.0, hours=48):
    made = config()
    site = replace(made.site, timezone=zone)
    laid = conditions_of(weather(START, hours), site, now=START)
    job = only(*needs, minutes=minutes)
    attempt = attempt_of(laid, job, site.surface("green"), done, planned)
    found = find(judge(job, site.surface("green"), attempt), attempt, now=START)
    return [(w.start.astimezone(ZoneInfo(zone)), w.latest_start.astimezone(ZoneInfo(zone))) for w in found]


@pytest.mark.parametrize("zone", ["Europe/London", "Asia/Kolkata", "Asia/Kathmandu", "Pacific/Chatham"])
def test_allowed_hours_are_kept_to_the_minute_in_every_zone(zone):
    found = windows([Clock(opens="08:00", closes="19:00")], zone=zone, hours=72)
    whole = [pair for pair in found if pair[0].hour == 8]
    assert whole
    for start, _latest in whole:
        assert (start.hour, start.minute) == (8, 0)
    # The last may be cut by the end of the weather.
    assert (whole[0][1].hour, whole[0][1].minute) == (18, 15)


def test_an_opening_within_the_hour_is_kept():
    start, latest = windows([Clock(opens="07:30", closes="19:45")])[0]
    assert (start.hour, start.minute) == (7, 30)
    assert (latest.hour, latest.minute) == (19, 0)


def test_a_span_over_midnight_holds_into_the_small_hours():
    found = windows([Clock(opens="22:00", closes="05:00")], minutes=60.0)
    spans = [(start.strftime("%H:%M"), latest.strftime("%H:%M")) for start, latest in found]
    assert ("22:00", "04:00") in spans
    assert all(not 6 <= start.hour < 22 for start, _ in found)


def test_a_gap_since_opens_to_the_minute():
    cut = work("mowing", START + timedelta(hours=8, minutes=20))
    gap = Gap(id="g", label="since cut", direction="since", other=("mowing",), hard_min=2, low="too soon")
    start, _ = windows([gap], zone="Etc/UTC", done=(cut,))[-1]
    assert start == START + timedelta(hours=10, minutes=20)


def test_planned_work_inside_a_job_leaves_no_gap():
    planned = work("mowing", START + timedelta(hours=10, minutes=15))
    gap = Gap(id="g", label="to cut", direction="until", other=("mowing",), hard_min=12, low="too soon")
    laid = ground(weather(START, 48))
    figures = gap.result(
        Attempt(quantities=laid.surfaces["green"], duration_h=4.0, planned=(planned,))
    ).reading.low[0]
    assert list(figures[7:11]) == [0.0, 0.0, 0.0, 0.0]
    assert figures[5] == pytest.approx(1.25)
    assert np.isinf(figures[11])


def test_the_latest_start_stops_before_planned_work_enters_the_job():
    planned = work("mowing", START + timedelta(hours=10, minutes=30))
    gap = Gap(id="g", label="to cut", direction="until", other=("mowing",), hard_min=0.25, low="too soon")
    found = windows([gap], zone="Etc/UTC", planned=(planned,))
    # 45 minutes of work and a quarter of an hour before 10:30: start by 09:30.
    assert found[0][1] == START + timedelta(hours=9, minutes=30)


def test_a_longest_gap_ends_a_window_to_the_minute():
    cut = work("mowing", START)
    gap = Gap(
        id="g", label="since cut", direction="since", other=("mowing",), hard_max=10.25, high="too long"
    )
    assert windows([gap], zone="Etc/UTC", done=(cut,))[0][1] == START + timedelta(hours=10, minutes=15)


@pytest.mark.parametrize("text", ["13-45", "02-31", "1-1", "june"])
def test_a_date_of_the_year_must_exist(text):
    with pytest.raises(ValueError, match="is not a date of the year"):
        Season(id="s", barred_from=text, barred_to="03-01")


def test_absent_columns_do_not_share_a_memory_with_others():
    hours = weather(START, 24)
    assert hours["snow_mm"] is hours["snow_mm"]
    laid = ground(hours)
    attempt = Attempt(quantities=laid.surfaces["green"], duration_h=1.0, shared=laid.shared)
    snow = Limit(id="a", label="snow", quantity="snow_mm", hard_max=0.5, high="snow", optional=True)
    others = [
        Limit(id="b", label=name, quantity=name, hard_max=0.5, high="x", optional=True)
        for name in ("growth_potential", "growth_potential_3d", "storage_pct_fc", "soil_temp_c", "delta_t_k")
    ]
    assert np.isnan(snow.result(attempt).margin).all()
    for need in others:
        assert not np.isnan(need.result(attempt).margin).all(), need.id


def test_needs_that_are_all_unknown_are_unread_even_when_optional():
    laid = ground(weather(START, 24))
    need = Limit(id="a", label="snow", quantity="snow_mm", hard_max=0.5, high="snow", optional=True)
    job = only(need)
    surface = laid.site.surface("green")
    assert (judge(job, surface, attempt_of(laid, job, surface)).state == 4).all()
