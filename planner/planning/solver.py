"""Choosing the best set of yes-or-no items under weighted limits, by mixed-integer programming (HiGHS)."""

from __future__ import annotations

import threading
from collections.abc import Sequence
from dataclasses import dataclass
from importlib import import_module
from typing import Any

import numpy as np

#: The solver shares its worker threads between models.
_ONE_AT_A_TIME = threading.Lock()
#: A week of hours is solved in a fraction of this; past it the best found so far is taken.
TIME_LIMIT_S = 10.0
_FEASIBLE = 2


@dataclass(frozen=True, slots=True)
class AtMost:
    """Of these items, each with its weight, no more than `most` together."""

    items: Sequence[int]
    weights: Sequence[float]
    most: float


@dataclass(frozen=True, slots=True)
class Choice:
    """Indices of the items taken, and whether no better set is left to find."""

    items: list[int]
    is_best: bool


def choose(values: Sequence[float], rows: Sequence[AtMost]) -> Choice | None:
    """The items that together are worth most; None when time ran out before any set was found.

    ImportError where the solver is not installed.
    """
    highspy: Any = import_module("highspy")
    count = len(values)
    with _ONE_AT_A_TIME:
        model = _silent_model(highspy)
        model.setOptionValue("time_limit", TIME_LIMIT_S)
        model.setOptionValue("random_seed", 1)
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


def _silent_model(highspy: Any) -> Any:
    """A model that never prints: standard output belongs to the program."""

    class SilentHighs(highspy.Highs):  # type: ignore[misc]  # highspy ships no types
        """The solver greets on the first call that its constructor makes, so it is silenced before that one."""

        def enableCallbacks(self) -> None:  # noqa: N802 named by highspy
            self.silent()

    model = SilentHighs()
    model.silent()
    return model
