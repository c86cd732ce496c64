"""The table of indices: published formulas, each one function and one row."""

from __future__ import annotations

from collections.abc import Mapping

from planner.indices.frame import Index

#: Written out by hand, so that the list can be read without running anything.
INDICES: tuple[Index, ...] = ()

INDEX: Mapping[str, Index] = {index.name: index for index in INDICES}
if len(INDEX) != len(INDICES):
    raise RuntimeError("two indices have the same name")
