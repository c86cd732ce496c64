"""Reading commands start fast: told against the libraries that any such command must load."""

from __future__ import annotations

import subprocess
import sys
import time
from pathlib import Path

from tests.made import ROOT


def seconds(*command: str) -> float:
    begun = time.perf_counter()
    subprocess.run(command, cwd=ROOT, capture_output=True, check=True, timeout=60)
    return time.perf_counter() - begun


def test_reading_starts_in_under_three_times_the_bare_libraries(kept):
    command = [sys.executable, "-m", "planner", "windows", "--config", kept, "--json"]
    bare = [sys.executable, "-c", "import click, json, sqlite3"]
    ours, theirs = [], []
    for _ in range(7):
        ours.append(seconds(*command))
        theirs.append(seconds(*bare))
    ratio = min(ours) / min(theirs)
    print(f"\nwindows {min(ours) * 1e3:.0f} ms, bare {min(theirs) * 1e3:.0f} ms, ratio {ratio:.2f}")  # noqa: T201
    assert Path(kept).exists()
    assert ratio < 3
