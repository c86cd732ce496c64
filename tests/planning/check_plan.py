"""Checks a week's plan against what the plan promises, from files and rows alone.

Nothing here knows how a plan is found. Gaps, lengths and kinds of jobs are read from the rules file as it is
written; windows are those that the answer offers; hours, time away and play days are those of the keeper. What a
keeper keeps free before play is common practice, no source, and stands here once more on purpose.
"""

from __future__ import annotations

import tomllib
from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from datetime import datetime, time, timedelta
from itertools import combinations
from pathlib import Path
from typing import Any, Protocol
from zoneinfo import ZoneInfo

from planner.indices.grasses import GRASSES

WEEKDAYS = ("mon", "tue", "wed", "thu", "fri", "sat", "sun")
HOURS_OF = {"h": 1.0, "d": 24.0}
#: Calendar days before play in which a kind of work would still show. Common practice, no source.
SHOWS_FOR_D = {"aerating": 21, "scarifying": 10, "top-dressing": 4}
#: Rows may be rounded to the minute.
_SLACK = timedelta(minutes=1)


class Row(Protocol):
    """Work with its time: a row of the week."""

    job: str
    surface: str
    start: datetime
    end: datetime


class Offered(Protocol):
    """A window: the work may begin from `start` to `latest_start`."""

    job: str
    surface: str
    start: datetime
    latest_start: datetime


@dataclass(frozen=True, slots=True)
class Work:
    """Work that is not in the plan: done before it, or fixed by the keeper. Done work has no length."""

    job: str
    surface: str
    start: datetime
    end: datetime


@dataclass(frozen=True, slots=True)
class Wait:
    """Between the end of one piece of work and the start of another on its surface, at least so many hours."""

    first: frozenset[str]
    then: frozenset[str]
    hours: float
    id: str
    or_within_h: float = -1.0
    """It is no fault either where the other follows this soon."""

    def between(self, first: frozenset[str], then: frozenset[str]) -> bool:
        return bool(self.first & first and self.then & then)

    def is_short(self, gone_h: float) -> bool:
        return self.or_within_h < gone_h < self.hours - 0.02


class Rules:
    """Lengths, kinds and gaps as the rules file has them."""

    def __init__(self, file: Path, surfaces: Iterable[Mapping[str, Any]]) -> None:
        """`surfaces` as they stand in a site file."""
        self._read = tomllib.loads(file.read_text(encoding="utf-8"))
        self._surfaces = {one["name"]: one for one in surfaces}
        self.jobs: Mapping[str, Mapping[str, Any]] = self._read["jobs"]

    def length(self, job: str) -> timedelta:
        return timedelta(minutes=self.jobs[job]["duration_min"])

    def names(self, job: str) -> frozenset[str]:
        """What a gap may call this work: by its job, or by its kind."""
        return frozenset({job, self.jobs[job]["kind"]}) if job in self.jobs else frozenset({job})

    def waits(self, surface: str) -> Iterator[Wait]:
        """Every gap that counts on a surface, both ways of a row as one."""
        for row in self._read.get("gaps", []):
            yield Wait(
                frozenset(row["done"]),
                frozenset(row["next"]),
                row["least"] * HOURS_OF[row.get("unit", "d")],
                row["id"],
            )
        for name, job in self.jobs.items():
            for need in self._needs(job):
                if need.get("kind") != "gap" or need.get("hard_min") is None or not self._on(need, surface):
                    continue
                unit_h = HOURS_OF[need.get("unit", "h")]
                hours = need["hard_min"] * unit_h
                if need.get("after_emergence"):
                    hours += 24.0 * GRASSES[self._surfaces[surface]["grass"]].emergence_days
                other, own = frozenset(need["other"]), frozenset({name})
                ends = (other, own) if need["direction"] == "since" else (own, other)
                yield Wait(*ends, hours, f"{name}.{need['id']}", need.get("or_within", -1.0) * unit_h)

    def _needs(self, job: Mapping[str, Any]) -> Iterator[Mapping[str, Any]]:
        """The job's own needs, and those of its groups that it neither drops nor replaces."""
        own = job.get("needs", [])
        named = {need.get("id") for need in own} | set(job.get("drop", []))
        for group in job.get("uses", []):
            for need in self._read["groups"][group].get("needs", []):
                if need.get("id") not in named:
                    yield need
        for need in own:
            shared = [
                one
                for group in job.get("uses", [])
                for one in self._read["groups"][group].get("needs", [])
                if one.get("id") == need.get("id") and need.get("id") not in job.get("drop", [])
            ]
            yield {**(shared[0] if shared else {}), **need}

    def _on(self, need: Mapping[str, Any], surface: str) -> bool:
        told = self._surfaces[surface]
        here = {surface, told["kind"]}
        meant, soils, seasons = (need.get(key) for key in ("surfaces", "soils", "grasses"))
        return (
            (not meant or bool(here & set(meant)))
            and not here & set(need.get("except_surfaces", []))
            and (not soils or told["soil"] in soils)
            and (not seasons or GRASSES[told["grass"]].season in seasons)
        )


