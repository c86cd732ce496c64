"""A few gauges of a report in the Prometheus text format."""

from __future__ import annotations

import math
from datetime import datetime, timedelta

from prometheus_client import CollectorRegistry, Gauge, generate_latest

from planner.reports.as_of import forecast_as_of
from planner.reports.rows import Report

METRICS = "text/plain; version=0.0.4; charset=utf-8"


def metrics(report: Report, now: datetime) -> bytes:
    """Age of the forecast, hours to the next window and best score per job and surface, warnings.

    A job without a window has NaN hours: unknown to a graph, never nought.
    """
    registry = CollectorRegistry(auto_describe=False)
    forecast = forecast_as_of(report.forecast, now)

    def gauge(name: str, says: str, labels: tuple[str, ...] = ()) -> Gauge:
        return Gauge(name, says, labels, registry=registry)

    gauge(
        "haysel_forecast_age_hours", "Hours since the forecast was issued, or fetched if that is not known"
    ).set(math.nan if forecast.age_h is None else forecast.age_h)
    gauge("haysel_forecast_stale", "1 when the forecast is too old to trust").set(forecast.stale)
    gauge("haysel_forecast_members", "Members of the ensemble, 1 for a plain forecast").set(forecast.members)
    gauge("haysel_pass_timestamp_seconds", "When the last good pass was made").set(report.made_at.timestamp())
    hours = gauge(
        "haysel_next_window_hours", "Hours to the next window, NaN where there is none", ("job", "surface")
    )
    score = gauge("haysel_best_score", "Score of the best window, 0 where there is none", ("job", "surface"))
    for pair in report.ribbons:
        mine = [row for row in report.windows if (row.job, row.surface) == (pair.job, pair.surface)]
        first = min((row.start for row in mine), default=None)
        hours.labels(pair.job, pair.surface).set(
            math.nan if first is None else max(0.0, (first - now) / timedelta(hours=1))
        )
        score.labels(pair.job, pair.surface).set(max((row.score or 0.0 for row in mine), default=0.0))
    count = gauge("haysel_warnings", "Warnings in force", ("kind", "level"))
    for row in report.warnings:
        count.labels(row.kind, row.level).inc()
    gauge("haysel_warnings_total_in_force", "Warnings in force, all kinds").set(len(report.warnings))
    return generate_latest(registry)
