"""What warmth does to grass since something was done: height, growth regulator, the feed it can use."""

from __future__ import annotations

from calendar import monthrange
from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass
from datetime import date, datetime
from itertools import pairwise

import numpy as np

from planner.diary.book import Book, Work
from planner.diary.timeline import Rate, Timeline
from planner.errors import InputError
from planner.indices.growth import (
    COOL_REGULATOR,
    ONE_THIRD,
    fit_full_growth,
    growing_degree_days,
    growth_potential,
    monthly_nitrogen_g_m2,
)
from planner.mix.nutrients import nutrients_gm2
from planner.site import Grass, Surface
from planner.weather import Array

#: Growth of leaf in a day of full growth by cut height, between which a straight line is drawn. `guess`,
#: after figures from memory: 0.5 to 2 mm on greens, 2 to 6 mm on turf of 20 to 40 mm.
_GUESSED_MM_D = ((4.0, 1.0), (25.0, 4.0))
#: Measured leaf lengths needed before they replace the guess, and how many of the newest count.
LEAST_LENGTHS, MOST_LENGTHS = 3, 8
#: Cuts looked through for measured lengths.
_CUTS_READ = 60
#: Degree days of a growth regulator whose material does not say.
LASTS_DEGREE_DAYS = COOL_REGULATOR.due_at
#: Nitrogen of a month of full growth (Woods 2015: 3 to 4, arbitrary, says its author).
NITROGEN_G_M2 = 3.0
#: Days that must be known before the growth of others is taken from them, and how many of the newest are. Judgement.
_LEAST_DAYS, _LAST_DAYS = 5, 10


def growth_rate(grass: Grass) -> Rate:
    """Growth potential of daily mean temperatures."""
    return lambda air_c: growth_potential(
        air_c, grass.optimum_c, grass.width_c, plateau=grass.season == "warm"
    )


def degree_day_rate(grass: Grass) -> Rate:
    """Degree days of daily mean temperatures."""
    return lambda air_c: growing_degree_days(air_c, grass.degree_day_base_c)


@dataclass(frozen=True, slots=True, kw_only=True)
class Pace:
    """Growth of leaf in a day of full growth, and where the figure comes from."""

    full_growth_mm_d: float
    source: str
    """`site file`, `own cuts` or `guess`."""
    lengths: int
    """Measured leaf lengths it rests on."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Height:
    """A height of the leaf that is known: a cut's, or one that was measured."""

    at: datetime
    mm: float


def cuts_of(works: Iterable[Work]) -> tuple[Work, ...]:
    """The cuts among the work."""
    return tuple(work for work in works if work.kind == "mowing")


def pace_of(
    surface: Surface,
    cuts: tuple[Work, ...],
    timeline: Timeline,
    own_mm_d: float | None,
    measured: Iterable[Height] = (),
) -> Pace:
    """Growth in a day of full growth: as the site file says, else from leaf lengths on record, else a guess.

    A length measured before a cut, or by itself some days after one, gives millimetres grown since the cut before,
    set against the growth potential added up in between. The newest count.
    """
    if own_mm_d is not None:
        return Pace(full_growth_mm_d=own_mm_d, source="site file", lengths=0)
    read = cuts[-_CUTS_READ:]
    lengths, sums = [], []
    for before, at, length in sorted(_lengths(read, measured), key=lambda one: one[1]):
        grown = length - (before.figure("cut_height_mm") or surface.cut_height_mm)
        warmth = timeline.between(before.finished_at, at, growth_rate(surface.grass))
        if warmth > 0.0:
            lengths.append(grown)
            sums.append(warmth)
    if len(lengths) >= LEAST_LENGTHS:
        fitted = fit_full_growth(lengths[-MOST_LENGTHS:], sums[-MOST_LENGTHS:])
        if fitted.mm_d > 0.0:
            return Pace(full_growth_mm_d=fitted.mm_d, source="own cuts", lengths=fitted.cuts)
    heights, rates = zip(*_GUESSED_MM_D, strict=True)
    slope = (rates[1] - rates[0]) / (heights[1] - heights[0])
    guessed = rates[0] + slope * (surface.cut_height_mm - heights[0])
    return Pace(full_growth_mm_d=min(max(guessed, 0.5), 6.0), source="guess", lengths=len(lengths))


