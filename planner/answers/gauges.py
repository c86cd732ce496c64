"""A few gauges in the Prometheus text format, read from the answers."""

from __future__ import annotations

from collections.abc import Mapping
from datetime import datetime, timedelta
from typing import Any

from prometheus_client import CollectorRegistry, Gauge, generate_latest

METRICS = "text/plain; version=0.0.4; charset=utf-8"


def gauges(
    windows: Mapping[str, Any], warnings: Mapping[str, Any], ribbons: Mapping[str, Any], now: datetime
) -> bytes:
    """Age of the forecast, hours to the next window and best score per job and surface, warnings.

    A job without a window has NaN hours: unknown to a graph, never nought.
    """
    registry = CollectorRegistry(auto_describe=False)
    forecast = windows["forecast"]

    def gauge(name: str, says: str, labels: tuple[str, ...] = ()) -> Gauge:
        return Gauge(name, says, labels, registry=registry)

    since = datetime.fromisoformat(forecast["issued_at"] or forecast["fetched_at"])
    age_h = (now - since) / timedelta(hours=1)
    gauge("haysel_forecast_age_hours", "Hours since the forecast was issued, or fetched if not told").set(
        max(0.0, age_h)
    )
    stale = forecast["stale"] or now >= datetime.fromisoformat(forecast["stale_at"])
    gauge("haysel_forecast_stale", "1 when the forecast is too old to trust").set(stale)
    gauge("haysel_forecast_members", "Members of the ensemble, 1 for a plain forecast").set(
        forecast["members"]
    )
    made = datetime.fromisoformat(windows["made_at"]).timestamp()
    gauge("haysel_pass_timestamp_seconds", "When the last good pass was made").set(made)
    hours = gauge(
        "haysel_next_window_hours", "Hours to the next window, NaN where there is none", ("job", "surface")
    )
    score = gauge("haysel_best_score", "Score of the best window, 0 where there is none", ("job", "surface"))
    for pair in ribbons["ribbons"]:
        key = (pair["job"], pair["surface"])
        mine = [row for row in windows["windows"] if (row["job"], row["surface"]) == key]
        starts = [datetime.fromisoformat(row["start"]) for row in mine]
        hours.labels(*key).set(max(0.0, (min(starts) - now) / timedelta(hours=1)) if starts else float("nan"))
        score.labels(*key).set(max((row["score"] or 0.0 for row in mine), default=0.0))
    count = gauge("haysel_warnings", "Warnings in force", ("kind", "level"))
    for row in warnings["warnings"]:
        count.labels(row["kind"], row["level"]).inc()
    gauge("haysel_warnings_total_in_force", "Warnings in force, all kinds").set(len(warnings["warnings"]))
    return generate_latest(registry)
