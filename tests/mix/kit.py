"""The kit and materials the tests share: an invented place, generic materials."""

from __future__ import annotations

from planner.mix.kit import Material, Nozzle, Range, Sprayer, Spreader
from planner.site import Grass, Surface

GRASS = Grass(
    name="bent",
    season="cool",
    optimum_c=20.0,
    width_c=5.5,
    degree_day_base_c=0.0,
    emergence_days=10.0,
    emergence_optimum_c=20.0,
    emergence_base_c=4.0,
)
GREEN = Surface(name="green", kind="green", area_m2=340.0, grass=GRASS, cut_height_mm=3.8)
BARROW = Sprayer(
    name="barrow sprayer",
    tank_l=60.0,
    nozzle=Nozzle.iso("04", Range(lowest=1.5, highest=5.0)),
    nozzles=3,
    spacing_m=0.5,
    pressure_bar=3.0,
    speed_kmh=4.0,
)
DROP = Spreader(name="drop spreader", hopper_kg=15.0, swath_m=0.6)
FOLIAR = Material(
    name="foliar 10-0-4",
    unit="L",
    rate_per_ha=25.0,
    most_per_ha=30.0,
    density_kgl=1.22,
    analysis_pct={"N": 10.0, "K2O": 4.0, "Fe": 3.0, "Mn": 1.0},
    volume_lha=Range(lowest=200.0, highest=600.0),
)
STARTER = Material(
    name="starter 10-18-8",
    unit="kg",
    rate_per_ha=300.0,
    form="granular",
    analysis_pct={"N": 10.0, "P2O5": 18.0, "K2O": 8.0},
)
