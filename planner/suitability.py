"""One job on one surface, judged for every start hour at once."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np

from planner.rules.base import Assay, Mask, Need, Reading, Trial
from planner.rules.gap import Gap
from planner.rules.job import Job
from planner.site import Surface
from planner.weather import Array
from planner.words import STATES as STATES

STEADY, NARROW, BROKEN, BARRED, UNREAD = range(5)

Codes = np.ndarray[Any, np.dtype[np.int8]]
_EPS = 1e-7
#: Desirability below this counts as this in the mean: a figure on its limit still holds, but scores next to nothing.
_LEAST = 1e-3


@dataclass(frozen=True, slots=True, kw_only=True)
class Suitability:
    """Verdicts of every start hour. `room` has the shape (needs, hours), the rest (hours,).

    State, score and limiting need are those of the first member (the plain forecast); `chance` is the share of
    the members in which every hard limit holds, None where there is but one member.
    """

    job: Job
    surface: Surface
    needs: tuple[Need, ...]
    readings: tuple[Reading, ...]
    room: Array
    state: Codes
    score: Array
    limiting: np.ndarray[Any, np.dtype[np.intp]]
    chance: Array | None

    def value(self, need: int, hour: int) -> float:
        """The figure of a need at a start hour: of its two sides the one with less room."""
        reading = self.readings[need]
        low, high = float(reading.low[0, hour]), float(reading.high[0, hour])
        if reading.low is reading.high or low == high or np.isnan(low) or np.isnan(high):
            return low
        at = Reading(low=reading.low[:1, hour : hour + 1], high=reading.high[:1, hour : hour + 1])
        by_low, by_high = self.needs[need].sides(at)
        return low if by_low[0, 0] < by_high[0, 0] else high


def judge(job: Job, surface: Surface, trial: Trial, *, members: Trial | None = None) -> Suitability:
    """Judge every start hour. `members`: the same job tried on an ensemble of the same hours, for the chance."""
    # Gaps to work that is not on record hold; told apart they would drown the rest.
    needs = tuple(n for n in job.needs_on(surface) if not (isinstance(n, Gap) and n.is_idle(trial)))
    assays = [need.assay(trial) for need in needs]
    spread = assays if members is None else [need.assay(members) for need in needs]
    # Surfaces that need the same and read the same get the same verdicts, told once. The assays are kept in
    # what is remembered, so that their identities stay theirs.
    key = ("verdicts", *map(id, needs), *map(id, assays), *map(id, spread))
    shape, _ = trial.spans.recall(("shape", *map(id, needs)), lambda: _shape_of(needs))
    room, chance, (state, score, limiting), _ = trial.spans.recall(
        key, lambda: (*_told(needs, shape, assays, spread), (needs, assays, spread))
    )
    return Suitability(
        job=job,
        surface=surface,
        needs=needs,
        readings=tuple(assay.reading for assay in assays),
        room=room,
        state=state,
        score=score,
        limiting=limiting,
        chance=chance,
    )


_Verdicts = tuple[Codes, Array, np.ndarray[Any, np.dtype[np.intp]]]


@dataclass(frozen=True, slots=True)
class _Shape:
    """What the verdicts must know of each need."""

    after: Mask
    needed: Mask
    weights: Array


def _shape_of(needs: tuple[Need, ...]) -> tuple[_Shape, tuple[Need, ...]]:
    """The shape, and the needs themselves so that their identities stay theirs while it is remembered."""
    return _Shape(
        np.array([need.is_after for need in needs]),
        np.array([not need.optional for need in needs]),
        np.array([need.weight for need in needs]),
    ), needs


def _told(
    needs: tuple[Need, ...], shape: _Shape, assays: list[Assay], spread: list[Assay]
) -> tuple[Array, Array | None, _Verdicts]:
    room = np.stack([assay.room for assay in assays])
    return room, _chance(needs, spread), verdicts(shape, room)


def verdicts(shape: _Shape, room: Array) -> _Verdicts:
    """States, scores and limiting needs from the room of each need, shape (needs, hours)."""
    after = shape.after
    unknown = np.isnan(room)
    gone = bool(unknown.any())
    # fmin passes over what is unknown: an optional need that is not read neither bars nor presses.
    at_start, later = (
        np.fmin.reduce(room[~after], axis=0),
        np.fmin.reduce(room[after], axis=0, initial=np.inf),
    )
    barred, broken = at_start < -_EPS, later < -_EPS
    state = np.where(np.fmin(at_start, later) < 1.0 - _EPS, NARROW, STEADY).astype(np.int8)
    state[broken] = BROKEN
    state[barred] = BARRED
    # What limits: an unknown need of an unread hour, a failing need at the start before one in the after-hours.
    pressing = np.where(after[:, None] & barred, np.inf, room)
    if gone:
        needed = shape.needed
        unread = unknown[needed].any(axis=0) | unknown.all(axis=0)
        state[unread] = UNREAD
        pressing[unknown] = np.inf
        pressing[unknown & unread & (needed[:, None] | unknown.all(axis=0))] = -np.inf
    return state, _score(room, unknown if gone else None, shape.weights, state), np.argmin(pressing, axis=0)


def _score(room: Array, unknown: Mask | None, weights: Array, state: Codes) -> Array:
    """Weighted geometric mean of the desirabilities of the hours that hold; 0 for the others."""
    score = np.zeros(state.size)
    held = np.flatnonzero(state <= NARROW)
    rooms = room[:, held]
    if unknown is None:
        score[held] = np.exp(weights @ np.log(np.clip(rooms, _LEAST, 1.0)) / weights.sum())
        return score
    counted = np.where(unknown[:, held], 0.0, weights[:, None])
    logs = np.log(np.clip(np.where(unknown[:, held], 1.0, rooms), _LEAST, 1.0))
    score[held] = np.exp((counted * logs).sum(axis=0) / np.maximum(counted.sum(axis=0), 1e-9))
    return score


def _chance(needs: tuple[Need, ...], assays: list[Assay]) -> Array | None:
    """Share of members in which every hard limit holds, of those that can be read; None with one member."""
    shape = np.broadcast_shapes(*(assay.holds.shape for assay in assays))
    if shape[0] < 2:
        return None
    held = np.ones(shape, dtype=bool)
    known: Mask | None = None
    for need, assay in zip(needs, assays, strict=True):
        held &= assay.holds if assay.whole or not need.optional else assay.holds | ~assay.seen
        if not assay.whole and not need.optional:
            known = np.broadcast_to(assay.seen, shape) if known is None else known & assay.seen
    if known is None:
        return np.asarray(_count(held) / shape[0])
    readable = _count(known)
    share: Array = _count(held & known) / np.maximum(readable, 1)
    share[readable == 0] = np.nan
    return share


def _count(mask: Mask) -> Array:
    """True values of each hour. Bytes are added as bytes where they cannot run over: many times faster."""
    plain = np.ascontiguousarray(mask).view(np.uint8)
    sort = np.uint8 if mask.shape[0] < 256 else np.uint32
    return np.asarray(np.add.reduce(plain, axis=0, dtype=sort), dtype=np.float64)
