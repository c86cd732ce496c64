"""Conversions between named units, and nothing else.

`convert` reads the unit string that a provider declares, so that a unit is never assumed. The spellings are
those seen in provider answers and in the station tables we read. Loads no numerical library by itself: figures
for people are turned by the same factors.
"""

from __future__ import annotations

from collections.abc import Callable
from typing import TYPE_CHECKING, TypeAlias

from planner.errors import UnitMismatch

if TYPE_CHECKING:
    import numpy as np
    from numpy.typing import NDArray

    Array: TypeAlias = NDArray[np.float64]

#: Wind at 2 m over grass from wind at 10 m: FAO-56 equation 47, 4.87 / ln(67.8 * 10 - 5.42).
WIND_2M_PER_10M = 0.748
KMH_PER_MS = 3.6
#: A cubic foot of snow is not a cubic foot of water: 7 cm of fresh snow is taken as 10 mm of water.
WATER_MM_PER_SNOW_CM = 10.0 / 7.0

# US customary units: NIST SP 811 (2008), appendix B.8. The inch, the foot and the mile are exact by definition.
MM_PER_INCH = 25.4
M_PER_FOOT = 0.3048
MS_PER_MPH = 0.44704
L_PER_GALLON = 3.785411784
ML_PER_FLUID_OUNCE = 29.5735295625
G_PER_OUNCE = 28.349523125
KG_PER_POUND = 0.45359237
KPA_PER_PSI = 6.894757293
F_PER_C = 1.8
F_AT_0_C = 32.0


def _times(factor: float) -> Callable[[Array], Array]:
    return lambda values: values * factor


def _same(values: Array) -> Array:
    return values


_TO: dict[str, dict[str, Callable[[Array], Array]]] = {
    "C": {
        "C": _same,
        "°C": _same,
        "celsius": _same,
        "°F": lambda v: (v - F_AT_0_C) / F_PER_C,
        "F": lambda v: (v - F_AT_0_C) / F_PER_C,
        "K": lambda v: v - 273.15,
    },
    "m/s": {
        "m/s": _same,
        "km/h": _times(1 / 3.6),
        "mph": _times(MS_PER_MPH),
        "mp/h": _times(MS_PER_MPH),
        "kn": _times(0.514444),
    },
    "mm": {
        "mm": _same,
        "inch": _times(MM_PER_INCH),
        "cm snow": _times(WATER_MM_PER_SNOW_CM),
        "mm snow": _times(WATER_MM_PER_SNOW_CM / 10.0),
        "inch snow": _times(2.54 * WATER_MM_PER_SNOW_CM),
    },
    "%": {"%": _same, "okta": _times(12.5), "fraction": _times(100.0), "1": _times(100.0)},
    "degrees": {"degrees": _same, "°": _same},
    "hPa": {"hPa": _same, "Pa": _times(0.01), "kPa": _times(10.0), "inHg": _times(33.8639), "mb": _same},
    "W/m2": {"W/m2": _same, "W/m²": _same, "MJ/m2/h": _times(1e6 / 3600.0), "kWh/m2/h": _times(1e3)},
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