@dataclass(frozen=True, slots=True)
class Keeper:
    """What the keeper says: hours of the week by weekday, time away, play days by surface, and what may be mixed."""

    zone: ZoneInfo
    hours: Mapping[str, Sequence[Any]] | None = None
    away: Sequence[tuple[datetime, datetime]] = ()
    play: Sequence[tuple[str, datetime]] = ()
    mixes: frozenset[frozenset[str]] = field(default_factory=frozenset)
    """Pairs of jobs whose materials may share a tank."""

    def spans(self, moment: datetime) -> list[tuple[datetime, datetime]]:
        """The working hours of the moment's day."""
        here = moment.astimezone(self.zone)
        if self.hours is None:
            midnight = datetime.combine(here.date(), time(), self.zone)
            return [(midnight, midnight + timedelta(days=1))]
        told = self.hours.get(WEEKDAYS[here.weekday()], [])
        pairs = [told] if told and isinstance(told[0], str) else told
        return [
            (
                datetime.combine(here.date(), time.fromisoformat(opens), self.zone),
                datetime.combine(here.date(), time.fromisoformat(closes), self.zone),
            )
            for opens, closes in pairs
        ]


def faults(
    plan: Sequence[Row],
    offered: Iterable[Offered],
    rules: Rules,
    keeper: Keeper,
    *,
    now: datetime,
    days: int,
    others: Sequence[Work] = (),
) -> list[str]:
    """What the plan promises and does not keep, a sentence each; empty where it keeps all of it.

    `others`: work done before, and work fixed by the keeper.
    """
    windows = list(offered)
    found = [fault for row in plan for fault in _alone(row, windows, rules, keeper, now, days)]
    for one, other in combinations([*plan, *others], 2):
        if one in others and other in others:
            continue
        first, then = sorted((one, other), key=lambda row: (row.start, row.end))
        found += _pair(first, then, rules, keeper)
    return found


def _alone(
    row: Row, windows: Sequence[Offered], rules: Rules, keeper: Keeper, now: datetime, days: int
) -> Iterator[str]:
    told = f"{row.job} on {row.surface} at {row.start:%a %d %b %H:%M}"
    if row.start < now - _SLACK or row.start >= now + timedelta(days=days):
        yield f"{told} lies outside the days that are planned"
    if abs(row.end - row.start - rules.length(row.job)) > _SLACK:
        yield f"{told} does not take the time that the job takes"
    mine = [one for one in windows if (one.job, one.surface) == (row.job, row.surface)]
    if not any(one.start - _SLACK <= row.start <= one.latest_start + _SLACK for one in mine):
        yield f"{told} begins in none of its windows"
    if not any(opens <= row.start and row.end <= closes for opens, closes in keeper.spans(row.start)):
        yield f"{told} does not begin and end in the keeper's hours"
    if any(row.start < end and row.end > start for start, end in keeper.away):
        yield f"{told} lies in the time away"
    for surface, at in keeper.play:
        if surface != row.surface:
            continue
        kind = rules.jobs[row.job]["kind"]
        ahead_d = (at.astimezone(keeper.zone).date() - row.start.astimezone(keeper.zone).date()).days
        if 0 <= ahead_d < SHOWS_FOR_D.get(kind, 0):
            yield f"{told} still shows on the play day {at:%a %d %b}"
        if row.start < at + timedelta(hours=3) and row.end > at:
            yield f"{told} lies in the play of {at:%a %d %b}"


def _pair(first: Row, then: Row, rules: Rules, keeper: Keeper) -> Iterator[str]:
    told = f"{then.job} on {then.surface} at {then.start:%a %d %b %H:%M} after {first.job} on {first.surface}"
    one_tank = (
        first.surface == then.surface
        and first.start == then.start
        and frozenset({first.job, then.job}) in keeper.mixes
    )
    if one_tank:
        return
    if then.start < first.end and first.start < then.end:
        yield f"{told} ({first.start:%H:%M} to {first.end:%H:%M}): two pieces of work at once"
    if first.surface != then.surface:
        return
    # Two times of one clock are subtracted as they are shown; over a clock change an hour would be lost.
    gone_h = (then.start.timestamp() - first.end.timestamp()) / 3600.0
    for wait in rules.waits(first.surface):
        if wait.between(rules.names(first.job), rules.names(then.job)) and wait.is_short(gone_h):
            yield f"{told}: {gone_h:.1f} h of {wait.hours:g} h ({wait.id})"
    is_roll_first = "rolling" in rules.names(first.job) and "mowing" in rules.names(then.job)
    same_day = first.start.astimezone(keeper.zone).date() == then.start.astimezone(keeper.zone).date()
    if is_roll_first and same_day and first.end > first.start:
        yield f"{told}: rolled before the cut of the day"
