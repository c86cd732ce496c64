"""Which jobs on a surface may share a tank: those whose materials say so."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from itertools import combinations

from planner.mix.kit import Stocked


def mixes_of(
    named: Mapping[tuple[str, str], str], materials: Iterable[Stocked]
) -> frozenset[tuple[str, frozenset[str]]]:
    """Surfaces, each with two jobs whose materials may share a tank.

    `named`: (job, surface) of what is wanted -> its material, or an empty text for the job's first one. A job
    without a material shares with none.
    """
    stock = tuple(materials)
    by_name = {one.name: one for one in stock}
    put_out = {
        key: by_name.get(name) or next((one for one in stock if key[0] in one.jobs), None)
        for key, name in named.items()
    }
    return frozenset(
        (one[1], frozenset((one[0], other[0])))
        for one, other in combinations(put_out, 2)
        if one[1] == other[1]
        and one[0] != other[0]
        and (first := put_out[one]) is not None
        and (second := put_out[other]) is not None
        and first.may_mix(second)
    )
