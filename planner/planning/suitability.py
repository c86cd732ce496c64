"""One job on one surface, judged for every start hour at once."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from planner.margin import BARRED, BROKEN, EPS, NARROW, STEADY, UNREAD
from planner.rules.base import Attempt, Need, Reading, ResultKey
from planner.rules.clock import Clock
from planner.rules.gap import Gap
from planner.rules.job import Job
from planner.site import Surface
from planner.weather import Array, Mask

Codes = NDArray[np.int8]
Rows = NDArray[np.intp]
#: Desirability below this counts as this in the mean: a figure on its limit still holds, but scores next to nothing.
_LEAST = 1e-3


@dataclass(frozen=True, slots=True, kw_only=True)
class Suitability:
    """Verdicts of every start hour. `margin` has the shape (needs, hours), the rest (hours,).

    State, score and limiting need are those of the first member (the plain forecast); `chance` is the share of
    the members in which every hard limit holds, None where there is but one member.
    """

    job: Job
    surface: Surface
    needs: tuple[Need, ...]
    readings: tuple[Reading, ...]
    margin: Array
    state: Codes
    score: Array
    limiting: Rows
    chance: Array | None

    def tight(self, hour: int) -> float:
        """Margin of the tightest need at a start hour, 0..1; beyond comfort there is nothing to choose."""
        return float(np.clip(np.fmin.reduce(self.margin[:, hour]), 0.0, 1.0))

    def value(self, need: int, hour: int) -> float:
        """The figure of a need at a start hour: of its two sides the one with less margin."""
        reading = self.readings[need]
        low, high = float(reading.low[0, hour]), float(reading.high[0, hour])
        if reading.low is reading.high:
            return low
        return low if self.needs[need].presses_low(low, high) else high


def judge(job: Job, surface: Surface, attempt: Attempt, *, members: Attempt | None = None) -> Suitability:
    """Judge every start hour. `members`: the same job under an ensemble of the same hours, for the chance."""
    needs = needs_of(job, surface, attempt)
    keys = tuple(need.key(attempt) for need in needs)
    return judge_needs(job, surface, needs, keys, attempt, members or attempt)


def needs_of(job: Job, surface: Surface, attempt: Attempt) -> tuple[Need, ...]:
    """The needs that are judged. Gaps to work that is not on record hold; named, they would drown the rest."""
    needs = job.needs_on(surface)
    kept = tuple(n for n in needs if not (isinstance(n, Gap) and n.is_idle(attempt)))
    # A job that asks for nothing here is open all day.
    return kept or needs[:1] or (Clock(),)


def judge_needs(
    job: Job,
    surface: Surface,
    needs: tuple[Need, ...],
    keys: tuple[ResultKey, ...],
    attempt: Attempt,
    members: Attempt,
) -> Suitability:
    """Judge every start hour by needs whose keys are known."""
    results = [need.result(attempt, key) for need, key in zip(needs, keys, strict=True)]
    margin = np.stack([result.margin for result in results])
    state, score, limiting = verdicts(needs, margin)
    return Suitability(
        job=job,
        surface=surface,
        needs=needs,
        readings=tuple(result.reading for result in results),
        margin=margin,
        state=state,
        score=score,
        limiting=limiting,
        chance=_chance(needs, keys, members) if members.quantities.weather.members > 1 else None,
    )


def verdicts(needs: tuple[Need, ...], margin: Array) -> tuple[Codes, Array, Rows]:
    """States, scores and limiting needs from the margin of each need, shape (needs, hours)."""
    after = np.array([need.is_after for need in needs])
    needed = np.array([not need.optional for need in needs])
    weights = np.array([need.weight for need in needs])
    unknown = np.isnan(margin)
    has_unknown = bool(unknown.any())
    # fmin passes over what is unknown: an optional need that is not read neither bars nor presses.
    at_start = np.fmin.reduce(margin[~after], axis=0, initial=np.inf)
    later = np.fmin.reduce(margin[after], axis=0, initial=np.inf)
    barred, broken = at_start < -EPS, later < -EPS
    state = np.where(np.fmin(at_start, later) < 1.0 - EPS, NARROW, STEADY).astype(np.int8)
    state[broken] = BROKEN
    state[barred] = BARRED
    # What limits: an unknown need of an unread hour, a failing need at the start before one in the after-hours.
    pressing = np.where(after[:, None] & barred, np.inf, margin)
    if has_unknown:
        unread = unknown[needed].any(axis=0) | unknown.all(axis=0)
        state[unread] = UNREAD
        pressing[unknown] = np.inf
        pressing[unknown & unread & (needed[:, None] | unknown.all(axis=0))] = -np.inf
    return (
        state,
        _score(margin, weights, state),
        np.argmin(pressing, axis=0),
    )


def _score(margin: Array, weights: Array, state: Codes) -> Array:
    """Weighted geometric mean of the desirabilities of the hours that hold; 0 for the others."""
    score = np.zeros(state.size)
    held = np.flatnonzero(state <= NARROW)
    logs = np.log(np.clip(margin[:, held], _LEAST, 1.0))
    # What is not known has no part in the mean; of an hour that holds something is known.
    counted = weights @ ~np.isnan(logs)
    score[held] = np.exp(weights @ np.nan_to_num(logs) / counted)
    return score


def _chance(needs: tuple[Need, ...], keys: tuple[ResultKey, ...], members: Attempt) -> Array | None:
    """Share of members in which every hard limit holds, of those that can be read; None with one member."""
    results = [need.member_result(members, key) for need, key in zip(needs, keys, strict=True)]
    shape = np.broadcast_shapes(*(result.holds.shape for result in results))
    if shape[0] < 2:
        return None
    held = np.ones(shape, dtype=bool)
    known: Mask | None = None
    for need, result in zip(needs, results, strict=True):
        held &= result.holds | ~result.known if need.optional else result.holds
        if not result.is_whole and not need.optional:
            known = np.broadcast_to(result.known, shape) if known is None else known & result.known
    if known is None:
        return np.asarray(_count(held) / shape[0])
    readable = _count(known)
    share: Array = _count(held & known) / np.maximum(readable, 1)
    share[readable == 0] = np.nan
    return share


def _count(mask: Mask) -> Array:
    """True values of each hour. Bytes added as short whole numbers: many times faster than a sum of truths."""
    return np.asarray(np.add.reduce(mask.view(np.uint8), axis=0, dtype=np.uint16), dtype=np.float64)
