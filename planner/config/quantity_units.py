"""Units of the quantities that a rule may ask for, and the spellings in which a rule may write them."""

from __future__ import annotations

from collections.abc import Mapping
from types import MappingProxyType

from planner.indices import INDEX
from planner.weather import VARIABLE

#: What the diary gives has no row in a table of weather or indices. Keys are those of `planner.diary.given`.
_GIVEN: Mapping[str, str] = MappingProxyType(
    {
        "grass_height_ratio": "ratio",
        "degree_days_since_regulator": "C d",
        "nitrogen_share_of_month": "ratio",
    }
)

#: Quantity -> the unit its figures are in.
UNITS: Mapping[str, str] = MappingProxyType(
    {
        **{variable.name: variable.unit for variable in VARIABLE.values()},
        **{index.name: index.unit for index in INDEX.values()},
        **_GIVEN,
    }
)

#: Unit -> how a rule may write it; the first is taken where a rule gives none. A figure means the same in each.
_SPELLINGS: Mapping[str, tuple[str, ...]] = MappingProxyType(
    {
        "0-1": ("", "0-1", "share", "ratio"),
        "ratio": ("", "ratio", "share"),
        "index": ("", "index"),
        "number": ("", "number"),
        "1-7": ("", "1-7"),
        "degrees": ("degrees", "deg", "\N{DEGREE SIGN}"),
        "C": ("C", "\N{DEGREE SIGN}C"),
        "K": ("K", "C", "\N{DEGREE SIGN}C"),
        "MJ/m2": ("MJ/m2", "MJ/m\N{SUPERSCRIPT TWO}"),
        "W/m2": ("W/m2", "W/m\N{SUPERSCRIPT TWO}"),
        "g/m2": ("g/m2", "g/m\N{SUPERSCRIPT TWO}"),
    }
)


def spellings(quantity: str) -> tuple[str, ...]:
    """How the unit of a quantity may be written; empty when there is no such quantity."""
    unit = UNITS.get(quantity)
    return () if unit is None else _SPELLINGS.get(unit, (unit,))
