"""The sentence of a verdict, made from the row of the need that limits it."""

from __future__ import annotations

import math
from typing import Protocol

#: Quantities that are a yes or a no are told without a figure.
YES_NO = "0/1"


class Row(Protocol):
    """What a sentence is made from: a need of the rules, or its row in a stored answer."""

    @property
    def label(self) -> str: ...
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
    @property
    def low(self) -> str: ...
    @property
    def high(self) -> str: ...


def figure(value: float, unit: str) -> str:
    """A figure with its unit, as short as it can be read."""
    if unit == YES_NO:
        return "yes" if value >= 0.5 else "no"
    if not math.isfinite(value):
        return "none on record"
    size = abs(value)
    text = f"{value:.0f}" if size >= 20 else f"{value:.1f}" if size >= 1 else f"{value:.2f}"
    if "." in text:
        text = text.rstrip("0").rstrip(".")
    if text == "-0":
        text = "0"
    return f"{text} {unit}".strip()


def limits(need: Row) -> str:
    """The hard limits in words; the comfortable ones where there are no hard ones."""
    low = need.hard_min if need.hard_min is not None else need.best_from
    high = need.hard_max if need.hard_max is not None else need.best_to
    if need.hard_min is None and need.hard_max is None:
        return _between(low, high, need.unit, soft=True)
    return _between(need.hard_min, need.hard_max, need.unit, soft=False)


def _between(low: float | None, high: float | None, unit: str, *, soft: bool) -> str:
    at_least, at_most = ("kinder from", "kinder up to") if soft else ("at least", "at most")
    if low is not None and high is not None:
        return f"{_limit(low, '')} to {_limit(high, unit)}"
    if low is not None:
        return f"{at_least} {_limit(low, unit)}"
    if high is not None:
        return f"{at_most} {_limit(high, unit)}"
    return ""


def held_against(need: Row, value: float) -> str:
    """The figure and the limit it is held against: `wind at 2 m 17 km/h, at most 15 km/h`.

    A figure inside its limit but outside comfort is told the comfortable side too.
    """
    if need.unit == YES_NO or not limits(need):
        return need.label
    low = is_low(need, value)
    hard = need.hard_min if low else need.hard_max
    best = need.best_from if low else need.best_to
    parts = [f"{need.label} {_told(value, hard, need.unit)}"]
    if hard is not None:
        parts.append(f"at {'least' if low else 'most'} {_limit(hard, need.unit)}")
    if best is not None and best != hard and not _beyond(value, hard, low):
        parts.append(f"kinder {'from' if low else 'up to'} {_limit(best, need.unit)}")
    return ", ".join(parts)


def _limit(value: float, unit: str) -> str:
    """A limit as it is written in the rules file."""
    return f"{value:g} {unit}".strip()


def _beyond(value: float, hard: float | None, low: bool) -> bool:
    return hard is not None and (value < hard if low else value > hard)


def _told(value: float, hard: float | None, unit: str) -> str:
    """The figure with as many digits as it takes to tell it from its limit."""
    text = figure(value, unit) if unit or not math.isfinite(value) else f"{value:.2f}"
    if hard is None or abs(value - hard) < 1e-9 or text != figure(hard, unit):
        return text
    for digits in (1, 2, 3):
        text = f"{value:.{digits}f} {unit}".strip()
        if float(f"{value:.{digits}f}") != hard:
            break
    return text


def is_low(need: Row, value: float) -> bool:
    """Whether the figure presses on the lower limit rather than the upper one."""
    floor = need.hard_min if need.hard_min is not None else need.best_from
    roof = need.hard_max if need.hard_max is not None else need.best_to
    if floor is None or roof is None:
        return roof is None
    below = (value - floor) / _ramp(need.hard_min, need.best_from)
    above = (roof - value) / _ramp(need.hard_max, need.best_to)
    return below < above


def _ramp(hard: float | None, best: float | None) -> float:
    """Width between limit and comfort: what one unit of room is worth on that side."""
    if hard is None or best is None or hard == best:
        return 1.0
    return abs(best - hard)


def clause(need: Row, value: float) -> str:
    """What is wrong, in trade words."""
    words = need.low if is_low(need, value) else need.high
    return words or f"{need.label} does not hold"


def sentence(state: str, need: Row | None, value: float, *, from_time: str = "", gone: str = "") -> str:
    """Why an hour or window is what it is. `from_time`: when it breaks; `gone`: what is missing."""
    if need is None:
        return {"steady": "Holds; nothing presses."}.get(state, "")
    if state == "unread":
        return f"Not read: {gone or 'no ' + need.label} for these hours."
    if state == "steady":
        return f"Holds with room; tightest is {held_against(need, value)}."
    if state == "narrow":
        return f"Holds, only just: {held_against(need, value)}."
    detail = "" if need.unit == YES_NO or not limits(need) else f" ({held_against(need, value)})"
    if state == "broken":
        since = f" from {from_time}" if from_time else ""
        return f"Starts well, then breaks{since}: {clause(need, value)}{detail}."
    return f"Barred: {clause(need, value)}{detail}."
