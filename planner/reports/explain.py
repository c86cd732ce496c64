"""Why an hour is what it is, read from the workings of a pass: nothing is judged again."""

from __future__ import annotations

import math
from datetime import datetime, timedelta
from zoneinfo import ZoneInfo

from msgspec import Struct

from planner.errors import NotThere, require_known
from planner.margin import EPS, STATES, State
from planner.reports.rows import Head, Report
from planner.reports.sentences import clause, held_against, roomier, sentence
from planner.reports.workings import JobWorkings, NeedColumns, NeedFacts, Workings


class NeedLimits(Struct, frozen=True, kw_only=True):
    """The limits of a need, in its unit."""

    hard_min: float | None
    best_from: float | None
    best_to: float | None
    hard_max: float | None


class NeedRow(Struct, frozen=True, kw_only=True):
    """A need at one start hour."""

    need: str
    label: str
    value: float | None
    unit: str
    when: str
    limits: NeedLimits
    margin: float | None
    """1 at the edge of comfort, 0 at the hard limit, below 0 beyond; None where the figure is unknown."""
    verdict: str
    """`holds`, `only just`, `fails`, `fails after` or `not read`."""
    optional: bool
    from_label: bool
    source: str
    confidence: str
    wants: str
    """What would have to change; empty where it holds."""


class LimitingNeed(Struct, frozen=True, kw_only=True):
    """The need that limits the hour, in a sentence."""

    need: str
    says: str


class Explanation(Head, frozen=True, kw_only=True):
    """Everything behind one start hour of a job on a surface."""

    job: str
    label: str
    kind: str
    surface: str
    why: str
    duration_min: float
    time: datetime
    state: State
    score: float | None
    chance: float | None
    chance_basis: str | None
    share: float | None
    limiting: LimitingNeed
    needs: tuple[NeedRow, ...]
    would_have_to_change: tuple[str, ...]
    cautions: tuple[str, ...]


def explain(
    report: Report, workings: Workings, job: str, moment: datetime, surface: str | None = None
) -> Explanation:
    """Each need of a job at a start hour: figure, limits, verdict and source, and what would have to change.

    NotThere for a job or surface that is not judged here, or an hour outside the forecast.
    """
    found = _chosen(workings, job, surface)
    zone = ZoneInfo(report.site.timezone)
    hour = _hour(workings, moment, zone)
    needs = tuple(_need(workings, need, hour) for need in found.needs)
    limiting = found.limiting[hour]
    state = STATES[found.states[hour]]
    return Explanation(
        schema=report.schema,
        made_at=report.made_at,
        as_of=report.as_of,
        site=report.site,
        place=report.place,
        forecast=report.forecast,
        job=found.job,
        label=found.label,
        kind=found.kind,
        surface=found.surface,
        why=found.why,
        duration_min=found.duration_min,
        time=(workings.first + timedelta(hours=hour)).astimezone(zone),
        state=state,
        score=_rounded(workings.figure(found.score, hour)),
        chance=None,
        chance_basis=None,
        share=None if found.share is None else _rounded(workings.figure(found.share, hour)),
        limiting=LimitingNeed(
            need=needs[limiting].need, says=_says(workings, found.needs[limiting], state, hour)
        ),
        needs=needs,
        would_have_to_change=tuple(need.wants for need in needs if need.wants),
        cautions=found.cautions,
    )


def _chosen(workings: Workings, job: str, surface: str | None) -> JobWorkings:
    """The job on the surface named, else on the first that it is done on."""
    mine = [one for one in workings.jobs if one.job == job]
    require_known("job", job, [one.job for one in workings.jobs])
    if not surface:
        return mine[0]
    require_known("surface", surface, sorted({one.surface for one in workings.jobs}))
    here = [one.surface for one in mine]
    if surface not in here:
        raise NotThere(
            f"{mine[0].label} is not done on {surface}, only on {', '.join(here)}. Name it under [[wanted]], or "
            f"under surfaces of [jobs.{job}]."
        )
    return next(one for one in mine if one.surface == surface)


def _hour(workings: Workings, moment: datetime, zone: ZoneInfo) -> int:
    hour = int((moment.timestamp() - workings.first.timestamp()) // 3600)
    if not 0 <= hour < workings.count:
        last = workings.first + timedelta(hours=workings.count)
        raise NotThere(
            f"{moment.astimezone(zone):%Y-%m-%d %H:%M} lies outside the hours of this forecast, which run from "
            f"{workings.first.astimezone(zone):%Y-%m-%d %H:%M} to {last.astimezone(zone):%Y-%m-%d %H:%M}. "
            "Ask for an hour within."
        )
    return hour


def _rounded(value: float) -> float | None:
    return round(value, 3) if math.isfinite(value) else None


def _value(workings: Workings, need: NeedColumns, hour: int) -> float | None:
    """The figure of the need: of its two sides the one with less margin."""
    low, high = workings.figure(need.low, hour), workings.figure(need.high, hour)
    if not math.isfinite(low) or not math.isfinite(high) or low == high:
        return _rounded(low)
    return _rounded(high if roomier(workings.facts[need.facts], low, high) else low)


def _says(workings: Workings, need: NeedColumns, state: State, hour: int) -> str:
    value = _value(workings, need, hour)
    return sentence(state, workings.facts[need.facts], value if value is not None else math.inf)


def _need(workings: Workings, need: NeedColumns, hour: int) -> NeedRow:
    facts, value = workings.facts[need.facts], _value(workings, need, hour)
    margin = workings.figure(need.margin, hour)
    verdict = _verdict(margin, facts)
    wants = ""
    if verdict.startswith("fails"):
        wants = f"{clause(facts, value or 0.0)}: {held_against(facts, value or 0.0)}"
    return NeedRow(
        need=facts.id,
        label=facts.label,
        value=value,
        unit=facts.unit,
        when=facts.when,
        limits=NeedLimits(
            hard_min=facts.hard_min,
            best_from=facts.best_from,
            best_to=facts.best_to,
            hard_max=facts.hard_max,
        ),
        margin=_rounded(margin),
        verdict=verdict,
        optional=facts.optional,
        from_label=facts.from_label,
        source=facts.source,
        confidence=facts.confidence,
        wants=wants,
    )


def _verdict(margin: float, facts: NeedFacts) -> str:
    """From the margin before it is rounded."""
    if math.isnan(margin):
        return "not read"
    if margin < -EPS:
        return "fails after" if facts.is_after else "fails"
    return "only just" if margin < 1.0 - EPS else "holds"
