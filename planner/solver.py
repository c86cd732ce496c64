"""Choosing the best set of yes-or-no items under weighted limits, by mixed-integer programming (HiGHS)."""

from __future__ import annotations

import os
import sys
import threading
from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from dataclasses import dataclass
from importlib import import_module
from typing import Any

import numpy as np

_ONE_AT_A_TIME = threading.Lock()
#: A week of hours is solved in a fraction of this; past it the best found so far is taken.
TIME_LIMIT_S = 10.0
_FEASIBLE = 2


@dataclass(frozen=True, slots=True)
class Row:
    """Of these items, each with its weight, no more than `most` together."""

    items: Sequence[int]
    weights: Sequence[float]
    most: float


@dataclass(frozen=True, slots=True)
class Choice:
    """Indices of the items taken, and whether no better set is left to find."""

    items: list[int]
    is_best: bool


def choose(values: Sequence[float], rows: Sequence[Row]) -> Choice | None:
    """The items that together are worth most; None when time ran out before any set was found.

    ImportError where the solver is not installed.
    """
    highspy: Any = import_module("highspy")
    count = len(values)
    with _ONE_AT_A_TIME, _quiet_stdout():
        model = highspy.Highs()
        for name, value in (("output_flag", False), ("time_limit", TIME_LIMIT_S), ("random_seed", 1)):
            model.setOptionValue(name, value)
        for value in values:
            model.addCol(-value, 0.0, 1.0, 0, [], [])
        whole = np.array([highspy.HighsVarType.kInteger] * count)
        model.changeColsIntegrality(count, np.arange(count, dtype=np.int32), whole)
        for row in rows:
            items, weights = np.array(row.items, dtype=np.int32), np.array(row.weights, dtype=np.float64)
            model.addRow(-highspy.kHighsInf, row.most, len(row.items), items, weights)
        model.run()
        is_best = model.getModelStatus() == highspy.HighsModelStatus.kOptimal
        # 2 in the solver's own words: a point that keeps every limit was found.
        is_found = is_best or model.getInfo().primal_solution_status == _FEASIBLE
        solution = np.array(model.getSolution().col_value)
    if not is_found or solution.size != count:
        return None
    return Choice([index for index in range(count) if solution[index] > 0.5], is_best)


@contextmanager
def _quiet_stdout() -> Iterator[None]:
    """The solver greets on the process's standard output, whatever it is told; JSON goes there."""
    sys.stdout.flush()
    kept = os.dup(1)
    nowhere = os.open(os.devnull, os.O_WRONLY)
    try:
        os.dup2(nowhere, 1)
        yield
    finally:
        os.dup2(kept, 1)
        os.close(kept)
        os.close(nowhere)
