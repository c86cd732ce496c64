"""Gauges of a report in the Prometheus text format, in base units: seconds, degrees Celsius, metres, shares of one.

Names end in their unit (prometheus.io, "Metric and label naming"; OpenMetrics 1.0, "Units and base units"). What is
not known, or is said by a forecast too old, is NaN: a gap in a graph, never nought.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Iterable, Mapping
from datetime import datetime
from zoneinfo import ZoneInfo

from prometheus_client import CollectorRegistry, Gauge, generate_latest
from prometheus_client.metrics_core import Metric
from prometheus_client.registry import Collector

from planner.reports.as_of import as_of
from planner.reports.now import key_of, wanted_jobs
from planner.reports.now import now as flat_now
from planner.reports.rows import DayRow, Report

METRICS = "text/plain; version=0.0.4; charset=utf-8"

_PAIR = ("job", "surface")
_PASS = ("haysel_pass_timestamp_seconds", "When the last good pass was made")
#: Figures of today on each surface: name with its unit, what it is, the figure in that unit.
_TODAY: tuple[tuple[str, str, Callable[[DayRow], float | None], float], ...] = (
    ("haysel_today_growth_potential_ratio", "Growth potential", lambda row: row.growth_potential, 1.0),
    ("haysel_today_rain_wash_risk_ratio", "Share of seed at risk", lambda row: row.rain_wash_risk, 1.0),
    ("haysel_today_frost_risk_ratio", "Risk of ground frost", lambda row: row.frost_risk, 1.0),
    ("haysel_today_soil_temperature_celsius", "Soil temperature", lambda row: row.soil_temp_c, 1.0),
    ("haysel_today_rain_meters", "Rain, a thousandth of its mm", lambda row: row.rain_mm, 0.001),
)


def metrics(report: Report, now: datetime) -> bytes:
    """The gauges as they are at `now`: forecast, windows, wanted jobs, figures of today, warnings."""
    return generate_latest(_gauges(report, now))


def metrics_of_sites(reports: Mapping[str, Report | None], now: datetime) -> bytes:
    """The gauges of several sites, by their keys, each with a label `site`.

    Of a site without a report there is only the time of its last good pass, as NaN, so that it is missed.
    """
    families: dict[str, Metric] = {}
    for key, report in reports.items():
        registry = _no_pass() if report is None else _gauges(report, now)
        for family in registry.collect():
            joined = families.setdefault(family.name, Metric(family.name, family.documentation, family.type))
            for sample in family.samples:
                joined.add_sample(sample.name, {"site": key, **sample.labels}, sample.value)
    registry = CollectorRegistry(auto_describe=False)
    registry.register(_Joined(families.values()))
    return generate_latest(registry)


class _Joined(Collector):
    """Families that were read elsewhere."""

    def __init__(self, families: Iterable[Metric]) -> None:
        self._families = tuple(families)

    def collect(self) -> Iterable[Metric]:
        return self._families


def _no_pass() -> CollectorRegistry:
    registry = CollectorRegistry(auto_describe=False)
    Gauge(*_PASS, registry=registry).set(math.nan)
    return registry


def _gauges(report: Report, now: datetime) -> CollectorRegistry:
    report = as_of(report, now)
    registry = CollectorRegistry(auto_describe=False)

    def gauge(name: str, says: str, labels: tuple[str, ...] = ()) -> Gauge:
        return Gauge(name, says, labels, registry=registry)

    _forecast(report, gauge)
    _windows(report, now, gauge)
    _wanted(report, gauge)
    _today(report, gauge)
    count = gauge("haysel_warnings", "Warnings in force", ("kind", "level"))
    for row in report.warnings:
        count.labels(row.kind, row.level).inc()
    in_force = flat_now(report)["warnings_count"]
    gauge(
        "haysel_warnings_in_force", "Warnings in force, of every kind; NaN where none can be ruled out"
    ).set(_known(in_force))
    return registry


Make = Callable[..., Gauge]


def _forecast(report: Report, gauge: Make) -> None:
    forecast = report.forecast
    gauge(
        "haysel_forecast_age_seconds", "Since the forecast was issued, or fetched if that is not known"
    ).set(_known(forecast.age_h, 3600.0))
    gauge("haysel_forecast_stale", "1 when the forecast is too old to trust").set(forecast.stale)
    gauge("haysel_forecast_stale_timestamp_seconds", "From when the forecast is too old").set(
        forecast.stale_at.timestamp()
    )
    gauge("haysel_forecast_members", "Members of the ensemble, 1 for a plain forecast").set(forecast.members)
    gauge(*_PASS).set(report.made_at.timestamp())


def _windows(report: Report, now: datetime, gauge: Make) -> None:
    until = gauge(
        "haysel_next_window_seconds", "Until the next window begins; NaN where there is none", _PAIR
    )
    score = gauge("haysel_best_score_ratio", "Score of the best window; NaN where there is none", _PAIR)
    for pair in report.ribbons:
        mine = [row for row in report.windows if (row.job, row.surface) == (pair.job, pair.surface)]
        # A window of a forecast too old is no window to rely on.
        mine = [] if report.forecast.stale else mine
        first = min((row.start.timestamp() for row in mine), default=math.nan)
        scores = [row.score for row in mine if row.score is not None]
        until.labels(pair.job, pair.surface).set(max(first - now.timestamp(), 0.0) if mine else math.nan)
        score.labels(pair.job, pair.surface).set(max(scores, default=math.nan))


def _wanted(report: Report, gauge: Make) -> None:
    flat = flat_now(report)
    holds = gauge("haysel_wanted_holds", "1 when wanted work begun now holds, 0 when not", _PAIR)
    start = gauge("haysel_wanted_start_timestamp_seconds", "When wanted work has its hour or window", _PAIR)
    for row in wanted_jobs(report):
        name = f"wanted_{key_of(row.job, row.surface)}"
        at = flat[f"{name}_start"]
        holds.labels(row.job, row.surface).set(_known(flat[f"{name}_holds"]))
        start.labels(row.job, row.surface).set(
            datetime.fromisoformat(at).timestamp() if isinstance(at, str) else math.nan
        )


def _today(report: Report, gauge: Make) -> None:
    today = report.as_of.astimezone(ZoneInfo(report.site.timezone)).date().isoformat()
    rows = [row for row in report.days if row.date == today]
    for name, says, figure, times in _TODAY:
        made = gauge(name, f"{says} today", ("surface",))
        for row in rows:
            made.labels(row.surface).set(math.nan if report.forecast.stale else _known(figure(row), times))


def _known(value: object, times: float = 1.0) -> float:
    return float(value) * times if isinstance(value, bool | int | float) else math.nan
