"""Each figure held against measured data and against the best simple way of getting it."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path

from planner.verification import ground_frost, leaf_wetness, night_surface, soil_temperature, soil_water
from planner.verification.base import Row

#: Quantity -> the function that makes its rows from the data of a folder; none where the data are not there.
QUANTITIES: dict[str, Callable[[Path], list[Row]]] = {
    "ground frost": ground_frost.rows,
    "night surface": night_surface.rows,
    "soil temperature": soil_temperature.rows,
    "soil water": soil_water.rows,
    "leaf wetness": leaf_wetness.rows,
}


def verified(folder: Path, only: str = "") -> list[Row]:
    """The rows of every quantity, or of one, whose data lie in the folder."""
    return [row for name, rows in QUANTITIES.items() if only in ("", name) for row in rows(folder)]
