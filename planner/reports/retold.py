"""Sentences in the units that the keeper reads: every figure with a metric unit behind it is told in its own.

Sentences are made, kept and answered in metric units; they are turned here, where people read them, so that a
stored report serves both, and a figure and its limit in one sentence are turned together. What is told with few
digits is turned from those digits. Loads no numerical library.
"""

from __future__ import annotations

import re
from collections.abc import Callable, Collection, Mapping
from typing import TypeVar

from msgspec import Struct
from msgspec.structs import fields, replace

from planner.reports.shown_units import METRIC, ShownUnit, System, shown_unit

_NUMBER = r"-?\d+(?:,\d{3})*(?:\.\d+)?"
#: Units as they are said; the longer first, so that none is cut short.
_UNITS = (
    "g/m²",
    "kg/ha",
    "L/ha",
    "L/min",
    "km/h",
    "°C d",
    "°C",
    "m²",
    "mm",
    "cm",
    "mL",
    "km",
    "kg",
    "bar",
    "L",
    "m",
    "g",
)
#: `13 km/h`, `13 of 15 km/h`, `-4 to -1 °C`: figures that share one unit.
_FIGURES = re.compile(
    rf"(?<![\w.,/-])({_NUMBER}(?:(?: of | to | and |–){_NUMBER})*)(\s)({'|'.join(map(re.escape, _UNITS))})"
    r"(?![\w/²°]|-\w| d\b)"
)
#: `1.2 given + 0.5 planned = 1.7 of 1.8 g/m²`: a sum whose parts share the unit at its end; so do amounts of warmth.
_SUM = re.compile(rf"{_NUMBER} given[^;]* g/m²|{_NUMBER} °C d; {_NUMBER} so far")
_EACH = re.compile(rf"(?<![\w.,]){_NUMBER}")
#: A limit of the rules: in whole degrees, as a keeper would set it.
_LIMIT = re.compile(rf"(?:needs|at most|at least|best from|best up to|{_NUMBER} of) ({_NUMBER}) °C")
#: `0.4 in in an hour` would be read twice.
_IN_IN = re.compile(r"(?<=\d) in (?=in )")
#: Below this many gallons, pounds, or gallons a rate, the smaller unit is read.
_SMALL = 0.25
_SMALLER = {"L": ("mL", 1000.0), "kg": ("g", 1000.0)}
#: Water is put out at a hundred litres a hectare and more; what is less is a product. Judgement.
_PRODUCT_LHA = 100.0
#: Digits added at most to keep two figures apart.
_MOST_MORE = 3

Row = TypeVar("Row", bound=Struct)


def retell(text: str, system: System) -> str:
    """The text with every metric figure in the units of the system. A text that has been turned stays as it is."""
    if system == METRIC or not any(sign.isdigit() for sign in text):
        return text
    text = _SUM.sub(_summed, text)
    told = _Told(text)
    return _IN_IN.sub(" inches ", _FIGURES.sub(told.figures, text))


def for_people(row: Row, system: System) -> Row:
    """A row, or a report of rows, with its sentences turned; figures, names and keys stay."""
    return row if system == METRIC else _turned(row, lambda text: retell(text, system))


#: Fields that hold sentences, of all rows that people are shown.
SENTENCES = frozenset(
    {
        *(
            "says",
            "advice",
            "because",
            "cautions",
            "fails",
            "faults",
            "full_growth_from",
            "limiting",
            "method",
        ),
        *(
            "not_read",
            "notes",
            "tank",
            "tasks",
            "why",
            "wants",
            "would_have_to_change",
            "label",
            "source",
            "when",
        ),
    }
)


def _turned(row: Row, turn: Callable[[str], str]) -> Row:
    changed = {}
    for one in fields(row):
        value = getattr(row, one.name)
        new = _value(value, turn, one.name in SENTENCES)
        if new is not value:
            changed[one.name] = new
    return replace(row, **changed) if changed else row


def _value(value: object, turn: Callable[[str], str], is_told: bool) -> object:
    if isinstance(value, str):
        return turn(value) if is_told else value
    if isinstance(value, Struct):
        return _turned(value, turn)
    if isinstance(value, tuple):
        new = tuple(_value(one, turn, is_told) for one in value)
        return value if all(a is b for a, b in zip(new, value, strict=True)) else new
    return value


