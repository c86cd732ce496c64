"""The gauges, read back with the parser of the format's own library."""

from __future__ import annotations

import math
from datetime import datetime, timedelta

import pytest
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


#: Endings of names that are units, and of those that are none: states of a thing, and how many there are.
UNITS = ("_seconds", "_ratio", "_celsius", "_meters")
PLAIN = ("_stale", "_members", "_holds", "_warnings", "_in_force")


def test_gauges_tell_the_answers(report: Report) -> None:
    found = _read(report, NOW + timedelta(minutes=30))
    assert found["haysel_forecast_age_seconds", ()] == 1800.0
    assert found["haysel_forecast_stale", ()] == 0.0
    assert found["haysel_forecast_stale_timestamp_seconds", ()] == report.forecast.stale_at.timestamp()
    assert found["haysel_warnings_in_force", ()] == len(report.warnings)
    assert found["haysel_pass_timestamp_seconds", ()] == NOW.timestamp()
    key = ("foliar_feed", "green")
    mine = [row for row in report.windows if (row.job, row.surface) == key]
    start = min(row.start for row in mine)
    assert found["haysel_next_window_seconds", key] == (start - NOW).total_seconds() - 1800.0
    assert found["haysel_best_score_ratio", key] == max(row.score for row in mine)


def test_figures_of_today_and_of_wanted_work_are_told(report: Report) -> None:
    found = _read(report, NOW)
    day = next(row for row in report.days if (row.date, row.surface) == ("2026-05-07", "green"))
    assert found["haysel_today_growth_potential_ratio", ("green",)] == day.growth_potential
    assert found["haysel_today_soil_temperature_celsius", ("green",)] == day.soil_temp_c
    assert day.rain_mm is not None
    assert found["haysel_today_rain_meters", ("green",)] == pytest.approx(day.rain_mm / 1000)
    assert found["haysel_wanted_holds", ("rolling", "green")] == 0.0
    work = next(row for row in report.week.work if row.job == "rolling")
    assert found["haysel_wanted_start_timestamp_seconds", ("rolling", "green")] == work.start.timestamp()


def test_names_end_in_base_units(report: Report) -> None:
    names = {name for name, _ in _read(report, NOW)}
    assert len(names) > 12
    assert [name for name in names if not name.endswith((*UNITS, *PLAIN))] == []
    # `_total` is the ending of a counter, and these are gauges.
    assert [name for name in names if "_total" in name] == []


def test_a_job_without_a_window_is_not_told_as_nought(report: Report) -> None:
    found = _read(replace(report, windows=()), NOW)
    for gauge in ("haysel_next_window_seconds", "haysel_best_score_ratio"):
        values = [value for (name, _), value in found.items() if name == gauge]
        assert len(values) == len(report.ribbons)
        assert all(math.isnan(value) for value in values)


def test_stale_from_the_moment_it_is_and_then_no_figure_stands(report: Report) -> None:
    found = _read(replace(report, warnings=()), report.forecast.stale_at)
    assert found["haysel_forecast_stale", ()] == 1.0
    told = ("haysel_forecast", "haysel_pass", "haysel_wanted_start")
    left = {key: value for key, value in found.items() if not key[0].startswith(told)}
    assert len(left) > 20
    assert [key for key, value in left.items() if not math.isnan(value)] == []
