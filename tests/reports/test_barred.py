"""Why a job is barred: what is known to close its hours is told before what is not known."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta

import numpy as np

from planner.actions.one_pass import assess
from planner.reports.build import report_of
from planner.reports.week import week_of
from tests.made import config, forecast, weather

#: Eight in the morning of a September day at the invented place.
NOW = datetime(2026, 9, 8, 7, tzinfo=UTC)
BACK, HOURS = 72, 24 * 8


def barred(job, **sky):
    hours = weather(NOW - timedelta(hours=BACK), HOURS, **sky)
    assessment = assess(config(), forecast(hours, NOW), now=NOW)
    found = report_of(assessment, week_of(assessment))
    return next(row for row in found.barred if (row.job, row.surface) == (job, "apron strip"))


def test_a_cloudburst_is_told_before_the_end_of_the_forecast():
    # Full seeding looks at more days after it than the forecast has left.
    ends = "the forecast ends Sun 13 Sep 08:00, before the hours that count."
    assert barred("full_seeding").because.says == f"Not known: {ends}"
    row = barred("full_seeding", rain_mm={BACK + 9: 12.0})
    assert row.because.says.startswith("A downpour would move seed (nearest: ")
    assert row.because.says.endswith(f"). Other hours are not known: {ends}")


def test_what_the_forecast_lacks_is_told_where_it_hides_most():
    gone = np.full(HOURS, 0.0)
    gone[BACK:] = np.nan
    row = barred("oversowing", rain_mm=gone)
    assert row.because.says.startswith("Not known: ")
