"""One figure in print, and what ours must be to meet it."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np


@dataclass(frozen=True)
class Printed:
    """One printed figure. Met within one unit of its last digit; exactly met when ours rounds to it."""

    quantity: str
    inputs: str
    printed: str
    ours: Callable[[], float]
    source: str
    """Key in docs/references.md."""
    place: str
    """Where in the source, and through whom it was read."""

    @property
    def digits(self) -> int:
        return len(self.printed.partition(".")[2])

    @property
    def tolerance(self) -> float:
        """One unit of the last digit printed, and a hair for the way it is stored."""
        return 10.0**-self.digits * (1 + 1e-9)

    @property
    def exact(self) -> bool:
        return abs(self.ours() - float(self.printed)) <= 0.5 * self.tolerance


def printed_figure(
    quantity: str, inputs: str, printed: str, ours: Callable[[], object], source: str, place: str
) -> Printed:
    """A figure whose value is a number or an array of one."""
    return Printed(quantity, inputs, printed, lambda: float(np.asarray(ours())), source, place)
