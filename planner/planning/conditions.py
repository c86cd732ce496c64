"""A site under one forecast, and the work of a pass listed by value before it is done.

A job needs much the same on many surfaces, and jobs need much the same figures. So what a pass needs is listed
first: jobs on surfaces that are alike to them become one task, and each figure is computed once for all tasks.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field
from datetime import date, datetime

from planner.indices import INDEX
from planner.indices.past import Day
from planner.indices.quantities import Quantities, ToldNights, ToldWater
from planner.indices.table_spray import edge_rows
from planner.planning.suitability import Suitability, judge_needs, needs_of
from planner.planning.windows import Moments, moments_of
from planner.rules.base import Attempt, Need, ResultKey, Shared
from planner.rules.figures import Figure
from planner.rules.job import Job
from planner.site import Site, Sowing, Surface, WorkDone
from planner.weather import Array, HourlyWeather


@dataclass(frozen=True, slots=True, kw_only=True)
class SiteConditions:
    """A site under one forecast: the sky's quantities and each surface's own."""

    site: Site
    sky: Quantities
    surfaces: Mapping[str, Quantities]
    shared: Shared = field(default_factory=Shared)


@dataclass(frozen=True, slots=True, kw_only=True)
class Task:
    """One job on the surfaces that are alike to it: the same needs, resting on the same figures."""

    job: Job
    needs: tuple[Need, ...]
    keys: tuple[ResultKey, ...]
    attempts: dict[str, Attempt]
    """By the name of the surface."""
    members: Attempt
    """The same under the ensemble; the attempt itself where there is none."""
    moments: Moments

    @property
    def attempt(self) -> Attempt:
        """The attempt on the first of the surfaces; it stands for all."""
        return next(iter(self.attempts.values()))

    def judged(self) -> Suitability:
        """The verdicts, on the first of the surfaces."""
        surface = self.attempt.quantities.surface_here
        return judge_needs(self.job, surface, self.needs, self.keys, self.attempt, self.members)


def conditions_of(
    weather: HourlyWeather,
    site: Site,
    *,
    now: datetime,
    sowings: tuple[Sowing, ...] = (),
    constants: Mapping[str, float] | None = None,
    diary_quantities: Mapping[str, Mapping[str, Array]] | None = None,
    told_water: Mapping[str, ToldWater] | None = None,
    past: Mapping[date, Day] | None = None,
    told_nights: ToldNights | None = None,
) -> SiteConditions:
    """The quantities of a site and all its surfaces; each is computed when a need first asks for it.

    `diary_quantities`: what is known from the diary and not from the weather, by surface and name.
    `told_water`: water given, and water measured in the root zone, by surface. `past`: the days kept before.
    `told_nights`: grass minima read.
    """
    sky = Quantities(weather, site, INDEX, now=now, constants=constants, past=past, told_nights=told_nights)
    surfaces = {
        surface.name: Quantities(
            weather,
            site,
            {**INDEX, **edge_rows(surface)},
            now=now,
            surface=surface,
            sky=sky,
            sowings=sowings,
            constants=constants,
            diary_quantities=(diary_quantities or {}).get(surface.name),
            told_water=told_water,
        )
        for surface in site.surfaces
    }
    return SiteConditions(site=site, sky=sky, surfaces=surfaces)


def attempt_of(
    conditions: SiteConditions,
    job: Job,
    surface: Surface,
    done: tuple[WorkDone, ...] = (),
    planned: tuple[WorkDone, ...] = (),
) -> Attempt:
    """The job set up to be attempted at every start hour."""
    return Attempt(
        quantities=conditions.surfaces[surface.name],
        duration_h=job.duration_h,
        done=tuple(work for work in done if work.surface == surface.name),
        planned=tuple(work for work in planned if work.surface == surface.name),
        shared=conditions.shared,
    )


def tasks_of(
    conditions: SiteConditions,
    job: Job,
    *,
    done: tuple[WorkDone, ...] = (),
    planned: tuple[WorkDone, ...] = (),
    ensemble: SiteConditions | None = None,
) -> list[Task]:
    """The tasks that one job makes on the surfaces it is done on."""
    tasks: list[Task] = []
    for surface in job.surfaces_of(conditions.site):
        attempt = attempt_of(conditions, job, surface, done, planned)
        needs = needs_of(job, surface, attempt)
        keys = tuple(need.key(attempt) for need in needs)
        alike = next((task for task in tasks if task.keys == keys and task.needs == needs), None)
        if alike is not None:
            alike.attempts[surface.name] = attempt
            continue
        task = Task(
            job=job,
            needs=needs,
            keys=keys,
            attempts={surface.name: attempt},
            members=attempt_of(ensemble, job, surface, done, planned) if ensemble is not None else attempt,
            moments=moments_of(needs, keys, attempt),
        )
        tasks.append(task)
    return tasks


def compute_figures(tasks: Iterable[Task]) -> None:
    """List the figures that the tasks need, and compute each once."""
    plain: dict[Figure, Attempt] = {}
    of_members: dict[Figure, Attempt] = {}
    for task in tasks:
        for key in (*task.keys, *task.moments.keys()):
            plain.update(dict.fromkeys(key.figures, task.attempt))
        if task.members.quantities.weather.members > 1:
            for need, key in zip(task.needs, task.keys, strict=True):
                of_members.update(dict.fromkeys(need.member_figures(task.members, key), task.members))
    for figure, attempt in (*plain.items(), *of_members.items()):
        attempt.compute((figure,))
