"""`python -m tests.load [MINUTES] [--keep]`: a run under load; `--keep` writes its figures to docs/load.json."""

from __future__ import annotations

import sys
import tempfile
from pathlib import Path

from tests.load.figures import judged, kept, table
from tests.load.measure import run


def main(arguments: list[str]) -> int:
    """1 where a figure is missed."""
    minutes = float(next((one for one in arguments if not one.startswith("-")), "30"))
    with tempfile.TemporaryDirectory() as folder:
        found = run(Path(folder), minutes)
    print(table(found))  # noqa: T201
    print(*found.faults[:20], sep="\n")  # noqa: T201
    if "--keep" in arguments:
        kept(found)
    missed = [row.name for row in judged(found) if not row.is_met]
    print("missed: " + ", ".join(missed) if missed else "every figure is met")  # noqa: T201
    return 1 if missed else 0


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
