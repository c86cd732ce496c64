"""Figures for people: units with their signs, a gap in one unit, digits as far as they tell something."""

from __future__ import annotations

import math
import re
from collections.abc import Iterable

from planner.margin import YES_NO

#: Units of the rules and how they are said. Delta T is said as a bare number, as the trade does.
_SIGNS = {
    "C": "°C",
    "C d": "°C d",
    "K": "",
    "degrees": "°",
    "m2": "m²",
    "g/m2": "g/m²",
    "MJ/m2": "MJ/m²",
    "share": "%",
    "ratio": "",
    "index": "",
    "d": "days",
}
#: From so many hours on a gap is told in days, on both sides of its limit.
_DAYS_FROM_H = 72.0
_IN_TEXT = (
    (re.compile(r"(\d) C\b(?! d)"), r"\1 °C"),
    (re.compile(r"(\d) C d\b"), r"\1 °C d"),
    (re.compile(r"\bm2\b"), "m²"),
)


def signed(text: str) -> str:
    """A text of a rules file with the signs of its units: `base 0 C` becomes `base 0 °C`."""
    for pattern, sign in _IN_TEXT:
        text = pattern.sub(sign, text)
    return text


def unit_sign(unit: str) -> str:
    """A unit of the rules file as it is said: `°C`, `MJ/m²`; a share and a gap as they are written there."""
    return {"share": "share", "d": "days"}.get(unit, _SIGNS.get(unit, unit))


def scale_of(unit: str, figures: Iterable[float | None]) -> tuple[float, str]:
    """What figures of a unit are multiplied by to be told, and the unit they are told in.

    Shares are told in percent. A gap is told in days where one of the figures is three days or more, else in
    hours, so that a figure and its limit never stand in two units.
    """
    if unit == "share":
        return 100.0, "%"
    if unit in ("h", "d"):
        hours = 1.0 if unit == "h" else 24.0
        known = [abs(one) * hours for one in figures if one is not None and math.isfinite(one)]
        return (hours / 24.0, "days") if max(known, default=0.0) >= _DAYS_FROM_H else (hours, "h")
    return 1.0, _SIGNS.get(unit, unit)


def with_unit(number: str, unit: str) -> str:
    """A number with its unit: `3 °C`, `12°`, `1 day`."""
    if unit == "°":
        return f"{number}°"
    return f"{number} {'day' if unit == 'days' and number == '1' else unit}".strip()


def plain(value: float) -> str:
    """A limit as it is written in the rules file; the rounding of a sum is not shown."""
    return "0" if abs(value) < 1e-6 else f"{value:.4g}"


def short(value: float, *, bare: bool = False) -> str:
    """A figure as short as it can be read; `bare` for one without unit, which keeps two digits."""
    size = abs(value)
    text = f"{value:.2f}" if bare or size < 1 else f"{value:.0f}" if size >= 20 else f"{value:.1f}"
    if "." in text and not bare:
        text = text.rstrip("0").rstrip(".")
    return "0" if text in ("-0", "-0.00", "0.00") else text


def figure(value: float, unit: str) -> str:
    """A figure with its unit."""
    if unit == YES_NO:
        return "yes" if value >= 0.5 else "no"
    if not math.isfinite(value):
        return "none on record"
    factor, said = scale_of(unit, [value])
    return with_unit(short(value * factor), said)


def told_apart(value: float, limits: Iterable[float | None], *, bare: bool = False) -> str:
    """The figure with as many digits as it takes to show it on its own side of the limits beside it."""
    near = [limit for limit in limits if limit is not None and abs(value - limit) >= 1e-6]
    number = short(value, bare=bare)
    places = len(number.partition(".")[2])
    for digits in range(places + 1, places + 5):
        if all((float(number) - limit) * (value - limit) > 0.0 for limit in near):
            break
        number = f"{value:.{digits}f}"
    return number
