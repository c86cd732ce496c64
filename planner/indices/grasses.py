"""Grasses, under their plain names.

Growth optimum and width: Woods 2014 (read), 18 C for annual meadow-grass his suggestion, kikuyu "mid-20s".
Degree-day base: 0 C cool, 10 C warm (trials with growth regulators, read). Days to emergence: a popular web
table, the middle of its range; creeping bent, annual meadow-grass and kikuyu from memory. Best soil
temperature: within the ranges of Purdue turf 101. Base of emergence: judgement.
"""

from __future__ import annotations

from collections.abc import Mapping
from types import MappingProxyType

from planner.site import Grass


def _cool(name: str, days: float, *, optimum_c: float = 20.0, best_c: float = 20.0) -> Grass:
    return Grass(
        name=name,
        season="cool",
        optimum_c=optimum_c,
        width_c=5.5,
        degree_day_base_c=0.0,
        emergence_days=days,
        emergence_optimum_c=best_c,
        emergence_base_c=4.0,
    )


def _warm(name: str, days: float, *, optimum_c: float = 31.0, best_c: float = 28.0) -> Grass:
    return Grass(
        name=name,
        season="warm",
        optimum_c=optimum_c,
        width_c=7.0,
        degree_day_base_c=10.0,
        emergence_days=days,
        emergence_optimum_c=best_c,
        emergence_base_c=10.0,
    )


_ALL: tuple[Grass, ...] = (
    _cool("creeping_bent", 10.0),
    _cool("browntop_bent", 10.0),
    _cool("velvet_bent", 12.0),
    _cool("annual_meadow_grass", 10.0, optimum_c=18.0),
    _cool("rough_stalked_meadow_grass", 14.0),
    _cool("smooth_stalked_meadow_grass", 21.0),
    _cool("fescue", 10.0),
    _cool("red_fescue", 10.0),
    _cool("chewings_fescue", 10.0),
    _cool("hard_fescue", 10.0),
    _cool("sheep_fescue", 12.0),
    _cool("tall_fescue", 9.0),
    _cool("perennial_ryegrass", 7.0),
    _cool("bent_fescue", 10.0),
    _cool("bent_meadow_grass", 10.0, optimum_c=19.0),
    _cool("ryegrass_meadow_grass", 10.0),
    _warm("couch", 18.0),
    _warm("zoysia", 17.0),
    _warm("kikuyu", 15.0, optimum_c=25.0, best_c=25.0),
)
#: Other names of the trade for the same grass.
_SAME: Mapping[str, str] = MappingProxyType(
    {
        "bermuda": "couch",
        "poa_annua": "annual_meadow_grass",
        "kentucky_bluegrass": "smooth_stalked_meadow_grass",
        "ryegrass": "perennial_ryegrass",
        "fine_fescue": "fescue",
    }
)
GRASSES: Mapping[str, Grass] = MappingProxyType(
    {grass.name: grass for grass in _ALL}
    | {other: next(grass for grass in _ALL if grass.name == name) for other, name in _SAME.items()}
)


#: Least daily light, by grass. Creeping bent green about 30 and perennial ryegrass 23: second-hand; common
#: bermuda 25.9 and Meyer zoysia 21.1 at fairway height: read (abstract).
_LIGHT_ENOUGH_MOL: Mapping[str, float] = {
    "creeping_bent": 30.0,
    "perennial_ryegrass": 23.0,
    "couch": 25.9,
    "zoysia": 21.1,
}
#: Grasses that are not named: no measurement was found for them.
_LIGHT_ENOUGH_ELSE_MOL = 25.0


def light_enough_mol(grass: Grass) -> float:
    """Least daily light that holds the grass in good order, where the site gives none. [mol/m2/d]"""
    return _LIGHT_ENOUGH_MOL.get(grass.name, _LIGHT_ENOUGH_ELSE_MOL)


def most_nitrogen_g_m2(grass: Grass) -> float:
    """Nitrogen of a month of full growth: 3 for cool-season, 4 for warm-season grass (Woods 2015). [g/m2]"""
    return 4.0 if grass.season == "warm" else 3.0


#: Mass of a seed in mg, from seeds to the gram in seed trade tables (from memory). A mixture counts as its lightest.
_SEED_MG: Mapping[str, float] = {
    "creeping_bent": 0.07,
    "browntop_bent": 0.07,
    "velvet_bent": 0.05,
    "annual_meadow_grass": 0.25,
    "rough_stalked_meadow_grass": 0.2,
    "smooth_stalked_meadow_grass": 0.35,
    "fescue": 1.0,
    "red_fescue": 1.0,
    "chewings_fescue": 1.0,
    "hard_fescue": 0.8,
    "sheep_fescue": 0.7,
    "tall_fescue": 2.3,
    "perennial_ryegrass": 2.0,
    "bent_fescue": 0.07,
    "bent_meadow_grass": 0.07,
    "ryegrass_meadow_grass": 0.35,
    "couch": 0.25,
    "zoysia": 0.35,
    "kikuyu": 2.5,
}
#: Seed of a grass that is not named. Judgement: a light one.
_SEED_ELSE_MG = 0.35


def seed_mg(grass: Grass) -> float:
    """Mass of a seed. [mg]"""
    return _SEED_MG.get(grass.name, _SEED_ELSE_MG)
