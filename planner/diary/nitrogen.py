"""Nitrogen of a month with the pass that is judged: given, planned and brought, over what the whole month can use."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field
from datetime import datetime

import numpy as np

from planner.diary.due import Wanted, at_moment
from planner.diary.growth import Feed, MonthOfFeed
from planner.diary.timeline import Timeline
from planner.errors import InputError
from planner.mix.kit import Stocked
from planner.mix.nutrients import nutrients_gm2
from planner.mix.words import GRANULAR
from planner.rules.job import Job
from planner.rules.limit import Limit
from planner.site import Site, Surface, WorkDone
from planner.weather import Array

#: The quantity that rules name; of a job it stands under its own name, since each brings its own.
SHARE = "nitrogen_share_of_month"
GIVEN, PLANNED, BRINGS, DEMAND = "given", "planned", "brings", "demand"
_PARTS = (GIVEN, PLANNED, BRINGS, DEMAND)
FERTILISING = "fertilising"
#: A pass so near to a planned one of the same job is that one. Judgement.
_SAME_PASS_H = 24.0
#: With less than this to be used in the month a share says nothing. [g/m2]
_LEAST_DEMAND_G_M2 = 0.05


def own(job: str, part: str = "") -> str:
    """The name of the share for one job, or of a part of it in g/m2."""
    return f"{SHARE}:{job}" + (f":{part}" if part else "")


@dataclass(frozen=True, slots=True, kw_only=True)
class Feeding:
    """What feeds may still come: the nitrogen of a pass of each job, and the work that is planned."""

    brings: Mapping[tuple[str, str], float] = field(default_factory=dict)
    """By job and surface, in g/m2; NaN where it is not known. 0 for a job that brings none."""
    judged: Mapping[str, tuple[str, ...]] = field(default_factory=dict)
    """By surface, the jobs that are judged there by their own share."""
    planned: tuple[WorkDone, ...] = ()


@dataclass(frozen=True, slots=True, kw_only=True)
class PassOfFeed:
    """Nitrogen of the month with a pass of one job now, in g/m2; None where not known."""

    job: str
    given_g_m2: float | None
    planned_g_m2: float | None
    brings_g_m2: float | None
    demand_g_m2: float | None


def feeding_of(
    site: Site,
    jobs: Iterable[Job],
    materials: Iterable[Stocked],
    wanted: Iterable[Wanted],
    planned: Iterable[WorkDone],
    now: datetime,
) -> Feeding:
    """What a pass of each job brings to each surface: by the wanted material, else by the job's first with N."""
    stocked, coming = tuple(materials), tuple(work for work in planned if work.at > now)
    named = {(one.job, one.surface): one.material for one in wanted if one.material}
    fed = [
        job for job in jobs if any(isinstance(need, Limit) and need.quantity == SHARE for need in job.needs)
    ]
    # Planned work counts too where its job is not among those judged.
    feeds = {work.job: work.kind == FERTILISING for work in coming} | {job.name: True for job in fed}
    brings = {}
    for job, is_feed in feeds.items():
        for surface in site.surfaces:
            material = named.get((job, surface.name))
            mine = [one for one in stocked if (one.name == material if material else job in one.jobs)]
            brings[job, surface.name] = _brought_g_m2(mine, is_feed=is_feed)
    judged = {one.name: tuple(job.name for job in fed if job.runs_on(one)) for one in site.surfaces}
    return Feeding(brings=brings, judged=judged, planned=coming)


def _brought_g_m2(materials: Iterable[Stocked], *, is_feed: bool) -> float:
    """Nitrogen of a pass at the file's rate that is to be used in the month: of the first material that has any.

    What is spread dry feeds on beyond the month, so its pass is held against what was given before it and not
    counted itself (common practice, no source). A feed of no known material gives NaN.
    """
    materials = tuple(materials)
    for one in materials:
        if one.material.analysis_pct.get("N"):
            if one.material.form == GRANULAR:
                return 0.0
            try:
                return nutrients_gm2(one.material)["N"]
            except InputError:
                return np.nan
    return 0.0 if materials or not is_feed else np.nan


def by_own_share(jobs: Iterable[Job]) -> tuple[Job, ...]:
    """The jobs, their needs on the share of the month held against the share of their own pass."""
    return tuple(
        job.model_copy(
            update={
                "needs": tuple(
                    need.model_copy(update={"quantity": own(job.name)})
                    if isinstance(need, Limit) and need.quantity == SHARE
                    else need
                    for need in job.needs
                )
            }
        )
        for job in jobs
    )


def shares_of(
    surface: Surface,
    months: Mapping[str, MonthOfFeed],
    feeds: Iterable[Feed],
    timeline: Timeline,
    feeding: Feeding,
) -> dict[str, Array]:
    """The share of the month for each hour, and for each job with its own pass and its parts, shape (1, hours).

    NaN where the demand is not known or is nearly none, from a feed of unknown amount on, and where what is
    planned or brought is not known.
    """
    labels = timeline.weather.epoch_s
    names = np.array(
        [f"{datetime.fromtimestamp(int(label), timeline.zone):%Y-%m}" for label in labels], dtype=object
    )
    given, demand = np.zeros(labels.size), np.full(labels.size, np.nan)
    for feed in feeds:
        after = timeline.from_hour_of(feed.at) & (names == _month(feed.at, timeline))
        given = np.where(after, given + _or_nan(feed.nitrogen_g_m2), given)
    for name, month in months.items():
        if month.demand_g_m2 is not None and month.demand_g_m2 > _LEAST_DEMAND_G_M2:
            demand = np.where(names == name, month.demand_g_m2, demand)

    def planned(job: str | None) -> Array:
        coming = np.zeros(labels.size)
        for work in feeding.planned:
            if work.surface != surface.name:
                continue
            counts = names == _month(work.at, timeline)
            if work.job == job:
                counts &= np.abs(labels - work.at.timestamp()) >= _SAME_PASS_H * 3600.0
            coming = np.where(counts, coming + feeding.brings.get((work.job, surface.name), 0.0), coming)
        return coming

    found = {SHARE: (given + planned(None)) / demand}
    for job in feeding.judged.get(surface.name, ()):
        brings = np.full(labels.size, feeding.brings[job, surface.name])
        parts = (given, planned(job), brings, demand)
        found[own(job)] = (given + parts[1] + brings) / demand
        found |= {own(job, part): values for part, values in zip(_PARTS, parts, strict=True)}
    return {name: np.atleast_2d(values) for name, values in found.items()}


def passes_at(quantities: Mapping[str, Array], timeline: Timeline, now: datetime) -> tuple[PassOfFeed, ...]:
    """The nitrogen of the month with a pass now, for each job that is judged by it on the surface."""
    found = []
    for name in quantities:
        _, sign, job = name.partition(":")
        if not name.startswith(f"{SHARE}:") or not sign or ":" in job:
            continue
        parts = (at_moment(quantities[own(job, part)][0], timeline, now) for part in _PARTS)
        given, planned, brings, demand = parts
        found.append(
            PassOfFeed(
                job=job, given_g_m2=given, planned_g_m2=planned, brings_g_m2=brings, demand_g_m2=demand
            )
        )
    return tuple(found)


def _month(at: datetime, timeline: Timeline) -> str:
    return f"{at.astimezone(timeline.zone):%Y-%m}"


def _or_nan(grams: float | None) -> float:
    return np.nan if grams is None else grams
