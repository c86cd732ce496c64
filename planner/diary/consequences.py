"""What the diary changes, gathered: per surface and for the site."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field
from datetime import datetime

from planner.diary.book import Book, Work
from planner.diary.due import Due, Wanted, at_moment, due_of, in_order
from planner.diary.growth import (
    Feed,
    MonthOfFeed,
    Pace,
    cuts_of,
    degree_day_rate,
    feeds_of,
    months_of,
    pace_of,
    regulators_of,
    season_demand_g_m2,
    third_at,
)
from planner.diary.rainfast import RainOnSpray, rain_on_sprays
from planner.diary.seed import SeedInGround, seed_in_ground
from planner.diary.timeline import Timeline
from planner.indices.mowing import ONE_THIRD
from planner.rules.job import Job
from planner.site import Site, Surface
from planner.weather import Array


@dataclass(frozen=True, slots=True, kw_only=True)
class Leaf:
    """Height of the grass since its last cut."""

    last_cut: Work
    ratio: float | None
    length_mm: float | None
    third_at: datetime | None
    pace: Pace


@dataclass(frozen=True, slots=True, kw_only=True)
class Regulated:
    """A growth regulator on the surface."""

    last: Work
    degree_days: float | None
    lasts: float
    due_at: datetime | None


@dataclass(frozen=True, slots=True, kw_only=True)
class Fed:
    """Nitrogen by month, and over the part of this year that is known."""

    months: Mapping[str, MonthOfFeed]
    season_given_g_m2: float
    season_not_known: int
    season_demand_g_m2: float
    season_from: str | None
    feeds: tuple[Feed, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class OfSurface:
    """What the record says of one surface."""

    surface: Surface
    leaf: Leaf | None
    regulated: Regulated | None
    fed: Fed
    seed: tuple[SeedInGround, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class Consequences:
    """What the diary changes at a moment."""

    by_surface: Mapping[str, OfSurface] = field(default_factory=dict)
    sprays: tuple[RainOnSpray, ...] = ()
    due: tuple[Due, ...] = ()


def consequences(
    site: Site,
    jobs: Iterable[Job],
    book: Book,
    timeline: Timeline,
    given: Mapping[str, Mapping[str, Array]],
    now: datetime,
    *,
    wanted: tuple[Wanted, ...] = (),
    rainfast_mm: float = 0.2,
    full_growth_mm_d: Mapping[str, float] | None = None,
    nitrogen_month_g_m2: Mapping[str, float] | None = None,
) -> Consequences:
    """Everything that follows from the book at a moment. `given` is that of `given_of`."""
    paces, most = full_growth_mm_d or {}, nitrogen_month_g_m2 or {}
    by_surface = {
        surface.name: _of_surface(
            surface,
            book,
            timeline,
            given[surface.name],
            now,
            paces.get(surface.name),
            most.get(surface.name),
        )
        for surface in site.surfaces
    }
    due = list(due_of(wanted, book, site, timeline, now))
    asked = {(one.job, one.surface) for one in due}
    due += [one for one in _by_growth(jobs, site, by_surface, now) if (one.job, one.surface) not in asked]
    return Consequences(
        by_surface=by_surface,
        sprays=rain_on_sprays(book, timeline.weather, now, limit_mm=rainfast_mm),
        due=in_order(due),
    )


def _of_surface(
    surface: Surface,
    book: Book,
    timeline: Timeline,
    given: Mapping[str, Array],
    now: datetime,
    told_pace: float | None,
    most_g_m2: float | None,
) -> OfSurface:
    works = [work for work in book.on(surface.name) if work.finished_at <= now]
    cuts = cuts_of(works)
    leaf = None
    if cuts:
        ratios = given["grass_height_ratio"][0]
        ratio = at_moment(ratios, timeline, now)
        pace = pace_of(surface, cuts, timeline, told_pace)
        leaf = Leaf(
            last_cut=cuts[-1],
            ratio=ratio,
            length_mm=None if ratio is None else ratio * surface.cut_height_mm,
            third_at=third_at(surface, cuts[-1], timeline, pace),
            pace=pace,
        )
    regulated = None
    applied = [pair for pair in regulators_of(book, surface.name) if pair[0].finished_at <= now]
    if applied:
        last, lasts = applied[-1]
        summed = given["degree_days_since_regulator"][0]
        regulated = Regulated(
            last=last,
            degree_days=at_moment(summed, timeline, now),
            lasts=lasts,
            due_at=timeline.reaches(last.finished_at, lasts, degree_day_rate(surface.grass)),
        )
    seeds = [seed_in_ground(one, timeline, now) for one in book.sowings if one.surface == surface.name]
    return OfSurface(
        surface=surface,
        leaf=leaf,
        regulated=regulated,
        fed=_fed(surface, book, timeline, now, most_g_m2),
        seed=tuple(seed for seed in seeds if seed is not None),
    )


def _fed(surface: Surface, book: Book, timeline: Timeline, now: datetime, most: float | None) -> Fed:
    feeds = tuple(feed for feed in feeds_of(book, surface) if feed.at <= now)
    today = now.astimezone(timeline.zone).date()
    days = [day for day in timeline.days if day.year == today.year and day <= today]
    first = min(days, default=None)
    mine = [
        feed
        for feed in feeds
        if first is not None and first <= feed.at.astimezone(timeline.zone).date() <= today
    ]
    return Fed(
        months=months_of(surface, feeds, timeline, most),
        season_given_g_m2=sum(feed.nitrogen_g_m2 or 0.0 for feed in mine),
        season_not_known=sum(feed.nitrogen_g_m2 is None for feed in mine),
        season_demand_g_m2=season_demand_g_m2(surface, timeline, today.year, today, most),
        season_from=None if first is None else first.isoformat(),
        feeds=feeds,
    )


def _by_growth(
    jobs: Iterable[Job], site: Site, by_surface: Mapping[str, OfSurface], now: datetime
) -> Iterable[Due]:
    """Cuts due by the one-third mark and growth regulator due by warmth, where they are on record."""
    for job in jobs:
        for surface in job.surfaces_of(site):
            told = by_surface[surface.name]
            if job.kind == "mowing" and told.leaf is not None:
                ratio = "not known" if told.leaf.ratio is None else f"{told.leaf.ratio:.2f}"
                yield Due(
                    job=job.name,
                    label=job.label,
                    surface=surface.name,
                    due_at=told.leaf.third_at,
                    last_at=told.leaf.last_cut.finished_at,
                    because=f"a third comes off at {ONE_THIRD:g} times the cut height; leaf {ratio} now",
                    waits=False,
                )
            if told.regulated is not None and job.name == told.regulated.last.job and job.kind == "spraying":
                degree_days = told.regulated.degree_days
                so_far = "not known" if degree_days is None else f"{degree_days:.0f}"
                yield Due(
                    job=job.name,
                    label=job.label,
                    surface=surface.name,
                    due_at=told.regulated.due_at,
                    last_at=told.regulated.last.finished_at,
                    because=f"lasts {told.regulated.lasts:.0f} degree days; {so_far} so far",
                    waits=False,
                )
