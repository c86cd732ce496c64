"""Reading commands start fast: measured against the libraries that any such command must load."""

from __future__ import annotations

import resource
import subprocess
import sys
from pathlib import Path
from statistics import median

import pytest

from tests.benchmarks.conftest import Hold
from tests.made import ROOT


def seconds(*command: str) -> float:
    """Time on the processor, so that whatever else the machine does is not counted."""
    begun = _children_s()
    subprocess.run(command, cwd=ROOT, capture_output=True, check=True, timeout=600)
    return _children_s() - begun


def _children_s() -> float:
    used = resource.getrusage(resource.RUSAGE_CHILDREN)
    return used.ru_utime + used.ru_stime


@pytest.mark.replay
@pytest.mark.parametrize("name", ["windows", "now", "week"])
def test_reading_starts_in_under_three_times_the_bare_libraries(kept: str, name: str, hold: Hold) -> None:
    command = [sys.executable, "-m", "planner", name, "--config", kept, "--json"]
    bare = [sys.executable, "-c", "import click, json, sqlite3"]
    ratios = []
    # Each start between two bare ones, and the middle of many: a machine's own speed wanders by half as much again
    # within seconds, so that the best of each would compare two different moments.
    before = seconds(*bare)
    for _ in range(15):
        ours, after = seconds(*command), seconds(*bare)
        ratios.append(2 * ours / (before + after))
        before = after
    assert Path(kept).exists()
    hold(f"`haysel {name}`", median(ratios), "of starting Python with click, json and sqlite3", most=3)
