"""Windows for a job: runs of start hours that hold, with the latest start that still does."""

from __future__ import annotations

from dataclasses import dataclass, replace
from datetime import datetime, timedelta

import numpy as np

from planner.rules.base import Mask, Need, Trial
from planner.rules.gap import Gap
from planner.suitability import NARROW, STATES, UNREAD, Suitability
from planner.weather import HourlyWeather

_JUST_BEFORE = 1e-6


@dataclass(frozen=True, slots=True, kw_only=True)
class Window:
    """A run of start hours in which one job on one surface holds."""

    job: str
    surface: str
    start: datetime
    latest_start: datetime
    end: datetime
    """When work begun at the latest start is finished."""
    best_start: datetime
    state: str
    score: float
    room: float
    """Room of the tightest need at the best start, 0..1."""
    chance: float | None
    best_hour: int
    """Index of the best start hour in the weather."""
    next_start: datetime | None = None
    """Start of the next window for the same job and surface."""


def find(suitability: Suitability, trial: Trial, *, now: datetime) -> tuple[Window, ...]:
    """All windows from now on, in order of time."""
    weather = trial.quantities.weather
    first = max(0, weather.index(now))
    good = suitability.state <= NARROW
    good[:first] = False
    edges = np.flatnonzero(np.diff(good.astype(np.int8), prepend=0, append=0)).tolist()
    runs = [(begin, end - 1) for begin, end in zip(edges[::2], edges[1::2], strict=True)]
    if not runs:
        return ()
    # Equal room comes from equal needs read alike (see `judge`); only gaps on record differ by the start.
    key = ("latest", id(suitability.room), *_moments(suitability.needs, trial), trial.duration_h, first)
    latest, _ = trial.spans.recall(
        key,
        lambda: (
            _latest_offsets(suitability.needs, trial, [last for _, last in runs]),
            suitability.room,
        ),
    )
    # Lists are several times faster than arrays to pick single hours from.
    earliest = _earliest_offsets(suitability.needs, trial, [begin for begin, _ in runs], first)
    least = np.fmin.reduce(suitability.room, axis=0).tolist()
    score, state = suitability.score.tolist(), suitability.state.tolist()
    chance = None if suitability.chance is None else suitability.chance.tolist()
    soonest = _next_five_minutes(now)
    windows: list[Window] = []
    times = trial.spans.recall("times", lambda: [weather.time(index) for index in range(weather.hours)])
    # From the last to the first, so that each knows the one that comes after it.
    for (begin, last), sooner, offset in zip(
        reversed(runs), reversed(earliest), reversed(latest), strict=True
    ):
        latest_start = times[last] + timedelta(minutes=int(offset * 60 + 1e-6))
        start = max(times[begin] - timedelta(minutes=int(sooner * 60 + 1e-6)), soonest)
        if start > latest_start:
            continue
        best = max(range(begin, last + 1), key=score.__getitem__)
        windows.append(
            Window(
                job=suitability.job.name,
                surface=suitability.surface.name,
                start=start,
                latest_start=latest_start,
                end=latest_start + timedelta(hours=suitability.job.duration_h),
                best_start=max(times[best], start) if best > begin else start,
                state=STATES[state[best]],
                score=score[best],
                room=min(1.0, least[best]),
                chance=None if chance is None else _known(chance[best]),
                best_hour=best,
                next_start=windows[-1].start if windows else None,
            )
        )
    return tuple(reversed(windows))


def _known(value: float) -> float | None:
    return None if value != value else value


def _next_five_minutes(moment: datetime) -> datetime:
    whole = moment.replace(second=0, microsecond=0)
    late = whole.minute % 5 or (5 if moment > whole else 0)
    return (
        moment
        if whole.minute % 5 == 0 and moment == whole
        else whole + timedelta(minutes=(5 - late) % 5 or 5)
    )


def _latest_offsets(needs: tuple[Need, ...], trial: Trial, hours: list[int]) -> list[float]:
    """For each hour the latest start within it (0..1 h) at which every need still holds.

    What a span touches changes only where one of its edges crosses a full hour, so only those moments are
    tried, and of the needs only those that then read another figure.
    """
    control = replace(trial, quantities=trial.quantities.control())
    edges = {edge for need in needs for edge in need.edges_h(trial)}
    tried = tuple(sorted({*(1.0 - edge % 1.0 for edge in edges), 1.0}))
    shut = np.zeros((len(tried), trial.quantities.weather.hours), dtype=bool)
    for need in needs:
        told = _shut_at(need, control, tried)
        if told is not None:
            shut |= told
    # What fails at one moment cannot hold from there on: the last moment before the first failure counts.
    held = ~np.logical_or.accumulate(shut[:, hours], axis=0)
    latest = np.array([0.0, *tried])[held.sum(axis=0)]
    # A start on the next full hour belongs to the next hour, which does not hold.
    return [min(float(offset), 55.0 / 60.0) if offset >= 1.0 else float(offset) for offset in latest]


