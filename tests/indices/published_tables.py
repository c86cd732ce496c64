"""Whole tables in print, cell by cell."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np

from planner.indices import infiltration, runoff, spray_air
from planner.weather import Array
from tests.indices.made import table

#: Turner's table as printed in EPA-454/R-99-005, table 6-4: wind in knots, then index 4 to -2.
TURNER_KT: tuple[tuple[float, tuple[int, ...]], ...] = (
    (1, (1, 1, 2, 3, 4, 6, 7)),
    (3, (1, 2, 2, 3, 4, 6, 7)),
    (5, (1, 2, 3, 4, 4, 5, 6)),
    (6, (2, 2, 3, 4, 4, 5, 6)),
    (7, (2, 2, 3, 4, 4, 4, 5)),
    (9, (2, 3, 3, 4, 4, 4, 5)),
    (10, (3, 3, 4, 4, 4, 4, 5)),
    (11, (3, 3, 4, 4, 4, 4, 4)),
    (12, (3, 4, 4, 4, 4, 4, 4)),
)
#: Cloud, sun and night that bring about each net radiation index, 4 to -2.
_SKIES = (
    (0.2, 70.0, 0),
    (0.2, 50.0, 0),
    (0.2, 25.0, 0),
    (0.2, 10.0, 0),
    (1.0, 40.0, 0),
    (0.8, -20.0, 1),
    (0.2, -20.0, 1),
)


#: Chow, Maidment and Mays 1988, example 5.4.1: rain of each ten minutes on a sandy loam, and what has sunk in by the
#: end of each, as the tests of PyTOPKAPI have it. [cm]
STORM_CM = (
    0.18,
    0.21,
    0.26,
    0.32,
    0.37,
    0.43,
    0.64,
    1.14,
    3.18,
    1.65,
    0.81,
    0.52,
    0.42,
    0.36,
    0.28,
    0.24,
    0.19,
    0.17,
)
SUNK_CM = (
    0.18,
    0.39,
    0.65,
    0.97,
    1.34,
    1.77,
    2.2010980,
    2.5894007,
    2.9497199,
    3.2899523,
    3.6148927,
    3.9277082,
)
SUNK_CM += (4.2306187, 4.5252501, 4.8052501, 5.0452501, 5.2352501, 5.4052501)


@dataclass(frozen=True)
class Table:
    """A printed table and the largest difference of our cells from it."""

    name: str
    cells: int
    tolerance: float
    source: str
    differences: Callable[[], Array]

    def worst(self) -> float:
        return float(np.abs(self.differences()).max())


def _tr55() -> Array:
    printed = table("tr55_table_2_1.csv")
    columns = [
        runoff.runoff_mm(printed["rain_in"] * 25.4, number) / 25.4 - printed[f"cn_{number}"]
        for number in (55, 70, 80, 90)
    ]
    return np.concatenate(columns)


def _slopes() -> Array:
    printed = table("rusle_ls_moderate.csv")
    inside = printed["length_ft"] <= 800.0
    cells = zip(*(column[inside] for column in printed.values()), strict=True)
    return np.array([runoff.slope_length_factor(slope, feet * 0.3048) - ls for slope, feet, ls in cells])


def _storm() -> Array:
    sunk, out = np.zeros(1), []
    for rain in STORM_CM:
        # 1.09 cm/h, 11.01 cm, 0.4 of 0.412 filled before.
        sunk = infiltration.sunk_in_mm(sunk, rain * 60.0, 1.0 / 6.0, 10.9, 110.1 * 0.6 * 0.412)
        out.append(float(sunk[0]) / 10.0)
    return np.array(out) - np.array(SUNK_CM)


def _turner() -> Array:
    out = []
    for knots, classes in TURNER_KT:
        for (cloud, sun, night), printed in zip(_SKIES, classes, strict=True):
            ours = spray_air.stability_class(knots * 0.514444, cloud, sun, bool(night))
            out.append(float(ours) - printed)
    return np.array(out)


TABLES: tuple[Table, ...] = (
    Table("runoff of TR-55 table 2-1, inch, curve numbers 55, 70, 80, 90", 88, 0.0051, "tr-55", _tr55),
    Table("RUSLE slope and length factor, 1 to 12 %, 25 to 800 ft", 99, 0.0051, "rusle-1997", _slopes),
    Table("infiltration of a storm on sandy loam, cm every ten minutes", 18, 0.0001, "chow-1988", _storm),
    Table("stability class of Turner, nine winds by seven skies", 63, 0.0, "epa-2000", _turner),
)

NOT_COUNTED: tuple[str, ...] = (
    "## Looked at, and not counted",
    "",
    "- The sun's place of Reda and Andreas (2003) is printed to five digits; the low-precision series here",
    "  is held to 0.02 degrees of it (`tests/indices/test_sun.py::test_spa_printed_point`).",
    "- Saturation vapour pressure by the Magnus form is up to 0.3 % from the figures of FAO-56, which are",
    "  met by the form of FAO-56 above.",
    "- 1010 recorded events of Flanders are judged in `tests/indices/test_rain_energy.py`: data, not print.",
    "- Example 19 of FAO-56 (0.63 and 0.00 mm/h) is met, but its inputs were never read, only remembered.",
)
