"""A report hours after its pass: nothing that is over is offered, and nothing drops out unsaid."""

from __future__ import annotations

from datetime import datetime, timedelta

import pytest

from planner.reports.answers import encode, windows
from planner.reports.as_of import as_of
from planner.reports.rows import Report
from planner.reports.workings import Workings
from planner.service.cache import ReportCache
from tests.reports.made import bare as bare_report
from tests.reports.made import barred_row, moment, window_row, with_forecast
from tests.service.conftest import NOW, Clock


def _pairs(report: Report) -> set[tuple[str, str]]:
    return {(row.job, row.surface) for row in (*report.windows, *report.barred)}


@pytest.mark.parametrize("hours", [3, 9, 12.5, 30, 60, 150])
def test_every_job_stays_in_one_of_the_two_lists(report: Report, hours: float) -> None:
    import json

    now = NOW + timedelta(hours=hours)
    aged = as_of(report, now)
    assert _pairs(aged) == _pairs(report)
    for row in aged.windows:
        assert row.latest_start >= now
    for row in aged.barred:
        assert row.next_window is None or row.next_window > now
    for barred in json.loads(encode(windows(aged)))["barred"]:
        assert {"job", "label", "kind", "surface", "because", "hours_unread"} <= set(barred)


def test_a_job_whose_windows_have_passed_says_so(report: Report) -> None:
    aged = as_of(report, NOW + timedelta(days=30))
    assert aged.windows == ()
    shown = {row.because.says for row in aged.barred if row.next_window is None}
    assert "Its windows in this report have passed; the next pass looks for more." in shown


def test_a_barred_job_moves_on_with_its_windows() -> None:
    report = bare_report(
        windows=(
            window_row("roll", "11T08:00", "11T09:30", latest="11T09:00", surface="g"),
            window_row("roll", "09T08:00", "09T10:30", latest="09T10:00", surface="g"),
        ),
        barred=(barred_row("roll", "09T08:00", surface="g"),),
    )
    report = with_forecast(
        report,
        fetched_at=datetime.fromisoformat("2026-05-07T05:00:00Z"),
        stale_at=datetime.fromisoformat("2026-05-20T05:00:00Z"),
    )

    def aged(at: str) -> Report:
        return as_of(report, moment(at))

    assert aged("08T08:00").barred[0].next_window == moment("09T08:00")
    assert aged("09T08:30").barred == ()
    later = aged("09T11:00")
    assert later.barred[0].next_window == moment("11T08:00")
    assert later.barred[0].because.need == "wind"
    assert later.forecast.age_h == 53.0
    (gone,) = aged("11T10:00").barred
    assert gone.next_window is None


def test_work_whose_hour_has_passed_is_without_one(report: Report) -> None:
    fresh = report.week
    first = fresh.work[0]
    running = as_of(report, first.start + timedelta(minutes=10)).week
    assert running.work[0].job == first.job
    now = first.end
    aged = as_of(report, now).week
    assert all(row.end > now for row in aged.work)
    passed = aged.left[0]
    assert (passed.job, passed.surface) == (first.job, first.surface)
    assert "has passed: write it down if it is done" in passed.says
    assert "has passed since the week was planned" in aged.says
    assert len(aged.work) + len(aged.left) == len(fresh.work) + len(fresh.left)


def test_a_clock_set_back_is_not_served_the_report_of_the_future(
    report: Report, workings: Workings, clock: Clock
) -> None:
    cache = ReportCache(clock)
    cache.put(report, workings)
    clock.forward(days=30)
    assert cache.snapshot().report.windows == ()
    clock.now = NOW + timedelta(minutes=3)
    assert cache.snapshot().report == as_of(report, clock.now)
    clock.now = NOW - timedelta(hours=2)
    assert cache.snapshot().report == report
    first = cache.snapshot()
    assert cache.snapshot() is first


def test_the_cache_moves_on_when_an_hour_of_the_week_has_passed(
    cache: ReportCache, clock: Clock, report: Report
) -> None:
    ends = min(row.end for row in report.week.work)
    clock.now = ends + timedelta(seconds=2)
    assert all(row.end > clock.now for row in cache.snapshot().report.week.work)
