"""`python -m tests.fuzz COUNT [SEED]`: so many requests to a service of the demo; prints what came of them."""

from __future__ import annotations

import asyncio
import sys
import tempfile
import time
from pathlib import Path

from tests.fuzz.asking import fuzz
from tests.fuzz.service import running


def main(count: int, seed: int) -> int:
    """1 where an answer, or the log, tells of a fault."""
    with tempfile.TemporaryDirectory() as folder, running(Path(folder)) as service:
        began = time.perf_counter()
        found = asyncio.run(fuzz(service.port, range(count), seed))
        took_s = time.perf_counter() - began
        faults = [*found.faults, *service.told()]
    statuses = ", ".join(f"{status}: {number}" for status, number in sorted(found.statuses.items()))
    print(f"{found.made} requests in {took_s:.0f} s, seed {seed}; the longest took {found.longest_s:.2f} s")  # noqa: T201
    print(f"answers by status (0: the line was closed): {statuses}")  # noqa: T201
    print(f"{len(faults)} faults", *faults[:40], sep="\n")  # noqa: T201
    return 1 if faults else 0


if __name__ == "__main__":
    sys.exit(main(int(sys.argv[1]) if sys.argv[1:] else 1000, int(sys.argv[2]) if sys.argv[2:] else 1))