def _shut_at(need: Need, control: Trial, tried: tuple[float, ...]) -> Mask | None:
    """Whether a need shuts each hour at each moment tried, shape (moments, hours); None where none moves it."""

    def told() -> tuple[Mask | None, Need]:
        rows = [
            need.assay(replace(control, offset_h=offset - _JUST_BEFORE)).shut
            if need.shifts(control, offset - _JUST_BEFORE)
            else None
            for offset in tried
        ]
        if all(row is None for row in rows):
            return None, need
        still = np.zeros(control.quantities.weather.hours, dtype=bool)
        return np.stack([still if row is None else row for row in rows]), need

    if isinstance(need, Gap):
        return told()[0]
    # Surfaces differ in the columns they read; a need that reads none is the same for all.
    quantity = getattr(need, "quantity", None)
    column = None if quantity is None else control.quantities[quantity]
    key = ("shut at", id(need), id(column), control.duration_h, tried)
    return control.spans.recall(key, told)[0]


def _earliest_offsets(needs: tuple[Need, ...], trial: Trial, begins: list[int], first: int) -> list[float]:
    """How much before its first full hour each run already holds, in hours.

    Only clocks and gaps open within an hour; everything else must hold in the hour before from then on.
    """
    moments = sorted({round(moment % 1.0, 6) for need in needs for moment in need.opens_h(trial)} - {0.0})
    sooner = [0.0] * len(begins)
    before = np.array(begins) - 1
    if not moments or not (before >= first).any():
        return sooner
    control = replace(trial, quantities=trial.quantities.control())
    alive = before >= first
    # From the end of the hour backward: what fails at a later moment cannot hold from an earlier one on.
    for offset in (1.0 - _JUST_BEFORE, *reversed(moments)):
        shifted = replace(control, offset_h=offset)
        for need in needs:
            alive = alive & ~need.assay(shifted).shut[np.maximum(before, 0)]
        if not alive.any():
            break
        if offset < 1.0 - _JUST_BEFORE:
            for number in np.flatnonzero(alive):
                sooner[number] = 1.0 - offset
    return sooner


def _moments(needs: tuple[Need, ...], trial: Trial) -> tuple[object, ...]:
    """The times of other work that any gap counts: what may differ between surfaces that read alike."""
    work = (*trial.done, *trial.planned)
    return tuple(w.at for need in needs if isinstance(need, Gap) for w in need.matches(work))


@dataclass(frozen=True, slots=True, kw_only=True)
class Shut:
    """Why a job has no window soon. Hours are those ahead that clock, season and light leave open."""

    hours_unread: int
    unread_hour: int | None
    """The first of them, in the weather."""
    lost: dict[int, int]
    """Hours that each need closes, by its row."""
    nearest: dict[int, int]
    """Of those, the hour that comes nearest to holding."""
    least_bad: tuple[int, ...]
    """Up to two hours that miss by least."""


def shut(suitability: Suitability, weather: HourlyWeather, *, now: datetime, hours: int) -> Shut:
    """The causes over the next `hours` hours."""
    first = max(0, weather.index(now))
    last = min(weather.hours, first + hours)
    failing = suitability.room < -1e-7
    frame = np.array([need.is_frame for need in suitability.needs])
    ahead = np.zeros(weather.hours, dtype=bool)
    ahead[first:last] = True
    is_open = ahead & ~failing[frame].any(axis=0)
    rows = np.flatnonzero(~frame) if is_open.any() else np.arange(len(suitability.needs))
    inside = is_open if is_open.any() else ahead
    unread = np.flatnonzero(inside & (suitability.state == UNREAD))
    closed = failing & inside & (suitability.state != UNREAD)
    lost = {int(row): int(closed[row].sum()) for row in rows if closed[row].any()}
    nearest = {row: int(np.argmax(np.where(closed[row], suitability.room[row], -np.inf))) for row in lost}
    candidates = np.flatnonzero(is_open & (suitability.state > NARROW) & (suitability.state != UNREAD))
    miss = np.where(np.isnan(suitability.room), 0.0, np.minimum(suitability.room, 0.0))
    order = sorted(candidates, key=lambda hour: ((miss[:, hour] < 0).sum(), -float(miss[:, hour].sum())))
    return Shut(
        hours_unread=int(unread.size),
        unread_hour=int(unread[0]) if unread.size else None,
        lost=lost,
        nearest=nearest,
        least_bad=tuple(int(hour) for hour in order[:2]),
    )