def _lengths(cuts: tuple[Work, ...], measured: Iterable[Height]) -> Iterator[tuple[Work, datetime, float]]:
    """Each measured leaf length: the cut it grew from, when it was measured, and the length in mm."""
    for before, cut in pairwise(cuts):
        if (length := cut.figure("leaf_length_mm")) is not None:
            yield before, cut.started_at, length
    for height in measured:
        last = next((cut for cut in reversed(cuts) if cut.finished_at < height.at), None)
        if last is not None:
            yield last, height.at, height.mm


def measured_heights(book: Book, surface: Surface, now: datetime | None = None) -> tuple[Height, ...]:
    """Heights that were measured by themselves, not at a cut; those by now where that is told."""
    return tuple(
        Height(at=told.at, mm=told.figures["height_mm"])
        for told in book.observations
        if told.surface == surface.name and "height_mm" in told.figures and (now is None or told.at <= now)
    )


def heights_of(book: Book, surface: Surface, now: datetime | None = None) -> tuple[Height, ...]:
    """Heights on record, the earliest first; those measured by now where that is told."""
    cut = [
        Height(at=work.finished_at, mm=work.figure("cut_height_mm") or surface.cut_height_mm)
        for work in cuts_of(book.on(surface.name))
    ]
    return tuple(sorted((*cut, *measured_heights(book, surface, now)), key=lambda height: height.at))


def height_ratio(surface: Surface, heights: tuple[Height, ...], timeline: Timeline, pace: Pace) -> Array:
    """Leaf length over the surface's cut height at each hour, shape (hours,); NaN where no height is on record.

    A growth regulator's braking is left out, so that the third comes out rather too early.
    """
    ratio = np.full(timeline.weather.hours, np.nan)
    for height in heights[-12:]:
        grown = pace.full_growth_mm_d * timeline.since(height.at, growth_rate(surface.grass))
        after = timeline.from_hour_of(height.at)
        ratio = np.where(after, (height.mm + grown) / surface.cut_height_mm, ratio)
    return ratio


def third_at(surface: Surface, last: Height, timeline: Timeline, pace: Pace) -> datetime | None:
    """When a third of the leaf would come off at a cut; None when not within the forecast, or not known."""
    left = ONE_THIRD * surface.cut_height_mm - last.mm
    if left <= 0.0:
        return last.at
    return timeline.reaches(last.at, left / pace.full_growth_mm_d, growth_rate(surface.grass))


def regulators_of(book: Book, surface: str) -> tuple[tuple[Work, float], ...]:
    """Growth regulator on record on a surface, each with the degree days it lasts."""
    found = []
    for work in book.on(surface):
        lasting = [one.lasts_degree_days for one in book.materials_of(work) if one.lasts_degree_days]
        if lasting or work.counted == "growth_regulator":
            found.append((work, min(lasting) if lasting else LASTS_DEGREE_DAYS))
    return tuple(found)


def degree_days_since(surface: Surface, works: Iterable[Work], timeline: Timeline) -> Array:
    """Degree days since the newest of these works at each hour, shape (hours,).

    Endless where none is on record: nothing has been held back. NaN where it is not known.
    """
    newest = list(works)[-3:]
    out = np.full(timeline.weather.hours, np.nan if newest else np.inf)
    for work in newest:
        summed = timeline.since(work.finished_at, degree_day_rate(surface.grass))
        out = np.where(timeline.from_hour_of(work.finished_at), summed, out)
    return out


