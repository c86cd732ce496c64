"""The gauges, read back with the parser of the format's own library."""

from __future__ import annotations

import math
from datetime import datetime, timedelta

from msgspec.structs import replace
from prometheus_client.parser import text_string_to_metric_families

from planner.outputs.metrics import metrics
from planner.reports.rows import Report
from tests.service.conftest import NOW


def _read(report: Report, now: datetime) -> dict[tuple[str, tuple[str, ...]], float]:
    text = metrics(report, now).decode()
    return {
        (sample.name, tuple(sample.labels.values())): sample.value
        for family in text_string_to_metric_families(text)
        for sample in family.samples
    }


def test_gauges_tell_the_answers(report: Report) -> None:
    found = _read(report, NOW + timedelta(minutes=30))
    assert found["haysel_forecast_age_hours", ()] == 0.5
    assert found["haysel_forecast_stale", ()] == 0.0
    assert found["haysel_warnings_total_in_force", ()] == len(report.warnings)
    assert found["haysel_pass_timestamp_seconds", ()] == NOW.timestamp()
    mine = [row for row in report.windows if (row.job, row.surface) == ("foliar_feed", "green")]
    start = min(row.start for row in mine)
    key = ("foliar_feed", "green")
    assert found["haysel_next_window_hours", key] == (start - NOW) / timedelta(hours=1) - 0.5
    assert found["haysel_best_score", key] == max(row.score for row in mine)


def test_a_job_without_a_window_is_not_told_as_nought_hours(report: Report) -> None:
    found = _read(replace(report, windows=()), NOW)
    hours = [value for (name, _), value in found.items() if name == "haysel_next_window_hours"]
    assert len(hours) == len(report.ribbons)
    assert all(math.isnan(value) for value in hours)


def test_stale_from_the_moment_it_is(report: Report) -> None:
    assert _read(report, report.forecast.stale_at)["haysel_forecast_stale", ()] == 1.0
