"""Figures: what a quantity comes to over the hours before, during or after every start at once.

A span is given in hours from the start and may begin or end within an hour; every hour that it touches counts
whole, which errs on the strict side. A span that leaves the forecast, or holds an unknown hour, is unknown.
A figure is named by value, so that what several jobs and surfaces need is listed once and computed once.
"""

from __future__ import annotations

import math
from collections.abc import Iterable
from typing import Literal, NamedTuple, Protocol, TypeVar

import numpy as np

from planner.weather import Array, Mask

Summary = Literal["lowest", "highest", "total", "mean", "mean_ahead"]
#: Hours that must be left of a span for its mean to stand for all of it.
LEAST_AHEAD_H = 24
Values = TypeVar("Values", Array, Mask)
_NUDGE = 1e-9


class Figure(NamedTuple):
    """A quantity summed up over hours `first` to `last` from every start."""

    quantity: str
    owner: str
    """The surface whose own quantity it is; empty where all surfaces of the site share it."""
    first: int
    last: int
    summary: Summary
    of_members: bool = False
    """Of all members; else of the first alone, the plain forecast."""


class Columns(Protocol):
    """Quantities by name, each of shape (members or 1, hours)."""

    def __getitem__(self, name: str, /) -> Array: ...


class Figures:
    """The figures of one site under one forecast, each computed once."""

    def __init__(self) -> None:
        self._held: dict[Figure, Array] = {}

    def compute(self, wanted: Iterable[Figure], columns: Columns) -> None:
        """Compute those of the figures that are not held yet from the quantities of one surface."""
        for figure in wanted:
            if figure not in self._held:
                column = columns[figure.quantity]
                if not figure.of_members:
                    column = column[:1]
                self._held[figure] = summed_up(column, figure.first, figure.last, figure.summary)

    def __getitem__(self, figure: Figure) -> Array:
        """The figure at every start hour, shape (members or 1, hours)."""
        return self._held[figure]

    def __len__(self) -> int:
        return len(self._held)


def touched(from_h: float, to_h: float) -> tuple[int, int]:
    """First and last whole hour, counted from the start hour, that the span from_h up to to_h touches."""
    low = math.floor(from_h + _NUDGE)
    high = math.ceil(to_h - _NUDGE) - 1
    return low, max(low, high)


def always(mask: Mask, low: int, high: int) -> Mask:
    """Whether a mask is true in all of hours low..high from every start; False where they leave its hours."""
    if low == 0 and high == 0:
        return mask
    if mask.all():
        return within(mask.shape[-1], low, high)
    result: Mask = np.zeros(mask.shape, dtype=bool)
    if high - low < mask.shape[-1]:
        runs: Mask = _running_extreme(mask, high - low + 1, np.logical_and)
        _place(result, runs, low, high)
    return result


def within(hours: int, low: int, high: int) -> Mask:
    """Whether hours low..high from every start lie within the forecast, shape (1, hours)."""
    starts = np.arange(hours)
    return np.atleast_2d((starts + low >= 0) & (starts + high < hours))


def summed_up(column: Array, low: int, high: int, how: Summary) -> Array:
    """The column summed up over hours low..high from every start."""
    length = high - low + 1
    if low == 0 and high == 0:
        return column
    if how == "mean_ahead":
        return _mean_ahead(column, low, high)
    result = np.full(column.shape, np.nan)
    if length > column.shape[-1]:
        return result
    if how == "lowest":
        runs = _running_extreme(column, length, np.minimum)
    elif how == "highest":
        runs = _running_extreme(column, length, np.maximum)
    else:
        runs = _running_sum(column, length)
        if how == "mean":
            runs = runs / length
    _place(result, runs, low, high)
    return result


def _mean_ahead(column: Array, low: int, high: int) -> Array:
    """The mean over hours low..high of every start, without those past the last hour.

    Unknown where fewer than a day of them is left, where they begin before the first hour, or where one of them is
    unknown.
    """
    hours = column.shape[-1]
    first = np.arange(hours) + low
    last = np.minimum(np.arange(hours) + high + 1, hours)
    count = last - first
    known = (first >= 0) & (count >= min(LEAST_AHEAD_H, high - low + 1))
    first, last = np.clip(first, 0, hours), np.clip(last, 0, hours)
    unknown = np.isnan(column)
    has_gaps = bool(unknown.any())
    ladder = _ladder(np.where(unknown, 0.0, column) if has_gaps else column)
    mean = (ladder[..., last] - ladder[..., first]) / np.maximum(count, 1)
    if has_gaps:
        gaps = _ladder(unknown.astype(np.float64))
        mean[gaps[..., last] - gaps[..., first] > 0.5] = np.nan
    mean[..., ~known] = np.nan
    return np.asarray(mean)


def _place(result: Values, runs: Values, low: int, high: int) -> None:
    """Give each start its run: runs[k] covers hours k..k+high-low and belongs to the start k - low."""
    hours = result.shape[-1]
    first, last = max(0, -low), min(hours, hours - high)
    if last > first:
        result[..., first:last] = runs[..., first + low : last + low]


def _running_sum(column: Array, length: int) -> Array:
    unknown = np.isnan(column)
    if unknown.any():
        sums = _cumulated(np.where(unknown, 0.0, column), length)
        gaps = _cumulated(unknown.astype(np.float64), length)
        return np.where(gaps > 0.5, np.nan, sums)
    return _cumulated(column, length)


def _ladder(column: Array) -> Array:
    """Sums from the first hour up to each, shape (..., hours + 1)."""
    ladder = np.empty((*column.shape[:-1], column.shape[-1] + 1))
    ladder[..., 0] = 0.0
    np.cumsum(column, axis=-1, out=ladder[..., 1:])
    return ladder


def _cumulated(column: Array, length: int) -> Array:
    ladder = _ladder(column)
    # A dry spell may come out at some 1e-14; limits are held with more slack than that.
    return np.asarray(ladder[..., length:] - ladder[..., :-length])


def _running_extreme(column: Values, length: int, pick: np.ufunc) -> Values:
    """Extremes of every run of `length` hours, by doubling: log2(length) passes."""
    reach, runs = 1, column
    while reach * 2 <= length:
        runs = pick(runs[..., :-reach], runs[..., reach:])
        reach *= 2
    rest = length - reach
    return pick(runs[..., :-rest], runs[..., rest:]) if rest else runs
