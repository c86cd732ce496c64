"""The five states, and the margin of a figure: how far it lies from its limits. Loads no numerical library.

A figure held against its limits has a *margin*: 1 and more inside the comfortable range, 0 at the hard limit,
below 0 beyond it, straight between. Clipped to 0..1 the margin is the desirability of Derringer & Suich (1980,
one- and two-sided, exponent 1; from memory). Verdicts, scores and sentences all come from it.
"""

from __future__ import annotations

from collections.abc import Callable
from typing import Any, Literal, Protocol, TypeVar

#: The five states of an hour or window.
State = Literal["steady", "narrow", "broken", "barred", "unread"]
#: The same in order of code.
STATES: tuple[State, ...] = ("steady", "narrow", "broken", "barred", "unread")
STEADY, NARROW, BROKEN, BARRED, UNREAD = range(5)
#: Unit of a quantity that is a yes or a no; such a figure is worded without its value.
YES_NO = "0/1"
#: Unit of a count of work, worded as `rolled twice in the last 7 days`.
TIMES = "times"
#: A limit missed by less than this is the rounding of a sum, not a miss.
EPS = 1e-7
#: Margin of a figure outside a comfortable range that has no hard limit behind it. Judgement.
SOFT_MARGIN = 0.5
#: Margin of a need that cannot press: a yes or a no that holds, a clock that is open.
MOST_MARGIN = 9.0

Figure = TypeVar("Figure")


class Limits(Protocol):
    """Anything with limits and their unit: a need of the rules, or its row in a report."""

    @property
    def unit(self) -> str: ...
    @property
    def hard_min(self) -> float | None: ...
    @property
    def best_from(self) -> float | None: ...
    @property
    def best_to(self) -> float | None: ...
    @property
    def hard_max(self) -> float | None: ...


def lower_margin(value: Figure, limits: Limits, least: Callable[[Any, float], Any] = min) -> Figure:
    """Margin toward the lower limits. For arrays hand in `numpy.minimum` as `least`; NaN stays NaN."""
    margin: Figure = _one_side(value, limits.hard_min, limits.best_from, 1.0, least)
    return margin


def upper_margin(value: Figure, limits: Limits, least: Callable[[Any, float], Any] = min) -> Figure:
    """Margin toward the upper limits, as `lower_margin`."""
    margin: Any = _one_side(value, limits.hard_max, limits.best_to, -1.0, least)
    if limits.best_to == 0.0:
        # Nothing at all is the most margin there can be: no rain is never what presses.
        margin = margin + (margin >= 1.0 - EPS) * (MOST_MARGIN - margin)
    found: Figure = margin
    return found


def _one_side(
    value: Any, hard: float | None, best: float | None, sign: float, least: Callable[[Any, float], Any]
) -> Any:
    """Margin on one side; `sign` 1 for a lower limit, -1 for an upper one. Inside comfort it goes on above 1.

    Written without branches on the value, so that one text serves a figure and an array of them.
    """
    if hard is None and best is None:
        # Known or not is all that matters here; the least of it and nought keeps an endless figure out.
        return MOST_MARGIN + 0.0 * least(value, 0.0)
    if hard is None:
        assert best is not None
        inside = least(sign * (value - best) / max(1.0, abs(best)), MOST_MARGIN)
        is_inside = inside >= -EPS / max(1.0, abs(best))
        return least(SOFT_MARGIN + is_inside * (1.0 - SOFT_MARGIN + inside) + 0.0 * inside, MOST_MARGIN)
    beyond = sign * (value - hard)
    width = sign * (best - hard) if best is not None else 0.0
    if width > 0:
        margin = least(beyond / width, MOST_MARGIN)
    else:
        # A limit without a ramp: full margin inside, and outside a distance in units of the limit itself.
        margin = least(beyond / max(1.0, abs(hard)) + (beyond >= -EPS), MOST_MARGIN)
    on_the_limit = abs(beyond) < EPS
    return margin - on_the_limit * least(margin, 0.0)
