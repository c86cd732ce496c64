"""A figure against its baseline: scores, and how surely the one is better than the other."""

from __future__ import annotations

from collections.abc import Callable, Sequence

import msgspec
import numpy as np
from numpy.typing import ArrayLike

from planner.weather import Array, Mask, Whole

#: Draws of the bootstrap and the share of them that an interval holds.
DRAWS = 2000
HELD = 0.95
#: Days of one station that are drawn together: weather is alike for about a week.
BLOCK_DAYS = 7
#: Blocks below which nothing is said of an interval. Judgement.
LEAST_BLOCKS = 5

#: A gain, and the low and the high end of its interval: None where the blocks are too few for one.
Gain = tuple[float, float | None, float | None]


class Bin(msgspec.Struct, frozen=True, kw_only=True):
    """Cases in which a chance between two bounds was said: how often, what was said on average, what happened."""

    low: float
    high: float
    cases: int
    said: float
    happened: float


class Row(msgspec.Struct, frozen=True, kw_only=True):
    """One figure on one set of data against one baseline."""

    quantity: str
    indices: tuple[str, ...]
    """Names of the indices that it stands for."""
    data: str
    """Place and time of the data."""
    measure: str
    """`Brier`, `rmse`, `kappa` or `correlation`."""
    unit: str = ""
    cases: int
    of: str
    """What is counted: nights, days, hours, stations."""
    score: float
    baseline: str
    baseline_score: float
    gain: float
    """How much better than the baseline, in the unit of the score; positive is better whatever the measure."""
    gain_low: float | None
    gain_high: float | None
    """The interval of the gain, 95 %, paired and drawn in blocks; None where those are too few."""
    fitted: str
    """What of these data had a part in making the figure: `none`, `these`, `left out in turn`."""
    says: str = ""
    bins: tuple[Bin, ...] = ()

    @property
    def is_better(self) -> bool:
        """Whether the whole interval lies on the good side."""
        return self.gain_low is not None and self.gain_low > 0.0


def compared(statistic: Callable[[Array], Array], blocks: int, *, draws: int = DRAWS, seed: int = 1) -> Gain:
    """A gain and its interval by drawing blocks with replacement.

    Parameters   statistic : how much better the figure is than its baseline, of how often each block is drawn:
                 weights of shape (draws, blocks) in, gains of shape (draws,) out.
                 blocks : number of blocks that are drawn from.
    Returns      gain with every block drawn once; low and high end of the interval of `HELD`, None below five blocks
    Source       efron-tibshirani-1993, chapter 8 (blocks; from memory)
    """
    once = float(statistic(np.ones((1, blocks)))[0])
    if blocks < LEAST_BLOCKS or not np.isfinite(once):
        return once, None, None
    drawn = np.random.default_rng(seed).multinomial(blocks, np.full(blocks, 1.0 / blocks), size=draws)
    low, high = np.nanquantile(statistic(drawn.astype(np.float64)), [(1.0 - HELD) / 2.0, (1.0 + HELD) / 2.0])
    return once, float(low), float(high)


def blocks_of(*labels: Sequence[object] | Whole) -> Whole:
    """Block number of each case, shape (cases,): cases with the same labels lie in one block."""
    numbers: dict[tuple[object, ...], int] = {}
    rows = zip(*(np.asarray(label).tolist() for label in labels), strict=True)
    return np.array([numbers.setdefault(row, len(numbers)) for row in rows], dtype=np.int64)


def loss_gain(loss: Array, base_loss: Array, block: Whole, *, root: bool = False) -> Gain:
    """Gain in mean loss (in its root with `root`), paired: both losses of the same cases, shape (cases,)."""
    count = int(block.max()) + 1
    cases, own, base = (
        np.bincount(block, weights=weights, minlength=count) for weights in (None, loss, base_loss)
    )

    def statistic(drawn: Array) -> Array:
        n = drawn @ cases.astype(np.float64)
        one, other = drawn @ own / n, drawn @ base / n
        return np.asarray(np.sqrt(other) - np.sqrt(one) if root else other - one)

    return compared(statistic, count)


def kappa_gain(said: Mask, base_said: Mask, happened: Mask, block: Whole) -> Gain:
    """Gain in Cohen's kappa, paired: both answers to the same cases, shape (cases,)."""
    count = int(block.max()) + 1

    def counts(answer: Mask) -> Array:
        cells = (answer & happened, answer & ~happened, ~answer & happened, ~answer & ~happened)
        return np.stack([np.bincount(block, weights=cell, minlength=count) for cell in cells])

    own, base = counts(said), counts(base_said)
    return compared(lambda drawn: kappa_of(drawn @ own.T) - kappa_of(drawn @ base.T), count)


def kappa_of(cells: Array) -> Array:
    """Cohen's kappa of hits, false alarms, misses and quiet cases, along the last axis."""
    hit, false, missed, quiet = np.moveaxis(np.asarray(cells, dtype=np.float64), -1, 0)
    total = hit + false + missed + quiet
    right = (hit + quiet) / total
    chance = ((hit + false) * (hit + missed) + (missed + quiet) * (false + quiet)) / (total * total)
    # Where both say the same of every case, kappa has no meaning.
    room = np.where(chance < 1.0, 1.0 - chance, np.nan)
    return np.asarray((right - chance) / room)


def kappa(said: Mask, happened: Mask) -> float:
    """Cohen's kappa of two answers of shape (cases,)."""
    cells = ((said & happened).sum(), (said & ~happened).sum(), (~said & happened).sum())
    return float(kappa_of(np.array([*cells, said.size - sum(cells)])))


def brier(chance: ArrayLike, happened: ArrayLike) -> Array:
    """Brier loss of each case: the square of what was said less what came, 0 or 1."""
    off = np.asarray(chance, dtype=np.float64) - np.asarray(happened, dtype=np.float64)
    return np.asarray(off * off)


def bins_of(
    chance: Array, happened: Mask, edges: Sequence[float] = (0.0, 0.1, 0.3, 0.6, 1.0)
) -> tuple[Bin, ...]:
    """Said and happened in bins of the chance; the last bin holds its upper edge. Empty bins are left out."""
    place = np.clip(np.searchsorted(edges, chance, side="right") - 1, 0, len(edges) - 2)
    found = []
    for number, (low, high) in enumerate(zip(edges, edges[1:], strict=False)):
        here = place == number
        if here.any():
            found.append(
                Bin(
                    low=low,
                    high=high,
                    cases=int(here.sum()),
                    said=float(chance[here].mean()),
                    happened=float(happened[here].mean()),
                )
            )
    return tuple(found)
