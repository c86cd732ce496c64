"""Figures and sentences in the units that the keeper reads: `[site] units`, metric or US customary.

Everything is reckoned, kept and answered in metric units; only what people read is turned, here, at the edge.
Loads no numerical library.
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass
from typing import Literal

from planner import units

System = Literal["metric", "imperial"]
METRIC: System = "metric"
IMPERIAL: System = "imperial"

_FEET2_PER_M2 = units.M_PER_FOOT**-2
_M2_PER_HA = 1e4
#: Rates are told for so many square feet.
_FT2_RATE = 1000.0
#: Hectares in 1,000 square feet.
_HA_PER_RATE = _FT2_RATE / _FEET2_PER_M2 / _M2_PER_HA
_MPH_PER_KMH = 1.0 / (units.KMH_PER_MS * units.MS_PER_MPH)


@dataclass(frozen=True, slots=True, kw_only=True)
class ShownUnit:
    """A unit as people read it, and how a metric figure becomes one of it: `figure * factor + offset`."""

    sign: str
    factor: float = 1.0
    offset: float = 0.0
    places: int = 1
    """Digits behind the point that are worth reading."""

    def of(self, value: float | None) -> float | None:
        """The metric figure in this unit, not rounded; None and NaN as they are."""
        return None if value is None else value * self.factor + self.offset

    def metric(self, shown: float) -> float:
        """The metric figure of one in this unit."""
        return (shown - self.offset) / self.factor

    def number(self, value: float | None, places: int | None = None) -> str:
        """The metric figure as a number of this unit, without the sign; `–` where it is not known."""
        shown = self.of(value)
        if shown is None or not math.isfinite(shown):
            return "–"
        # A small amount of a unit told with two digits would read as none.
        fine = self.places + (self.places >= 2 and 0.0 < abs(shown) < 0.1)
        text = f"{shown:.{fine if places is None else places}f}"
        return text.removeprefix("-") if float(text) == 0.0 else text

    def text(self, value: float | None, places: int | None = None) -> str:
        """The same with the sign: `53.6 °F`; `not known` where it is not known."""
        number = self.number(value, places)
        return "not known" if number == "–" else f"{number} {self.sign}"


#: Metric unit -> what stands in its place for a keeper who reads US customary units.
_CUSTOMARY: Mapping[str, ShownUnit] = {
    "°C": ShownUnit(sign="°F", factor=units.F_PER_C, offset=units.F_AT_0_C),
    "°C d": ShownUnit(sign="°F d", factor=units.F_PER_C, places=0),
    "mm": ShownUnit(sign="in", factor=1.0 / units.MM_PER_INCH, places=2),
    "cm": ShownUnit(sign="in", factor=10.0 / units.MM_PER_INCH),
    "m": ShownUnit(sign="ft", factor=1.0 / units.M_PER_FOOT),
    "km": ShownUnit(sign="mi", factor=_MPH_PER_KMH),
    "m²": ShownUnit(sign="ft²", factor=_FEET2_PER_M2, places=0),
    "km/h": ShownUnit(sign="mph", factor=_MPH_PER_KMH),
    "L": ShownUnit(sign="gal", factor=1.0 / units.L_PER_GALLON, places=2),
    "mL": ShownUnit(sign="fl oz", factor=1.0 / units.ML_PER_FLUID_OUNCE, places=2),
    "kg": ShownUnit(sign="lb", factor=1.0 / units.KG_PER_POUND, places=2),
    "g": ShownUnit(sign="oz", factor=1.0 / units.G_PER_OUNCE, places=2),
    "bar": ShownUnit(sign="psi", factor=100.0 / units.KPA_PER_PSI, places=0),
    "L/min": ShownUnit(sign="gal/min", factor=1.0 / units.L_PER_GALLON, places=3),
    "g/m²": ShownUnit(
        sign="lb/1,000 ft²", factor=_HA_PER_RATE * _M2_PER_HA / 1000.0 / units.KG_PER_POUND, places=2
    ),
    "L/ha": ShownUnit(sign="gal/1,000 ft²", factor=_HA_PER_RATE / units.L_PER_GALLON, places=2),
    "mL/m²": ShownUnit(
        sign="fl oz/1,000 ft²", factor=_HA_PER_RATE * _M2_PER_HA / units.ML_PER_FLUID_OUNCE, places=2
    ),
    "kg/ha": ShownUnit(sign="oz/1,000 ft²", factor=_HA_PER_RATE * 1000.0 / units.G_PER_OUNCE, places=2),
}
#: Digits of a metric figure where a screen says nothing else.
_METRIC_PLACES = {"°C": 1, "mm": 1, "km/h": 0, "°C d": 0, "m²": 0}


def shown_unit(unit: str, system: System) -> ShownUnit:
    """How figures of a metric unit (`°C`, `mm`, `km/h`, ...) are read; the unit itself where nothing differs."""
    if system == IMPERIAL and unit in _CUSTOMARY:
        return _CUSTOMARY[unit]
    return ShownUnit(sign=unit, places=_METRIC_PLACES.get(unit, 1))


def temperature(system: System) -> ShownUnit:
    """Of figures in °C: `°C` or `°F`."""
    return shown_unit("°C", system)


def rain(system: System) -> ShownUnit:
    """Of figures in mm: `mm` or `in`."""
    return shown_unit("mm", system)


def wind(system: System) -> ShownUnit:
    """Of figures in km/h: `km/h` or `mph`."""
    return shown_unit("km/h", system)
