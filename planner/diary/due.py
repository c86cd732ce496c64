"""What is due and by when, from what is wanted and what is on record."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from datetime import datetime, timedelta

import numpy as np

from planner.diary.book import Book
from planner.diary.growth import degree_day_rate, degree_days_since
from planner.diary.timeline import Timeline
from planner.site import Site
from planner.weather import Array

#: Work wanted once counts as done when it was done this long before its time or later. Judgement.
_DONE_BEFORE = timedelta(days=14)


@dataclass(frozen=True, slots=True, kw_only=True)
class Wanted:
    """A job that is wanted on a surface: once by a time, or again after days or degree days."""

    job: str
    label: str
    surface: str
    by: datetime | None = None
    every_days: float | None = None
    every_degree_days: float | None = None
    not_before: datetime | None = None
    material: str = ""
    """What is put out; the job's first material when empty."""
    again_after: timedelta = _DONE_BEFORE
    """How long work of the same sort keeps the next away; after that it is not what is wanted."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Due:
    """One job on one surface, when it is due, and why."""

    job: str
    label: str
    surface: str
    due_at: datetime | None
    """None when it is not known: nothing on record, or not within the forecast."""
    last_at: datetime | None
    because: str
    waits: bool
    """Whether it is due now, though no time is known (never done)."""
    then: tuple[datetime, ...] = ()
    """When it falls due again within the forecast, each time it is done in time."""
    every_d: float | None = None
    """Days from one turn to the next; None where it is wanted once."""
    is_by: bool = False
    """Whether it is wanted once, at any time up to `due_at`."""
    not_before: datetime | None = None
    is_uncounted: bool = False
    """Whether the sum that decides when it is due is not known."""

    def overdue_h(self, now: datetime) -> float:
        """Hours since it was due; negative before, and 0 where no time is known."""
        return 0.0 if self.due_at is None else (now - self.due_at) / timedelta(hours=1)

    def presses(self, now: datetime, ahead_d: float) -> bool:
        """Whether it is due within so many days, or overdue."""
        if self.due_at is None:
            return self.waits
        return self.due_at - now <= timedelta(days=ahead_d)


def in_order(due: Iterable[Due]) -> tuple[Due, ...]:
    """The soonest first; what was never done before all, what is not known last."""

    def order(one: Due) -> tuple[int, float, str, str]:
        if one.due_at is None:
            return (0 if one.waits else 2, 0.0, one.job, one.surface)
        return (1, one.due_at.timestamp(), one.job, one.surface)

    return tuple(sorted(due, key=order))


def due_of(want: Wanted, book: Book, site: Site, timeline: Timeline, now: datetime) -> Due | None:
    """When what is wanted is due; None when it is done for good."""
    works = [work for work in book.on(want.surface) if work.counted == want.job and work.finished_at <= now]
    last = works[-1].finished_at if works else None
    if want.by is not None:
        # The feed of ten days ago is not the one that is wanted by Friday.
        kept = min(_DONE_BEFORE, want.again_after)
        if last is not None and last >= want.by - _DONE_BEFORE and now - last < kept:
            return None
        return _due(want, want.by, last, "wanted by then", is_by=True)
    if want.every_days is not None:
        every = timedelta(days=want.every_days)
        # What was never done is due now.
        first = now if last is None else last + every
        turns = _turns(max(first, now), every, timeline.weather.end)
        said = "none on record yet" if last is None else _every_days(want.every_days)
        return _due(
            want,
            None if last is None else first,
            last,
            said,
            waits=last is None,
            then=turns,
            every_d=want.every_days,
        )
    if last is None:
        return _due(want, None, None, "none on record yet", waits=True)
    assert want.every_degree_days is not None
    surface = site.surface(want.surface)
    summed = at_moment(degree_days_since(surface, works[-1:], timeline), timeline, now)
    so_far = "the sum is not known" if summed is None else f"{summed:.0f} so far"
    due_at = timeline.reaches(last, want.every_degree_days, degree_day_rate(surface.grass))
    again = None
    if due_at is not None:
        again = timeline.reaches(max(due_at, now), want.every_degree_days, degree_day_rate(surface.grass))
    return _due(
        want,
        due_at,
        last,
        f"every {want.every_degree_days:g} °C d; {so_far}",
        then=() if again is None else (again,),
        every_d=None if due_at is None else max(1.0, (due_at - last) / timedelta(days=1)),
        is_uncounted=summed is None,
    )


def _turns(first: datetime, every: timedelta, until: datetime) -> tuple[datetime, ...]:
    """When it falls due again after the first time."""
    count = int((until - first) / every) if until > first else 0
    return tuple(first + every * turn for turn in range(1, count + 1))


def _every_days(days: float) -> str:
    if days == 1.0:
        return "every day"
    # Some work is wanted several times a week.
    a_week = 7.0 / days
    if days < 7.0 and abs(a_week - round(a_week)) < 1e-9 and days != round(days):
        return f"{round(a_week)} times a week"
    return f"every {days:g} days"


def _due(
    want: Wanted,
    at: datetime | None,
    last: datetime | None,
    because: str,
    *,
    waits: bool = False,
    is_by: bool = False,
    then: tuple[datetime, ...] = (),
    every_d: float | None = None,
    is_uncounted: bool = False,
) -> Due:
    return Due(
        job=want.job,
        label=want.label,
        surface=want.surface,
        due_at=at,
        last_at=last,
        because=because,
        waits=waits,
        then=then,
        every_d=every_d,
        is_by=is_by,
        not_before=want.not_before,
        is_uncounted=is_uncounted,
    )


def at_moment(values: Array, timeline: Timeline, now: datetime) -> float | None:
    """The value of the hour that holds the moment; None when not known."""
    hour = timeline.weather.index(now)
    if not 0 <= hour < values.size or np.isnan(values[hour]):
        return None
    return float(values[hour])
