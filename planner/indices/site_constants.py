"""Constants of one site that quantities read beside those of the wash index."""

from __future__ import annotations

from collections.abc import Mapping
from types import MappingProxyType

from planner.site import Grass

#: Name and what it is. All are optional; what is not given has the default of its formula.
SITE_CONSTANTS: Mapping[str, str] = MappingProxyType(
    {
        "surface_shift_k": "added to the surface temperature at night, learned from own readings [K]",
        "nitrogen_most_g_m2": "nitrogen of a month of full growth [g/m2]",
        "light_enough_mol": "least daily light that holds the turf in good order [mol/m2/d]",
        "firm_pct": "share of field capacity under which the ground carries wheels [%]",
        "irrigation_trigger": "share of the ready water at which one waters",
        "spray_drop_um": "diameter of the drops of the spray [um]",
        "snow_melt_mm_k_d": "water that melts for each degree above freezing [mm/K/d]",
    }
)

#: Least daily light, by grass. Creeping bent green about 30 and perennial ryegrass 23: second-hand; common
#: bermuda 25.9 and Meyer zoysia 21.1 at fairway height: read (abstract).
_LIGHT_ENOUGH_MOL: Mapping[str, float] = MappingProxyType(
    {"creeping_bent": 30.0, "perennial_ryegrass": 23.0, "couch": 25.9, "zoysia": 21.1}
)
#: Grasses that are not named: no measurement was found for them.
_LIGHT_ENOUGH_ELSE_MOL = 25.0


def light_enough_mol(grass: Grass) -> float:
    """Least daily light that holds the grass in good order, where the site gives none. [mol/m2/d]"""
    return _LIGHT_ENOUGH_MOL.get(grass.name, _LIGHT_ENOUGH_ELSE_MOL)


def most_nitrogen_g_m2(grass: Grass) -> float:
    """Nitrogen of a month of full growth: 3 for cool-season, 4 for warm-season grass (Woods 2015). [g/m2]"""
    return 4.0 if grass.season == "warm" else 3.0
