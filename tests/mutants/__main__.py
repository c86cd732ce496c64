"""python -m tests.mutants [part of a path ...] [--jobs N] [--all]: which mutants no test notices."""

from __future__ import annotations

import argparse
import os
import sys
import time
from collections.abc import Callable
from pathlib import Path

from tests.mutants.mutate import Mutant
from tests.mutants.run import KILLED, NOT_MADE, SURVIVED, Target, outcomes, with_tests

ACCEPTED = Path(__file__).with_name("survivors.md")
#: Of the mutants of a file this share must be killed.
WANTED = 0.9

TARGETS = (
    Target("planner/planning/plan.py", ("tests/planning/test_rank.py", "tests/planning/test_conditions.py")),
    Target(
        "planner/planning/conditions.py", ("tests/planning/test_conditions.py", "tests/planning/test_rank.py")
    ),
    Target(
        "planner/planning/windows.py",
        ("tests/planning/test_windows.py", "tests/rules/test_edges.py", "tests/planning/test_conditions.py"),
    ),
    Target("planner/planning/suitability.py", ("tests/planning/test_suitability.py",)),
    Target(
        "planner/planning/week.py",
        (
            "tests/planning/test_week_order.py",
            "tests/planning/test_asks.py",
            "tests/planning/test_week.py",
        ),
    ),
    Target("planner/planning/asks.py", ("tests/planning/test_asks.py", "tests/planning/test_week_order.py")),
    Target("planner/planning/apart.py", ("tests/planning/test_asks.py", "tests/planning/test_week_order.py")),
    Target("planner/warnings/frost.py", ("tests/warnings/test_frost.py",)),
    Target("planner/warnings/wash.py", ("tests/warnings/test_wash.py",)),
    Target(
        "planner/indices/frost.py",
        ("tests/indices/test_frost.py",),
    ),
    Target("planner/indices/rain_wash.py", ("tests/indices/test_rain_wash.py",)),
)


def main() -> int:
    """Print killed and survived by file, and each survivor; 1 when a file or a survivor is not accepted."""
    parser = argparse.ArgumentParser(prog="python -m tests.mutants", description=__doc__)
    parser.add_argument("paths", nargs="*", help="only files whose path holds one of these")
    parser.add_argument("--jobs", type=int, default=os.cpu_count() or 1)
    asked = parser.parse_args()
    accepted = ACCEPTED.read_text(encoding="utf-8") if ACCEPTED.exists() else ""
    is_well = True
    for target in TARGETS:
        if asked.paths and not any(part in target.path for part in asked.paths):
            continue
        # A process of its own for each file: no fork carries what another file has loaded.
        pid = os.fork()
        if pid == 0:
            os._exit(0 if _one(target, asked.jobs, accepted) else 1)
        is_well &= os.waitpid(pid, 0)[1] == 0
    return 0 if is_well else 1


def _one(target: Target, jobs: int, accepted: str) -> bool:
    began = time.monotonic()
    found: list[tuple[Mutant, str]] = []

    def work(run: Callable[[], int]) -> None:
        for number, (mutant, outcome) in enumerate(outcomes(target, run, jobs), start=1):
            if outcome != NOT_MADE:
                found.append((mutant, outcome))
            if number % 50 == 0:
                print(f"  {number} tried", file=sys.stderr, flush=True)  # noqa: T201

    with_tests(target, work)
    lived = sorted(mutant.name for mutant, outcome in found if outcome == SURVIVED)
    killed = len(found) - len(lived)
    endless = sum(outcome not in (SURVIVED, KILLED) for _, outcome in found)
    share = killed / max(1, len(found))
    print(  # noqa: T201
        f"{target.path}: {killed} of {len(found)} killed ({share:.0%}, {endless} endless), {len(lived)} survived, "
        f"in {time.monotonic() - began:.0f} s"
    )
    strange = [name for name in lived if f"{target.path} {name}" not in accepted]
    for name in lived:
        print(f"  {'survived' if name in strange else 'accepted'}  {target.path} {name}")  # noqa: T201
    sys.stdout.flush()
    return share >= WANTED and not strange


if __name__ == "__main__":
    sys.exit(main())
