"""All jobs on all surfaces, judged and ranked: what can be done, in which hours, and why not the others."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from datetime import datetime, timedelta

from planner.indices import INDEX
from planner.indices.frame import Quantities
from planner.rules.base import Trial
from planner.rules.job import Job
from planner.rules.spans import Spans
from planner.site import Site, Sowing, Surface, WorkDone
from planner.suitability import Suitability, judge
from planner.weather import Array, HourlyWeather
from planner.windows import Window, find

#: Share of a window's worth that one day of waiting costs: nearer hours are better known. Judgement.
_WORTH_KEPT_PER_DAY = 0.97
#: A window after which no other comes for two days counts for more. Judgement.
_LAST_CHANCE_AFTER = timedelta(hours=48)
_LAST_CHANCE_GAIN = 1.15


@dataclass(frozen=True, slots=True, kw_only=True)
class Ground:
    """A site under one forecast: the sky's quantities and each surface's own."""

    site: Site
    sky: Quantities
    surfaces: Mapping[str, Quantities]
    spans: Spans


@dataclass(frozen=True, slots=True, kw_only=True)
class Judged:
    """One job on one surface with its verdicts and windows."""

    job: Job
    surface: Surface
    trial: Trial
    suitability: Suitability
    windows: tuple[Window, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class Ranked:
    """A window and the job it belongs to, in its place."""

    rank: int
    window: Window
    judged: Judged
    is_last_chance: bool


@dataclass(frozen=True, slots=True, kw_only=True)
class Plan:
    """Every job judged, and all windows in order of rank."""

    made_at: datetime
    ground: Ground
    judged: tuple[Judged, ...]
    ranked: tuple[Ranked, ...]


def lay(
    weather: HourlyWeather,
    site: Site,
    *,
    now: datetime,
    sowings: tuple[Sowing, ...] = (),
    constants: Mapping[str, float] | None = None,
    given: Mapping[str, Mapping[str, Array]] | None = None,
) -> Ground:
    """The quantities of a site and all its surfaces; each is computed when a need first asks for it.

    `given`: quantities known from elsewhere than the weather (the diary), by surface and name.
    """
    constants = dict(constants or {})
    sky = Quantities(weather, site, INDEX, now=now, constants=constants)
    surfaces = {
        surface.name: Quantities(
            weather,
            site,
            INDEX,
            now=now,
            surface=surface,
            sky=sky,
            sowings=sowings,
            constants=constants,
            given=(given or {}).get(surface.name),
        )
        for surface in site.surfaces
    }
    return Ground(site=site, sky=sky, surfaces=surfaces, spans=Spans())


def make(
    ground: Ground,
    jobs: Iterable[Job],
    *,
    now: datetime,
    done: tuple[WorkDone, ...] = (),
    planned: tuple[WorkDone, ...] = (),
    ensemble: Ground | None = None,
) -> Plan:
    """Judge every job on every surface it is done on, find the windows and rank them."""
    judged = []
    for job in jobs:
        for surface in job.surfaces_of(ground.site):
            trial = trial_of(ground, job, surface, done, planned)
            members = trial_of(ensemble, job, surface, done, planned) if ensemble is not None else None
            suitability = judge(job, surface, trial, members=members)
            windows = find(suitability, trial, now=now)
            judged.append(
                Judged(job=job, surface=surface, trial=trial, suitability=suitability, windows=windows)
            )
    return Plan(made_at=now, ground=ground, judged=tuple(judged), ranked=rank(judged, now))


def trial_of(
    ground: Ground,
    job: Job,
    surface: Surface,
    done: tuple[WorkDone, ...] = (),
    planned: tuple[WorkDone, ...] = (),
) -> Trial:
    """The job set up to be tried at every start hour."""
    return Trial(
        quantities=ground.surfaces[surface.name],
        duration_h=job.duration_h,
        done=tuple(work for work in done if work.surface == surface.name),
        planned=tuple(work for work in planned if work.surface == surface.name),
        spans=ground.spans,
    )


def rank(judged: Iterable[Judged], now: datetime) -> tuple[Ranked, ...]:
    """All windows in order: steady before narrow, then worth, room of the tightest need, chance, length, sooner.

    Worth is the score, less for each day it lies ahead, more where it is the last chance for long.
    """
    pairs = [(window, each) for each in judged for window in each.windows]

    def order(pair: tuple[Window, Judged]) -> tuple[object, ...]:
        window, each = pair
        days_ahead = max(0.0, (window.start - now) / timedelta(days=1))
        worth = window.score * _WORTH_KEPT_PER_DAY**days_ahead
        if last_chance(window):
            worth *= _LAST_CHANCE_GAIN
        return (
            window.state != "steady",
            -round(worth, 2),
            -round(window.room, 2),
            -(window.chance if window.chance is not None else 0.0),
            -(window.end - window.start),
            window.start,
            each.job.name,
            each.surface.name,
        )

    return tuple(
        Ranked(rank=number, window=window, judged=each, is_last_chance=last_chance(window))
        for number, (window, each) in enumerate(sorted(pairs, key=order), start=1)
    )


def last_chance(window: Window) -> bool:
    """Whether no further window for the job comes within two days of its end."""
    return window.next_start is None or window.next_start - window.end > _LAST_CHANCE_AFTER
