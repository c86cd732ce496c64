"""kill -9 at moments spread over diary and real passes: no entry lost, nothing told twice, no torn briefing."""

from __future__ import annotations

import json
import os
import subprocess
import sys
from pathlib import Path

import pytest

from tests.made import ROOT

SCRIPT = Path(__file__).with_name("pass_kill_run.py")
NEVER = (
    "torn",
    "messages without their warning",
    "entries lost",
    "forecasts broken",
    "passes never made",
    "left over",
    "mailed twice",
    "mail sent but not written",
    "hook sent but not written",
    "given up",
)


def run(url: str, folder: Path, kills: int, seed: int) -> dict[str, int]:
    done = subprocess.run(
        [sys.executable, "-W", "error", str(SCRIPT), url, str(folder), str(kills), str(seed)],
        capture_output=True,
        text=True,
        check=False,
        # One thread, as a process that is forked should have.
        env={**os.environ, "PYTHONPATH": str(ROOT), "OPENBLAS_NUM_THREADS": "1"},
    )
    sys.stderr.write(done.stderr)
    assert done.returncode == 0, done.stderr
    counts: dict[str, int] = json.loads(done.stdout)
    return counts


def hold(counts: dict[str, int], kills: int) -> None:
    assert counts["killed"] == kills, counts
    assert {name: counts.get(name, 0) for name in NEVER} == dict.fromkeys(NEVER, 0), counts
    # The run is worth nothing unless work was going on; every other worker lives for two whole rounds and
    # until it has mailed.
    assert counts["entries"] >= kills, counts
    assert counts["mailed"] >= kills / 2, counts


def test_four_kills_lose_nothing(sqlite_url: str, tmp_path: Path) -> None:
    hold(run(sqlite_url, tmp_path, 4, 1), 4)


@pytest.mark.replay
def test_a_hundred_kills_lose_nothing(url: str, tmp_path: Path) -> None:
    hold(run(url, tmp_path, 100, 2), 100)
