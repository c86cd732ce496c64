"""Tank and hopper maths: how much water, how much product, in how many loads, and what would be left over."""

from __future__ import annotations

from planner.mix.calibration import CatchTest, OffNozzle, TrayTest, catch_can, effective_swath_m, tray_test
from planner.mix.kit import ISO_SIZES, IsoSize, Material, Nozzle, Range, Sprayer, Spreader
from planner.mix.nutrients import nutrients_gm2
from planner.mix.sheet import Load, MixSheet, Product, mix_sheet

__all__ = [
    "ISO_SIZES",
    "CatchTest",
    "IsoSize",
    "Load",
    "Material",
    "MixSheet",
    "Nozzle",
    "OffNozzle",
    "Product",
    "Range",
    "Sprayer",
    "Spreader",
    "TrayTest",
    "catch_can",
    "effective_swath_m",
    "mix_sheet",
    "nutrients_gm2",
    "tray_test",
]
