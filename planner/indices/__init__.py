"""Published formulas, each one function and one row of the table; no clock, network, file or config."""

from __future__ import annotations

from collections.abc import Mapping

from planner.indices import (
    table_air,
    table_frost,
    table_growth,
    table_leaf,
    table_soil,
    table_spray,
    table_wash,
    table_water,
)
from planner.indices.quantities import Index

#: The only list of indices. A row stands beside the function that computes it.
INDICES: tuple[Index, ...] = tuple(
    row
    for topic in (
        table_air,
        table_soil,
        table_leaf,
        table_frost,
        table_spray,
        table_growth,
        table_water,
        table_wash,
    )
    for row in topic.rows.made
)

INDEX: Mapping[str, Index] = {index.name: index for index in INDICES}
if len(INDEX) != len(INDICES):
    raise RuntimeError("two indices have the same name")
