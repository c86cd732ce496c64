"""Sliding spans: what a quantity comes to over the hours before, during or after every start at once.

A span is told in hours from the start and may begin or end within an hour; every hour that it touches counts
whole, which errs on the strict side. A span that leaves the forecast, or holds an unknown hour, is unknown.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Hashable
from typing import Any, TypeVar

import numpy as np

from planner.weather import Array

Made = TypeVar("Made")
Mask = np.ndarray[Any, np.dtype[np.bool_]]
_NUDGE = 1e-9


def touched(from_h: float, to_h: float) -> tuple[int, int]:
    """First and last whole hour, counted from the start hour, that the span from_h up to to_h touches."""
    low = math.floor(from_h + _NUDGE)
    high = math.ceil(to_h - _NUDGE) - 1
    return low, max(low, high)


class Spans:
    """Sliding reductions, each made once for a column and a span and kept for all jobs that ask again."""

    def __init__(self) -> None:
        self._made: dict[tuple[int, int, int, str], Array] = {}
        self._columns: list[Array] = []
        self._memo: dict[Hashable, Any] = {}

    def recall(self, key: Hashable, make: Callable[[], Made]) -> Made:
        """What was made under the key before, else what `make` gives now. Jobs share what they ask alike."""
        if key not in self._memo:
            self._memo[key] = make()
        made: Made = self._memo[key]
        return made

    def over(self, column: Array, low: int, high: int, how: str) -> Array:
        """The column summed up (`lowest`, `highest`, `total`, `mean`) over hours low..high from every start."""
        key = (id(column), low, high, how)
        known = self._made.get(key)
        if known is None:
            known = _slide(column, low, high, how)
            self._made[key] = known
            # An id is only unique while its array lives.
            self._columns.append(column)
        return known


def always(mask: Mask, low: int, high: int) -> Mask:
    """Whether a mask is true in all of hours low..high from every start; False where they leave its hours."""
    hours = mask.shape[-1]
    if low == 0 and high == 0:
        return mask
    result = np.zeros(mask.shape, dtype=bool)
    if high - low < hours:
        runs = _running_extreme(mask, high - low + 1, np.logical_and)
        first, last = max(0, -low), min(hours, hours - high)
        if last > first:
            result[..., first:last] = runs[..., first + low : last + low]
    return result


def _slide(column: Array, low: int, high: int, how: str) -> Array:
    length = high - low + 1
    hours = column.shape[-1]
    if low == 0 and high == 0:
        return column
    result = np.full(column.shape, np.nan)
    if length > hours:
        return result
    if how in ("total", "mean"):
        runs = _running_sum(column, length)
        if how == "mean":
            runs = runs / length
    else:
        runs = _running_extreme(column, length, np.minimum if how == "lowest" else np.maximum)
    # runs[k] covers hours k..k+length-1 and belongs to the start k - low.
    first = max(0, -low)
    last = min(hours, hours - high)
    if last > first:
        result[..., first:last] = runs[..., first + low : last + low]
    return result


def _running_sum(column: Array, length: int) -> Array:
    unknown = np.isnan(column)
    if unknown.any():
        sums = _cumulated(np.where(unknown, 0.0, column), length)
        gaps = _cumulated(unknown.astype(np.float64), length)
        return np.where(gaps > 0.5, np.nan, sums)
    return _cumulated(column, length)


def _cumulated(column: Array, length: int) -> Array:
    ladder = np.empty((*column.shape[:-1], column.shape[-1] + 1))
    ladder[..., 0] = 0.0
    np.cumsum(column, axis=-1, out=ladder[..., 1:])
    # A dry spell may come out at some 1e-14; limits are held with more slack than that.
    return np.asarray(ladder[..., length:] - ladder[..., :-length])


def _running_extreme(column: Any, length: int, pick: Callable[[Any, Any], Any]) -> Any:
    """Extremes of every run of `length` hours, by doubling: log2(length) passes."""
    reach, runs = 1, column
    while reach * 2 <= length:
        runs = pick(runs[..., :-reach], runs[..., reach:])
        reach *= 2
    rest = length - reach
    return pick(runs[..., :-rest], runs[..., rest:]) if rest else runs
