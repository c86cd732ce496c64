"""How a row of the table is written beside its function, and the constants of a site that rows read."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from types import MappingProxyType
from typing import NotRequired, TypedDict, Unpack

from planner.indices.quantities import Index, Quantities
from planner.weather import Array

Compute = Callable[[Quantities], Array]


class About(TypedDict):
    """What a row says of its function, as in `Index`."""

    unit: str
    says: str
    bounds: NotRequired[tuple[float, float]]
    needs: tuple[str, ...]
    source: str
    valid: str
    check: str
    alike: NotRequired[Callable[[Quantities], object]]


class Rows:
    """Rows of one topic, in order; a row has the name of its function."""

    def __init__(self) -> None:
        self.made: list[Index] = []

    def sky(self, **about: Unpack[About]) -> Callable[[Compute], Compute]:
        """A row that is the same for all surfaces of the site."""
        return self._row("sky", about)

    def surface(self, **about: Unpack[About]) -> Callable[[Compute], Compute]:
        """A row that each surface has for itself."""
        return self._row("surface", about)

    def _row(self, scope: str, about: About) -> Callable[[Compute], Compute]:
        def add(compute: Compute) -> Compute:
            self.made.append(Index(name=compute.__name__, scope=scope, compute=compute, **about))
            return compute

        return add


#: Name and what it is. All are optional; what is left out has the default of its formula.
SITE_CONSTANTS: Mapping[str, str] = MappingProxyType(
    {
        "grass_shift_k": "added to the grass temperature at night before own readings move it [K]",
        "past_spread_k": "spread of past hours against the air at the site; 0 for a record of measurements [K]",
        "nitrogen_most_g_m2": "nitrogen of a month of full growth [g/m2]",
        "light_enough_mol": "least daily light that holds the turf in good order [mol/m2/d]",
        "firm_pct": "share of field capacity under which the ground carries wheels [%]",
        "irrigation_trigger": "share of the ready water at which one waters",
        "spray_drop_um": "diameter of the drops of the spray [um]",
        "snow_melt_mm_k_d": "water that melts for each degree above freezing [mm/K/d]",
    }
)
