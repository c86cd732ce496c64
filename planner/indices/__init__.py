"""The table of indices: published formulas, each one function and one row."""

from __future__ import annotations

from collections.abc import Mapping

from planner.indices.frame import Index
from planner.indices.table_sky import SKY
from planner.indices.table_spray import SPRAY
from planner.indices.table_surface import SURFACE
from planner.indices.table_wash import WASH_ROWS

#: Written out by hand in the tables, so that the list can be read without running anything.
INDICES: tuple[Index, ...] = SKY + SPRAY + SURFACE + WASH_ROWS

INDEX: Mapping[str, Index] = {index.name: index for index in INDICES}
if len(INDEX) != len(INDICES):
    raise RuntimeError("two indices have the same name")