def _summed(found: re.Match[str]) -> str:
    """A sum with the unit of its end behind every part, so that all are turned alike."""
    unit = "g/m²" if found[0].endswith("g/m²") else "°C d"
    shown = shown_unit(unit, "imperial")
    body = found[0].removesuffix(" g/m²").replace(" °C d;", f" {shown.sign};")
    turned = _EACH.sub(lambda one: _rounded(float(one[0]), one[0], shown, unit, 0), body)
    return f"{turned} {shown.sign}" if unit == "g/m²" else turned


class _Told:
    """The figures of one text, by unit, so that those that differ stay apart and in order when they are turned."""

    def __init__(self, text: str) -> None:
        seen: dict[str, dict[str, float]] = {}
        limits = frozenset(_LIMIT.findall(text))
        for found in _FIGURES.finditer(text):
            for one in _EACH.findall(found[1]):
                seen.setdefault(found[3], {})[one] = _plain(one)
        self._as: Mapping[str, Mapping[str, tuple[str, str]]] = {
            unit: _apart(figures, unit, limits) for unit, figures in seen.items()
        }

    def figures(self, found: re.Match[str]) -> str:
        """One run of figures with their unit."""
        of_unit = self._as[found[3]]
        signs = {of_unit[one][1] for one in _EACH.findall(found[1])}
        if len(signs) > 1:
            # `0.5 to 3 L`: each would be told in a unit of its own, so both take the greater one.
            of_unit = _apart({one: _plain(one) for one in _EACH.findall(found[1])}, found[3], smaller=False)
        sign = of_unit[_EACH.findall(found[1])[0]][1]
        return f"{_EACH.sub(lambda one: of_unit[one[0]][0], found[1])}{found[2]}{sign}"


def _plain(number: str) -> float:
    return float(number.replace(",", ""))


def _apart(
    figures: Mapping[str, float], unit: str, limits: Collection[str] = (), *, smaller: bool = True
) -> dict[str, tuple[str, str]]:
    """Each figure as it is told -> number and sign, with as many digits as keep all of them in their order."""
    told: dict[str, tuple[str, str]] = {}
    for more in range(_MOST_MORE + 1):
        told = {}
        # A rate of water and its limit are told alike, however small one of them is.
        fine = smaller and not (unit == "L/ha" and max(figures.values()) >= _PRODUCT_LHA)
        for text, value in figures.items():
            shown, factor = _unit_for(value, unit, fine)
            # The point is what asks for a digit behind it.
            as_told = text.partition(".")[0] if text in limits and not more else text
            told[text] = (_rounded(value * factor, as_told, shown, unit, more), shown.sign)
        if _in_order(figures, told):
            break
    return told


def _in_order(figures: Mapping[str, float], told: Mapping[str, tuple[str, str]]) -> bool:
    for sign in {sign for _, sign in told.values()}:
        ranked = sorted(
            (value, _plain(told[text][0])) for text, value in figures.items() if told[text][1] == sign
        )
        for (low, low_told), (high, high_told) in zip(ranked, ranked[1:], strict=False):
            if low < high and not low_told < high_told:
                return False
    return True


def _unit_for(value: float, unit: str, smaller: bool) -> tuple[ShownUnit, float]:
    """The unit that an amount of that size is told in, and what the figure is multiplied by before."""
    if smaller and unit == "L/ha" and abs(value) < _PRODUCT_LHA:
        return shown_unit("mL/m²", "imperial"), 0.1
    shown = shown_unit(unit, "imperial")
    if smaller and unit in _SMALLER and 0.0 < abs(value * shown.factor) < _SMALL:
        finer, factor = _SMALLER[unit]
        return shown_unit(finer, "imperial"), factor
    return shown, 1.0


def _rounded(value: float, text: str, shown: ShownUnit, unit: str, more: int) -> str:
    """A figure in its new unit, with about the digits that it was told with."""
    turned = value * shown.factor + shown.offset
    is_whole = "." not in text
    if unit == "°C":
        places = 0 if is_whole else 1
    elif shown.places == 0 or abs(turned) >= 100.0:
        places = 0
    else:
        # Three digits, two behind the point at most; small ones keep two digits that tell something.
        size = abs(turned)
        places = 1 if size >= 10.0 else min(2, shown.places) if size >= 1.0 else 2
        if 0.0 < size < 0.1:
            places = 3
    number = f"{turned:.{places + more}f}"
    if more == 0 and unit != "°C" and "." in number:
        number = number.rstrip("0").rstrip(".")
    return number.removeprefix("-") if float(number) == 0.0 else number
