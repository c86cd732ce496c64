"""The window in which a formula is believed; outside it the answer is unknown."""

from __future__ import annotations

from typing import Any

import numpy as np

from planner.weather import Array


def within(values: Any, low: float, high: float) -> Array:
    """The values as floats of the same shape, NaN where they lie outside low..high."""
    array = np.asarray(values, dtype=np.float64)
    return np.where((array >= low) & (array <= high), array, np.nan)


def flag(true: Any, known: Any) -> Array:
    """1 where true, 0 where known not to be, NaN where neither can be said."""
    return np.where(true, 1.0, np.where(known, 0.0, np.nan))
