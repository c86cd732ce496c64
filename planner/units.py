"""Conversions between named units, and nothing else.

`convert` reads the unit string that a provider declares, so that a unit is never assumed. The spellings are
those seen in provider answers and in the station tables we read.
"""

from __future__ import annotations

from collections.abc import Callable

import numpy as np
from numpy.typing import NDArray

from planner.errors import UnitMismatch

#: Wind at 2 m over grass from wind at 10 m: FAO-56 equation 47, 4.87 / ln(67.8 * 10 - 5.42).
WIND_2M_PER_10M = 0.748
KMH_PER_MS = 3.6
#: A cubic foot of snow is not a cubic foot of water: 7 cm of fresh snow is taken as 10 mm of water.
WATER_MM_PER_SNOW_CM = 10.0 / 7.0

Array = NDArray[np.float64]


def _times(factor: float) -> Callable[[Array], Array]:
    return lambda values: values * factor


def _same(values: Array) -> Array:
    return values


_TO: dict[str, dict[str, Callable[[Array], Array]]] = {
    "C": {
        "C": _same,
        "°C": _same,
        "celsius": _same,
        "°F": lambda v: (v - 32.0) / 1.8,
        "F": lambda v: (v - 32.0) / 1.8,
        "K": lambda v: v - 273.15,
    },
    "m/s": {
        "m/s": _same,
        "km/h": _times(1 / 3.6),
        "mph": _times(0.44704),
        "mp/h": _times(0.44704),
        "kn": _times(0.514444),
    },
    "mm": {
        "mm": _same,
        "inch": _times(25.4),
        "cm snow": _times(WATER_MM_PER_SNOW_CM),
        "inch snow": _times(2.54 * WATER_MM_PER_SNOW_CM),
    },
    "%": {"%": _same, "okta": _times(12.5), "fraction": _times(100.0), "1": _times(100.0)},
    "degrees": {"degrees": _same, "°": _same},
    "hPa": {"hPa": _same, "Pa": _times(0.01), "kPa": _times(10.0), "inHg": _times(33.8639), "mb": _same},
    "W/m2": {"W/m2": _same, "W/m²": _same, "MJ/m2/h": _times(1e6 / 3600.0)},
    "m3/m3": {"m3/m3": _same, "m³/m³": _same, "%vol": _times(0.01)},
}


def convert(values: Array, declared: str, wanted: str, *, where: str) -> Array:
    """Values in the unit wanted, from the unit declared; UnitMismatch when we do not know the way."""
    ways = _TO.get(wanted, {})
    way = ways.get(declared)
    if way is None:
        known = ", ".join(ways) or "none"
        raise UnitMismatch(
            f'{where} declares the unit "{declared}"; wanted {wanted}, and can be read from: {known}. '
            "Ask the provider for one of these, or correct the file."
        )
    return way(values)
