"""The report of a pass and its workings, from what was assessed."""

from __future__ import annotations

from datetime import UTC

import numpy as np

from planner.planning.plan import Judged, Plan
from planner.planning.week import WeekOrder
from planner.reports.assessment import Assessment
from planner.reports.rows import SCHEMA, ForecastRow, JobRow, Place, Report, SiteRow
from planner.reports.surfaces import due_rows, ground_rows, spray_rows, surface_rows
from planner.reports.verdicts import Words, ribbon_rows
from planner.reports.weather_rows import day_rows, ended_rows, hour_columns, not_read_rows, warning_rows
from planner.reports.week import week_row
from planner.reports.windows import barred_rows, window_rows
from planner.reports.workings import HOURS_BEFORE, JobWorkings, NeedColumns, NeedFacts, Workings
from planner.rules.base import Need
from planner.rules.clock import Clock
from planner.rules.gap import Gap
from planner.rules.limit import Limit
from planner.weather import Array


def report_of(assessment: Assessment, week: WeekOrder) -> Report:
    """The report: every row that people and programs are shown."""
    site = assessment.plan.conditions.site
    ground, words = ground_rows(assessment), Words(assessment.plan)
    made_at = assessment.made_at.astimezone(UTC)
    return Report(
        schema=SCHEMA,
        made_at=made_at,
        as_of=made_at,
        site=SiteRow(key=site.key, name=site.name, timezone=site.timezone, units=site.units),
        place=Place(
            latitude_deg=site.latitude_deg, longitude_deg=site.longitude_deg, elevation_m=site.elevation_m
        ),
        forecast=_forecast_row(assessment),
        windows=window_rows(assessment.plan, words),
        barred=barred_rows(assessment.plan, words),
        warnings=warning_rows(assessment),
        ended=ended_rows(assessment),
        not_read=not_read_rows(assessment),
        days=day_rows(assessment),
        hours=hour_columns(assessment),
        ribbons=ribbon_rows(assessment.plan, words),
        ground=ground,
        due=due_rows(assessment),
        wanted=tuple(
            JobRow(job=one.job, label=one.label, kind=assessment.kind_of(one.job), surface=one.surface)
            for one in assessment.wanted
        ),
        keeper_jobs=assessment.keeper_jobs
        or tuple(dict.fromkeys(judged.job.name for judged in assessment.plan.judged)),
        surfaces=surface_rows(assessment, {row.surface: row.seed for row in ground}),
        sprays=spray_rows(assessment),
        week=week_row(assessment, week, words),
        faults=assessment.faults,
    )


def _forecast_row(assessment: Assessment) -> ForecastRow:
    forecast, age_h = assessment.forecast, assessment.age_h
    return ForecastRow(
        provider=forecast.provider,
        issued_at=None if forecast.issued_at is None else forecast.issued_at.astimezone(UTC),
        fetched_at=forecast.fetched_at.astimezone(UTC) if assessment.age_known else None,
        age_h=None if age_h is None else round(age_h, 2),
        stale=assessment.stale or assessment.made_at >= assessment.stale_at,
        stale_at=assessment.stale_at.astimezone(UTC),
        members=assessment.members,
        until=forecast.weather.end.astimezone(UTC),
        credit=forecast.credit,
        credit_url=forecast.credit_url,
        licence=forecast.licence,
        notes=(
            *(one.says for one in assessment.not_read),
            *forecast.notes,
            *(str(flaw) for flaw in forecast.weather.flaws),
            *assessment.faults,
        ),
    )


class _Table:
    """Columns and facts, each once: what is equal has the same place."""

    def __init__(self, first: int) -> None:
        self._first = first
        self._columns: dict[bytes, int] = {}
        self._facts: dict[NeedFacts, int] = {}

    def column(self, values: Array) -> int:
        """The place of a column of figures, shape (hours,)."""
        packed = np.ascontiguousarray(values[self._first :], dtype="<f8").tobytes()
        return self._columns.setdefault(packed, len(self._columns))

    def facts(self, need: Need) -> int:
        """The place of the facts of a need."""
        return self._facts.setdefault(_facts(need), len(self._facts))

    @property
    def columns(self) -> tuple[bytes, ...]:
        """Every column, in its place."""
        return tuple(self._columns)

    @property
    def all_facts(self) -> tuple[NeedFacts, ...]:
        """The facts of every need, in their place."""
        return tuple(self._facts)


def workings_of(plan: Plan) -> Workings:
    """Every figure and margin behind the verdicts, from a day before the pass on."""
    weather = plan.conditions.sky.weather
    first = max(0, weather.index(plan.made_at) - HOURS_BEFORE)
    table = _Table(first)
    jobs = tuple(_job(judged, table, first) for judged in plan.judged)
    return Workings(
        first=weather.time(first),
        count=weather.hours - first,
        facts=table.all_facts,
        columns=table.columns,
        jobs=jobs,
    )


def _job(judged: Judged, table: _Table, first: int) -> JobWorkings:
    job, found = judged.job, judged.suitability
    return JobWorkings(
        job=job.name,
        label=job.label,
        kind=job.kind,
        surface=judged.surface.name,
        why=job.why,
        duration_min=job.duration_min,
        cautions=job.cautions_on(judged.surface),
        states=found.state[first:].astype(np.uint8).tobytes(),
        limiting=found.limiting[first:].astype(np.uint8).tobytes(),
        score=table.column(found.score),
        share=None if found.chance is None else table.column(found.chance),
        needs=tuple(
            NeedColumns(
                facts=table.facts(need),
                low=table.column(found.readings[row].low[0]),
                high=table.column(found.readings[row].high[0]),
                margin=table.column(found.margin[row]),
            )
            for row, need in enumerate(found.needs)
        ),
    )


def _facts(need: Need) -> NeedFacts:
    return NeedFacts(
        id=need.id,
        label=need.label,
        unit=need.unit,
        hard_min=need.hard_min,
        best_from=need.best_from,
        best_to=need.best_to,
        hard_max=need.hard_max,
        low=need.low,
        high=need.high,
        when=when_words(need),
        is_after=need.is_after,
        optional=need.optional,
        from_label=need.from_label,
        source=need.source,
        confidence=need.confidence,
    )


def when_words(need: Need) -> str:
    """Which hours a need looks at, in words."""
    if isinstance(need, Gap):
        return f"{need.direction} {', '.join(need.other).replace('_', ' ')}"
    if isinstance(need, Clock):
        return f"{need.opens} to {need.closes}"
    if not isinstance(need, Limit):
        return str(getattr(need, "kind", ""))
    first, last = need.hours
    if need.when == "before":
        return f"{first:g} to {last:g} h before"
    if need.when == "after":
        return f"{first:g} to {last:g} h after the end"
    if need.when == "start":
        return "at the start"
    extra = [f"{first:g} h before" if first else "", f"{last:g} h after" if last else ""]
    return " and ".join(["during", *(part for part in extra if part)])
