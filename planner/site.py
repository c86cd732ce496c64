"""The ground: sites, surfaces, what was sown and what was done on them."""

from __future__ import annotations

from dataclasses import dataclass, field
from datetime import datetime
from typing import Literal
from zoneinfo import ZoneInfo

from planner.terms import place_of, require_aware


@dataclass(frozen=True, slots=True, kw_only=True)
class Grass:
    """What the growth and emergence formulas need to know of a grass. Temperatures in C."""

    name: str
    season: str
    """`cool` (C3) or `warm` (C4)."""
    optimum_c: float
    width_c: float
    degree_day_base_c: float
    emergence_days: float
    """Days to emergence at the optimum soil temperature."""
    emergence_optimum_c: float
    emergence_base_c: float


#: What lies nearer than this is reached by what drifts or runs off a surface. Judgement.
NEAR_M = 30.0


@dataclass(frozen=True, slots=True, kw_only=True)
class Edge:
    """Something beside a surface that drift must not reach, and its direction from the surface."""

    name: str
    bearing_deg: float
    distance_m: float | None = None
    """None where it is not told: then it counts as near."""
    kind: str = "water"
    """`water`, `plants`, `people`, `bees` or `other`; what is not told counts as water, the careful side."""

    @property
    def called(self) -> str:
        """Its name with the article."""
        return f"the {self.name.removeprefix('the ')}"

    @property
    def is_near(self) -> bool:
        """Whether it is close enough for what leaves the surface to reach it."""
        return self.distance_m is None or self.distance_m <= NEAR_M


#: Ground as steep as this sheds hard rain toward what lies below it. Judgement.
SHEDS_FROM_PCT = 5.0


@dataclass(frozen=True, slots=True, kw_only=True)
class Surface:
    """One piece of turf that is kept alike."""

    name: str
    kind: str
    area_m2: float
    grass: Grass
    cut_height_mm: float
    slope_pct: float = 0.0
    slope_length_m: float = 10.0
    soil: str = "loam"
    root_depth_m: float = 0.15
    shade: float = 0.0
    edges: tuple[Edge, ...] = ()

    @property
    def sheds_to_water(self) -> bool:
        """Whether hard rain runs off it: a slope, or water close beside it."""
        return self.slope_pct >= SHEDS_FROM_PCT or any(
            edge.kind == "water" and edge.is_near for edge in self.edges
        )

    @property
    def soil_class(self) -> str:
        """The kind of ground by how it carries: sand, loam or clay."""
        return {"sand": "sand", "loamy_sand": "sand", "clay_loam": "clay", "clay": "clay"}.get(
            self.soil, "loam"
        )


@dataclass(frozen=True, slots=True, kw_only=True)
class Sowing:
    """Seed put down on a surface. Cover in percent of the ground, 0 for none."""

    surface: str
    at: datetime
    grass: Grass
    cover_pct: float = 0.0
    tackifier: bool = False

    def __post_init__(self) -> None:
        require_aware(self.at, "the time of a sowing")


@dataclass(frozen=True, slots=True, kw_only=True)
class WorkDone:
    """One job finished on one surface."""

    job: str
    kind: str
    surface: str
    at: datetime

    def __post_init__(self) -> None:
        require_aware(self.at, "the time of work done")


#: The key of a site that was given none.
MAIN = "main"


@dataclass(frozen=True, slots=True, kw_only=True)
class Site:
    """A place under one sky and one clock."""

    name: str
    latitude_deg: float
    longitude_deg: float
    elevation_m: float
    timezone: str
    surfaces: tuple[Surface, ...] = field(default=())
    dormant_from: str = ""
    """Month and day from which the grass usually rests, `11-15`; empty where it is not told."""
    key: str = MAIN
    """What the store knows it by."""
    units: Literal["metric", "imperial"] = "metric"
    """What its people read; every figure is reckoned and kept in metric units."""

    @property
    def has_own_key(self) -> bool:
        """Whether it was given a key, as each of several sites is: then its name stands where others could be meant."""
        return self.key != MAIN

    @property
    def zone(self) -> ZoneInfo:
        """The site's own clock."""
        return ZoneInfo(self.timezone)

    @property
    def place(self) -> str:
        """What makes weather that of this place and no other."""
        return place_of(self.latitude_deg, self.longitude_deg, self.timezone)

    def surface(self, name: str) -> Surface:
        """The surface of that name."""
        from planner.errors import NotKnown

        for surface in self.surfaces:
            if surface.name == name:
                return surface
        raise NotKnown("surface", name, [surface.name for surface in self.surfaces])
