"""All jobs on all surfaces, judged and ranked: what can be done, in which hours, and why not the others."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass, replace
from datetime import datetime, timedelta

from msgspec import structs

from planner.planning.conditions import SiteConditions, compute_figures, tasks_of
from planner.planning.suitability import Suitability
from planner.planning.windows import Window, find
from planner.rules.base import Attempt
from planner.rules.job import Job
from planner.site import Surface, WorkDone

#: Share of a window's worth that one day of waiting costs: nearer hours are better known. Judgement.
_WORTH_KEPT_PER_DAY = 0.97
#: A window after which no other comes for two days counts for more. Judgement.
_LAST_CHANCE_AFTER = timedelta(hours=48)
_LAST_CHANCE_GAIN = 1.15


@dataclass(frozen=True, slots=True, kw_only=True)
class Judged:
    """One job on one surface with its verdicts and windows."""

    job: Job
    surface: Surface
    attempt: Attempt
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
    conditions: SiteConditions
    judged: tuple[Judged, ...]
    ranked: tuple[Ranked, ...]


def make_plan(
    conditions: SiteConditions,
    jobs: Iterable[Job],
    *,
    now: datetime,
    done: tuple[WorkDone, ...] = (),
    planned: tuple[WorkDone, ...] = (),
    ensemble: SiteConditions | None = None,
) -> Plan:
    """Judge every job on every surface it is done on, find the windows and rank them."""
    by_job = [(job, tasks_of(conditions, job, done=done, planned=planned, ensemble=ensemble)) for job in jobs]
    compute_figures(task for _, tasks in by_job for task in tasks)
    judged: list[Judged] = []
    for job, tasks in by_job:
        on_surface: dict[str, Judged] = {}
        for task in tasks:
            suitability = task.judged()
            windows = find(suitability, task.attempt, now=now, moments=task.moments)
            for name, attempt in task.attempts.items():
                on_surface[name] = _on(conditions.site.surface(name), attempt, suitability, windows)
        judged += (on_surface[surface.name] for surface in job.surfaces_of(conditions.site))
    return Plan(made_at=now, conditions=conditions, judged=tuple(judged), ranked=rank(judged, now))


def _on(surface: Surface, attempt: Attempt, suitability: Suitability, windows: tuple[Window, ...]) -> Judged:
    """What was found for surfaces that are alike, said of one of them."""
    if suitability.surface.name != surface.name:
        suitability = replace(suitability, surface=surface)
        windows = tuple(structs.replace(window, surface=surface.name) for window in windows)
    return Judged(
        job=suitability.job, surface=surface, attempt=attempt, suitability=suitability, windows=windows
    )


def rank(judged: Iterable[Judged], now: datetime) -> tuple[Ranked, ...]:
    """All windows in order: steady before narrow, then worth, score, chance, length, sooner.

    Worth is the margin of the tightest need, less for each day it lies ahead, more where it is the last chance for
    long: many comfortable needs must not hide one that nearly fails.
    """
    pairs = [(window, each) for each in judged for window in each.windows]

    day = timedelta(days=1)

    def order(pair: tuple[Window, Judged]) -> tuple[object, ...]:
        window, each = pair
        days_ahead = max(0.0, (window.start - now) / day)
        worth = window.margin * _WORTH_KEPT_PER_DAY**days_ahead
        if last_chance(window):
            worth *= _LAST_CHANCE_GAIN
        return (
            window.state != "steady",
            -round(worth, 2),
            -round(window.score, 2),
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
