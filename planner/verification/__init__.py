"""Each figure held against measured data and against the best simple way of getting it."""

from __future__ import annotations

from collections.abc import Callable
from math import isfinite
from pathlib import Path
from warnings import warn

from planner.errors import InputError
from planner.verification import ground_frost, leaf_wetness, night_surface, soil_temperature, soil_water
from planner.verification.base import Row
from planner.verification.data import NotRead

#: Quantity -> the function that makes its rows from the data of a folder; none where the data are not there.
QUANTITIES: dict[str, Callable[[Path], list[Row]]] = {
    "ground frost": ground_frost.rows,
    "night surface": night_surface.rows,
    "soil temperature": soil_temperature.rows,
    "soil water": soil_water.rows,
    "leaf wetness": leaf_wetness.rows,
}


def verified(folder: Path, only: str = "") -> list[Row]:
    """The rows of every quantity, or of one, whose data lie in the folder.

    What cannot be told is left out with a warning `NotRead`; it costs the other quantities nothing.
    """
    found = []
    for name, rows in QUANTITIES.items():
        if only not in ("", name):
            continue
        try:
            made = rows(folder)
        except InputError as error:
            warn(NotRead(f"{name}: {error}"), stacklevel=2)
            continue
        for row in made:
            if isfinite(row.score) and isfinite(row.baseline_score):
                found.append(row)
            else:
                warn(NotRead(f"{name}, {row.data}: too few cases for a score."), stacklevel=2)
    return found
