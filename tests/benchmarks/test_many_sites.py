"""A few sites measured as `python -m tests.benchmarks.many_sites` measures a thousand."""

from __future__ import annotations

from pathlib import Path

import pytest

from planner.cli.cluster import cluster
from tests.benchmarks.many_sites import MOST_BYTES, exponent, folder_of, measured, told

#: Between so few sites chance weighs more than among a thousand, where it is 1.05.
MOST_OF_FEW = 1.15
#: Most bytes by which a worker may grow with each site more that it has had.
MOST_GROWTH = 1_000_000


@pytest.mark.replay
def test_sixteen_sites_take_four_times_as_long_as_four_and_hardly_more_memory(tmp_path: Path) -> None:
    files = folder_of(tmp_path / "sites", 16)
    with cluster(None, 1) as client:
        # What a worker loads at its first sites is not what sites cost.
        measured(client, files[:2])
        # A round in which something else took the machine says nothing.
        for _ in range(3):
            found = [measured(client, files[:4]), measured(client, files)]
            if exponent(found, "cpu_s") <= MOST_OF_FEW:
                break
    print("\n" + "\n".join(told(found)))  # noqa: T201
    assert exponent(found, "cpu_s") <= MOST_OF_FEW
    assert found[-1].workers_bytes <= MOST_BYTES
    assert found[-1].workers_bytes - found[0].workers_bytes <= 12 * MOST_GROWTH
