"""Finding where an hourly list was made from longer steps.

Beyond a few days a model gives three- or six-hourly sums; a service that lists them hourly splits each sum
into equal parts. Such hours are known only as a block.
"""

from __future__ import annotations

import numpy as np

from planner.weather import HOUR_S, Array

#: Amounts are rounded to 0.1 mm: a single block of equal drizzle proves nothing.
_DRIZZLE_MM = 0.15
_SAME_MM = 1e-6


def native_step_h(epoch_s: np.ndarray, rain_mm: Array) -> Array:
    """Native step of each hour, 1, 3 or 6, shape (hours,), judged from the rain, shape (members, hours).

    A list turns to a longer step once and stays there: from the first wet block of equal hours on, if every
    block after it is equal too. Blocks are counted from 00:00 UTC. Two wet blocks are asked for, or one that
    is more than drizzle.
    """
    steps = np.ones(epoch_s.size)
    hour_of_epoch = np.asarray(epoch_s) // HOUR_S
    for step in (3, 6):
        start = _first_block_hour(hour_of_epoch, np.atleast_2d(rain_mm), step)
        if start is not None:
            steps[hour_of_epoch >= start] = step
    return steps


def _first_block_hour(hour_of_epoch: np.ndarray, rain_mm: Array, step: int) -> int | None:
    blocks = hour_of_epoch // step
    edges = np.flatnonzero(np.diff(blocks, prepend=blocks[0] - 1))
    known = np.isfinite(rain_mm)
    high = np.maximum.reduceat(np.where(known, rain_mm, -np.inf), edges, axis=-1)
    low = np.minimum.reduceat(np.where(known, rain_mm, np.inf), edges, axis=-1)
    count = np.add.reduceat(known.astype(np.int64), edges, axis=-1)
    mixed = ((high - low > _SAME_MM) & (count > 0)).any(axis=0)
    broken = np.flatnonzero(mixed)
    first = int(broken[-1]) + 1 if broken.size else 0
    # A block the list only touches at its edge is equal by want of hours; it is no evidence.
    wet = (high > 0) & (count == step)
    wet[:, :first] = False
    evidence = np.flatnonzero(wet.any(axis=0))
    if evidence.size == 0 or (evidence.size == 1 and float(high[:, evidence].max()) <= _DRIZZLE_MM):
        return None
    return int(blocks[edges[evidence[0]]]) * step
