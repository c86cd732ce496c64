"""kill -9 at moments spread over all of the work: no entry lost, no warning sent twice, no torn pass."""

from __future__ import annotations

import json
import os
import subprocess
import sys
from pathlib import Path

import pytest

from tests.made import ROOT

SCRIPT = Path(__file__).with_name("kill_run.py")
NEVER = (
    "torn",
    "entries lost",
    "mailed twice",
    "mail unaccounted",
    "mail sent but not in the log",
    "hook never sent",
    "hook unaccounted",
    "left over",
)


def run(url: str, folder: Path, kills: int, seed: int) -> dict[str, int]:
    done = subprocess.run(
        [sys.executable, "-W", "error", str(SCRIPT), url, str(folder), str(kills), str(seed)],
        capture_output=True,
        text=True,
        check=False,
        env={**os.environ, "PYTHONPATH": str(ROOT)},
    )
    sys.stderr.write(done.stderr)
    assert done.returncode == 0, done.stderr
    counts: dict[str, int] = json.loads(done.stdout)
    return counts


def hold(counts: dict[str, int], kills: int) -> None:
    assert counts["killed"] == kills, counts
    assert {name: counts[name] for name in NEVER} == dict.fromkeys(NEVER, 0), counts
    # The run is worth nothing unless work was going on; every other worker lives for two whole rounds.
    assert counts["entries"] >= kills, counts
    assert counts["warnings"] >= kills, counts


def test_ten_kills_lose_nothing(url: str, tmp_path: Path) -> None:
    hold(run(url, tmp_path, 10, 1), 10)


@pytest.mark.replay
def test_two_hundred_kills_lose_nothing(url: str, tmp_path: Path) -> None:
    hold(run(url, tmp_path, 200, 2), 200)
