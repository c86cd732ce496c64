"""One job on one surface, judged for every start hour at once."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np

from planner.rules.base import Assay, Need, Reading, Trial
from planner.rules.job import Job
from planner.site import Surface
from planner.weather import Array

#: The five states, in order of code.
STATES = ("steady", "narrow", "broken", "barred", "unread")
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
        rule = self.needs[need]
        by_low = float(
            rule.room(Reading(low=reading.low[:1, hour : hour + 1], high=reading.low[:1, hour : hour + 1]))[
                0, 0
            ]
        )
        by_high = float(
            rule.room(Reading(low=reading.high[:1, hour : hour + 1], high=reading.high[:1, hour : hour + 1]))[
                0, 0
            ]
        )
        return low if by_low < by_high else high


def judge(job: Job, surface: Surface, trial: Trial, *, members: Trial | None = None) -> Suitability:
    """Judge every start hour. `members`: the same job tried on an ensemble of the same hours, for the chance."""
    needs = job.needs_on(surface)
    assays = [need.assay(trial) for need in needs]
    room = np.stack([assay.room for assay in assays])
    chance = _chance(needs, assays if members is None else [need.assay(members) for need in needs])
    state, score, limiting = verdicts(needs, room)
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


def verdicts(needs: tuple[Need, ...], room: Array) -> tuple[Codes, Array, np.ndarray[Any, np.dtype[np.intp]]]:
    """States, scores and limiting needs from the room of each need, shape (needs, hours)."""
    unknown = np.isnan(room)
    optional = np.array([need.optional for need in needs])
    after = np.array([need.is_after for need in needs])
    weights = np.array([need.weight for need in needs])
    filled = np.where(unknown, 1.0, room)
    fails = filled < -_EPS
    unread = (unknown & ~optional[:, None]).any(axis=0)
    barred = fails[~after].any(axis=0)
    broken = fails[after].any(axis=0)
    tight = (filled < 1.0 - _EPS).any(axis=0)
    state = np.where(tight, NARROW, STEADY)
    state = np.where(broken, BROKEN, state)
    state = np.where(barred, BARRED, state)
    state = np.where(unread, UNREAD, state).astype(np.int8)
    counted = np.where(unknown, 0.0, weights[:, None])
    held = np.flatnonzero(state <= NARROW)
    score = np.zeros(state.size)
    weighed = counted[:, held]
    logs = np.log(np.clip(filled[:, held], _LEAST, 1.0))
    score[held] = np.exp((weighed * logs).sum(axis=0) / np.maximum(weighed.sum(axis=0), 1e-9))
    # What limits: an unknown need of an unread hour, a failing need at the start before one in the after-hours.
    pressing = np.where(unknown, np.inf, room)
    pressing = np.where(barred & after[:, None], np.inf, pressing)
    pressing = np.where(unread & unknown & ~optional[:, None], -np.inf, pressing)
    return state, score, np.argmin(pressing, axis=0)


def _chance(needs: tuple[Need, ...], assays: list[Assay]) -> Array | None:
    """Share of members in which every hard limit holds, of those that can be read; None with one member."""
    shape = np.broadcast_shapes(*(assay.holds.shape for assay in assays))
    if shape[0] < 2:
        return None
    held, known = np.ones(shape, dtype=bool), np.ones(shape, dtype=bool)
    for need, assay in zip(needs, assays, strict=True):
        if need.optional:
            held &= assay.holds | ~assay.seen
        else:
            held &= assay.holds
            known &= assay.seen
    readable = known.sum(axis=0)
    share: Array = (held & known).sum(axis=0) / np.maximum(readable, 1)
    share[readable == 0] = np.nan
    return share