@dataclass(frozen=True, slots=True, kw_only=True)
class Feed:
    """Nitrogen of one piece of work; None where amount or analysis is not known."""

    at: datetime
    nitrogen_g_m2: float | None


def feeds_of(book: Book, surface: Surface) -> tuple[Feed, ...]:
    """Work that brought nitrogen, or may have."""
    feeds = []
    for work in book.on(surface.name):
        bringing = [one for one in book.materials_of(work) if one.material.analysis_pct.get("N")]
        if not bringing and work.kind != "fertilising":
            continue
        feeds.append(Feed(at=work.finished_at, nitrogen_g_m2=_nitrogen(work, surface)))
    return tuple(feeds)


def _nitrogen(work: Work, surface: Surface) -> float | None:
    grams = 0.0
    for used in work.used:
        if used.stocked is None:
            return None
        if not used.stocked.material.analysis_pct.get("N"):
            continue
        if used.amount is None or used.unit != used.stocked.material.unit:
            return None
        area_m2 = work.figure("area_m2") or surface.area_m2
        try:
            brought = nutrients_gm2(used.stocked.material, used.amount / area_m2 * 10_000.0)
        except InputError:
            return None
        grams += brought["N"]
    return grams if work.used else None


@dataclass(frozen=True, slots=True, kw_only=True)
class MonthOfFeed:
    """Nitrogen given in a month and what growth can use of it. g/m2; None where not known."""

    month: str
    given_g_m2: float
    not_known: int
    """Feeds of unknown amount, which the figure leaves out."""
    demand_g_m2: float | None
    days_known: int


def months_of(
    surface: Surface, feeds: Iterable[Feed], timeline: Timeline, most_g_m2: float | None = None
) -> Mapping[str, MonthOfFeed]:
    """Months the timeline reaches, oldest first, under names such as 2026-05.

    The demand is that of the whole month: its known days, and the others at the mean growth of the last days
    known, of the forecast too; in a month that is past, at the mean of its own.
    """
    days = sorted(timeline.days)
    rates = growth_rate(surface.grass)(np.array([timeline.days[day].air_c for day in days]))
    known = {day: float(rate) for day, rate in zip(days, rates, strict=True) if rate == rate}
    newest = list(known)[-_LAST_DAYS:]
    fed = list(feeds)
    months = {}
    for month in dict.fromkeys(f"{day:%Y-%m}" for day in days):
        mine = [day for day in known if f"{day:%Y-%m}" == month]
        is_past = bool(newest) and f"{newest[-1]:%Y-%m}" > month
        like = mine if is_past else newest
        demand = None
        if len(like) >= _LEAST_DAYS:
            year, number = (int(part) for part in month.split("-"))
            others = monthrange(year, number)[1] - len(mine)
            summed = sum(known[day] for day in mine) + others * float(np.mean([known[day] for day in like]))
            most = most_g_m2 or NITROGEN_G_M2
            demand = float(monthly_nitrogen_g_m2(summed / (len(mine) + others), most))
        given = [feed for feed in fed if f"{feed.at.astimezone(timeline.zone):%Y-%m}" == month]
        months[month] = MonthOfFeed(
            month=month,
            given_g_m2=sum(feed.nitrogen_g_m2 or 0.0 for feed in given),
            not_known=sum(feed.nitrogen_g_m2 is None for feed in given),
            demand_g_m2=demand,
            days_known=len(mine),
        )
    return months


def season_demand_g_m2(
    surface: Surface, timeline: Timeline, year: int, today: date, most: float | None
) -> float:
    """Nitrogen that the known days of the year up to today could use."""
    days = [day for day in sorted(timeline.days) if day.year == year and day <= today]
    growth = growth_rate(surface.grass)(np.array([timeline.days[day].air_c for day in days]))
    lengths = np.array([monthrange(day.year, day.month)[1] for day in days], dtype=np.float64)
    return float(np.nansum(growth / np.maximum(lengths, 1.0)) * (most or NITROGEN_G_M2)) if days else 0.0
