"""What the diary changes, per surface and for the site: leaf, regulator, nitrogen, seed, rain after the work."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field, replace
from datetime import UTC, datetime, timedelta
from functools import partial

import numpy as np

from planner.diary.book import Book, Work
from planner.diary.due import Due, Wanted, at_moment, due_of, in_order
from planner.diary.growth import (
    Feed,
    MonthOfFeed,
    Pace,
    cuts_of,
    degree_day_rate,
    degree_days_since,
    feeds_of,
    height_ratio,
    heights_of,
    measured_heights,
    months_of,
    pace_of,
    regulators_of,
    season_demand_g_m2,
    third_at,
)
from planner.diary.nitrogen import Feeding, PassOfFeed, passes_at, shares_of
from planner.diary.timeline import Timeline
from planner.indices.growth import ONE_THIRD
from planner.indices.seed_clock import SeedClock
from planner.rules.job import Job
from planner.site import Site, Sowing, Surface
from planner.weather import Array, HourlyWeather


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
    passes: tuple[PassOfFeed, ...] = ()
    """This month with one more pass now."""


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
    quantities: Mapping[str, Mapping[str, Array]],
    now: datetime,
    *,
    clocks: Mapping[Sowing, SeedClock],
    wanted: tuple[Wanted, ...] = (),
    rainfast_mm: float = 0.2,
    full_growth_mm_d: Mapping[str, float | None] | None = None,
    nitrogen_month_g_m2: Mapping[str, float | None] | None = None,
) -> Consequences:
    """Everything that follows from the book at a moment. `quantities` are those of `diary_quantities`, `clocks` those
    of the sowings in the book."""
    paces, most = full_growth_mm_d or {}, nitrogen_month_g_m2 or {}
    by_surface = {
        surface.name: _of_surface(
            surface,
            book,
            timeline,
            quantities[surface.name],
            now,
            clocks,
            paces.get(surface.name),
            most.get(surface.name),
        )
        for surface in site.surfaces
    }
    due = [one for want in wanted if (one := due_of(want, book, site, timeline, now)) is not None]
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
    quantities: Mapping[str, Array],
    now: datetime,
    clocks: Mapping[Sowing, SeedClock],
    full_growth_mm_d: float | None,
    most_g_m2: float | None,
) -> OfSurface:
    works = [work for work in book.on(surface.name) if work.finished_at <= now]
    cuts = cuts_of(works)
    leaf = None
    if cuts:
        ratios = quantities["grass_height_ratio"][0]
        ratio = at_moment(ratios, timeline, now)
        heights = [height for height in heights_of(book, surface) if height.at <= now]
        pace = pace_of(surface, cuts, timeline, full_growth_mm_d, measured_heights(book, surface, now))
        leaf = Leaf(
            last_cut=cuts[-1],
            ratio=ratio,
            length_mm=None if ratio is None else ratio * surface.cut_height_mm,
            third_at=third_at(surface, heights[-1], timeline, pace),
            pace=pace,
        )
    regulated = None
    applied = [pair for pair in regulators_of(book, surface.name) if pair[0].finished_at <= now]
    if applied:
        last, lasts = applied[-1]
        summed = quantities["degree_days_since_regulator"][0]
        regulated = Regulated(
            last=last,
            degree_days=at_moment(summed, timeline, now),
            lasts=lasts,
            due_at=timeline.reaches(last.finished_at, lasts, degree_day_rate(surface.grass)),
        )
    seeds = [seed_in_ground(one, clocks[one], now) for one in book.sowings if one.surface == surface.name]
    return OfSurface(
        surface=surface,
        leaf=leaf,
        regulated=regulated,
        fed=replace(
            _fed(surface, book, timeline, now, most_g_m2), passes=passes_at(quantities, timeline, now)
        ),
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
            found = by_surface[surface.name]
            due = partial(Due, job=job.name, label=job.label, surface=surface.name, waits=False)
            if job.kind == "mowing" and found.leaf is not None:
                ratio = "not known" if found.leaf.ratio is None else f"{found.leaf.ratio:.2f}"
                yield due(
                    due_at=found.leaf.third_at,
                    last_at=found.leaf.last_cut.finished_at,
                    because=f"a third comes off at {ONE_THIRD:g} times the cut height; leaf {ratio} now",
                )
            put = found.regulated
            if put is not None and job.name == put.last.job and job.kind == "spraying":
                so_far = "not known" if put.degree_days is None else f"{put.degree_days:.0f}"
                yield due(
                    due_at=put.due_at,
                    last_at=put.last.finished_at,
                    because=f"lasts {put.lasts:.0f} °C d; {so_far} so far",
                )


#: A spray this long past is no news, even when the forecast still knows its hours.
_NEWS_DAYS = 3


@dataclass(frozen=True, slots=True, kw_only=True)
class RainOnSpray:
    """A spray on record and the rain within its rainfast hours."""

    work: Work
    material: str
    rainfast_h: float
    dry_until: datetime
    """The end of the rainfast hours."""
    rain_mm: float | None
    """Mean over members; None when an hour of them is not known."""
    fallen_mm: float | None
    """The part of it that has fallen by now; None when an hour of it is not known."""
    from_at: datetime | None
    """Start of the first hour with rain; None without."""
    chance: float | None
    """Share of members with rain above the limit; None without an ensemble."""


def rain_on_sprays(
    book: Book, weather: HourlyWeather, now: datetime, *, limit_mm: float
) -> tuple[RainOnSpray, ...]:
    """Every spray of the last days with rainfast hours, the earliest first."""
    found = []
    for work in book.works:
        lasting = [one for one in book.materials_of(work) if one.rainfast_h]
        if not lasting or not now - timedelta(days=_NEWS_DAYS) <= work.finished_at <= now:
            continue
        slowest = max(lasting, key=lambda one: one.rainfast_h or 0.0)
        hours = slowest.rainfast_h or 0.0
        until = work.finished_at + timedelta(hours=hours)
        falls = rain_between(weather, work.finished_at, until)
        totals = falls.sum(axis=1)
        known = totals[~np.isnan(totals)]
        wet = np.flatnonzero(np.nan_to_num(falls).mean(axis=0) >= 0.05)
        first = weather.index(work.finished_at)
        so_far = np.zeros(1)
        if now > work.finished_at:
            so_far = rain_between(weather, work.finished_at, min(now, until)).sum(axis=1)
        found.append(
            RainOnSpray(
                work=work,
                material=slowest.name,
                rainfast_h=hours,
                dry_until=until,
                rain_mm=float(known.mean()) if known.size and falls.shape[1] else None,
                fallen_mm=None if np.isnan(so_far).any() else float(so_far.mean()),
                from_at=max(weather.time(first + int(wet[0])), work.finished_at) if wet.size else None,
                chance=float((known > limit_mm).mean()) if known.size > 1 else None,
            )
        )
    return tuple(found)


def rain_between(weather: HourlyWeather, begin: datetime, end: datetime) -> Array:
    """Rain of each hour touched, its share within the span, shape (members, hours touched). [mm]

    NaN for hours that the weather does not hold: what is not known is not dry.
    """
    rain = weather["rain_mm"]
    first, last = weather.index(begin), weather.index(end - timedelta(microseconds=1))
    falls = np.full((rain.shape[0], last - first + 1), np.nan)
    for number, hour in enumerate(range(first, last + 1)):
        if 0 <= hour < weather.hours:
            start = weather.time(hour)
            inside = min(end, start + timedelta(hours=1)) - max(begin, start)
            falls[:, number] = rain[:, hour] * (inside / timedelta(hours=1))
    return falls


#: Seed is past caring for once three times the time to emergence has gone by (own-emergence, judgement).
ROOTED = 3.0
#: Beyond the forecast the soil is taken to stay as it was over so many last days.
_LAST_DAYS = 5


@dataclass(frozen=True, slots=True, kw_only=True)
class SeedInGround:
    """One sowing and how far it is."""

    sowing: Sowing
    way: float | None
    """Time since sowing in units of the time to emergence; None where no soil temperature is known at all."""
    emerges_at: datetime | None
    """When the first is seen; None when not known, or when the soil is too cold for it."""
    is_estimate: bool
    """Whether that day lies beyond the forecast, or the way rests on days that nobody has on record."""


def seed_in_ground(sowing: Sowing, clock: SeedClock, now: datetime) -> SeedInGround | None:
    """How far the seed is; None once it has rooted, and for seed that is not down yet."""
    if sowing.at > now:
        return None
    way = float(clock.at(np.array([now.timestamp()]))[0])
    if way != way:
        return SeedInGround(sowing=sowing, way=None, emerges_at=None, is_estimate=False)
    if way >= ROOTED:
        return None
    seen = clock.reaches(1.0)
    if seen is not None:
        is_guess = clock.guessed_until is not None
        return SeedInGround(sowing=sowing, way=way, emerges_at=seen, is_estimate=is_guess)
    pace, at = clock.pace(_LAST_DAYS), None
    if pace > 0.005:
        end = float(clock.starts_s[-1])
        left = 1.0 - float(clock.at(np.array([end]))[0])
        at = datetime.fromtimestamp(end, UTC) + timedelta(days=left / pace)
    return SeedInGround(sowing=sowing, way=way, emerges_at=at, is_estimate=True)


_NO_FEEDING = Feeding()


def diary_quantities(
    site: Site,
    book: Book,
    timeline: Timeline,
    *,
    full_growth_mm_d: Mapping[str, float | None] | None = None,
    nitrogen_month_g_m2: Mapping[str, float | None] | None = None,
    feeding: Feeding = _NO_FEEDING,
    now: datetime | None = None,
) -> dict[str, dict[str, Array]]:
    """For each surface the arrays of DIARY_QUANTITIES, of shape (1, hours), and the shares of jobs by their name.

    NaN where nothing is on record, so that a need on them should be optional.
    """
    paces, most = full_growth_mm_d or {}, nitrogen_month_g_m2 or {}
    found = {}
    for surface in site.surfaces:
        cuts = cuts_of(book.on(surface.name))
        measured = measured_heights(book, surface, now)
        pace = pace_of(surface, cuts, timeline, paces.get(surface.name), measured)
        feeds = feeds_of(book, surface)
        months = months_of(surface, feeds, timeline, most.get(surface.name))
        regulated = [work for work, _ in regulators_of(book, surface.name)]
        found[surface.name] = {
            "grass_height_ratio": np.atleast_2d(
                height_ratio(surface, heights_of(book, surface, now), timeline, pace)
            ),
            "degree_days_since_regulator": np.atleast_2d(degree_days_since(surface, regulated, timeline)),
            **shares_of(surface, months, feeds, timeline, feeding),
        }
    return found
