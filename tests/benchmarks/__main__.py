"""Every figure of speed, in one table: `python -m tests.benchmarks`, and with `--write` into docs/benchmarks.md.

Ratios of two things measured in one run, so that they say something on another machine, too. Run it on a quiet one.
"""

from __future__ import annotations

import argparse
import os
import platform
import sys
from datetime import UTC, datetime
from pathlib import Path

import pytest

from tests.benchmarks.conftest import FIGURE
from tests.made import ROOT

PAGE = ROOT / "docs" / "benchmarks.md"
HEAD = """# Benchmarks

Written by `python -m tests.benchmarks --write`. Each figure is the ratio of two times (or rates) taken in one run: an
absolute time says little on another machine. What is not within its limit fails; `.ci/run` measures all of them anew.
"""


class Figures:
    """Collects what the tests hold, and which of them failed."""

    def __init__(self) -> None:
        self.rows: list[tuple[str, float, str, float | None, float | None]] = []
        self.failed: list[str] = []

    def pytest_runtest_logreport(self, report: pytest.TestReport) -> None:
        if report.failed or report.skipped:
            self.failed.append(report.nodeid)
        if report.when == "call":
            self.rows += [tuple(value) for name, value in report.user_properties if name == FIGURE]  # type: ignore[misc]


def machine() -> str:
    """The processor, its cores, the system and the Python."""
    model = platform.processor() or platform.machine()
    info = Path("/proc/cpuinfo")
    if info.exists():
        names = [
            line.split(":", 1)[1].strip() for line in info.read_text().splitlines() if "model name" in line
        ]
        model = names[0] if names else model
    count = len(os.sched_getaffinity(0)) if hasattr(os, "sched_getaffinity") else os.cpu_count()
    return f"{model}, {count} cores, {platform.system()}, Python {platform.python_version()}"


def table(rows: list[tuple[str, float, str, float | None, float | None]]) -> list[str]:
    """The figures as lines of a table."""
    lines = ["| what | measured | of what | limit |", "| --- | --- | --- | --- |"]
    for what, value, of, most, least in rows:
        limit = f"at most {most:g}" if most is not None else f"at least {least:g}"
        lines.append(f"| {what} | {value:.3g} | {of} | {limit} |")
    return lines


def main() -> int:
    parser = argparse.ArgumentParser(prog="python -m tests.benchmarks", description=__doc__.splitlines()[0])
    parser.add_argument("--write", action="store_true", help=f"write the table to {PAGE.relative_to(ROOT)}")
    chosen = parser.parse_args()
    figures = Figures()
    folder = str(Path(__file__).parent)
    code = pytest.main(["-q", "-m", "replay or not replay", "-p", "no:xdist", folder], plugins=[figures])
    lines = [f"Measured {datetime.now(UTC):%Y-%m-%d} on {machine()}.", "", *table(figures.rows)]
    sys.stdout.write("\n" + "\n".join(lines) + "\n")
    if chosen.write and not code:
        PAGE.write_text(HEAD + "\n" + "\n".join(lines) + "\n", encoding="utf-8")
    return int(code)


if __name__ == "__main__":
    sys.exit(main())
