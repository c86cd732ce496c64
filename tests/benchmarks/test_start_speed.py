"""Reading commands start fast: measured against the libraries that any such command must load."""

from __future__ import annotations

import resource
import subprocess
import sys
from pathlib import Path

import pytest

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
def test_reading_starts_in_under_three_times_the_bare_libraries(kept, name):
    command = [sys.executable, "-m", "planner", name, "--config", kept, "--json"]
    bare = [sys.executable, "-c", "import click, json, sqlite3"]
    ours, theirs = [], []
    for _ in range(7):
        ours.append(seconds(*command))
        theirs.append(seconds(*bare))
    ratio = min(ours) / min(theirs)
    print(f"\n{name} {min(ours) * 1e3:.0f} ms, bare {min(theirs) * 1e3:.0f} ms, ratio {ratio:.2f}")  # noqa: T201
    assert Path(kept).exists()
    assert ratio < 3
