"""`python -m tests.audit PROGRAM`: holds what the locks pin against known holes, where a list of them can be reached.

PROGRAM is pip-audit, which `.ci/run` sets up outside the project. A hole that is found fails. Without a list nothing is
known, and that is said: silence would read as none.
"""

from __future__ import annotations

import json
import subprocess
import sys
import tempfile
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from tests.made import ROOT

LOCKS = tuple(sorted(ROOT.glob(".requirements*.lock")))
#: Lists of holes, in the order in which they are asked; each is given this long. [s]
SOURCES, PATIENCE_S = ("osv", "pypi"), 180


@dataclass(frozen=True, slots=True)
class Audited:
    """What a list says: of how many packages it knows, and the holes."""

    known: int
    not_known: int
    holes: tuple[str, ...]


def said(answer: Mapping[str, Any]) -> Audited:
    """What stands in the program's own answer."""
    rows = answer["dependencies"]
    known = [row for row in rows if "skip_reason" not in row]
    holes = [
        f"{row['name']} {row['version']}: {hole['id']}, mended in {', '.join(hole['fix_versions']) or 'no version'}"
        for row in known
        for hole in row["vulns"]
    ]
    return Audited(len(known), len(rows) - len(known), tuple(dict.fromkeys(holes)))


def asked(program: str, source: str) -> Audited | str:
    """What that list says of all the locks; in words why it says nothing."""
    with tempfile.TemporaryDirectory() as folder:
        file = Path(folder) / "answer.json"
        locks = [part for lock in LOCKS for part in ("-r", str(lock))]
        command = [
            program,
            "-s",
            source,
            "--disable-pip",
            "--require-hashes",
            *locks,
            "-f",
            "json",
            "-o",
            str(file),
        ]
        try:
            ran = subprocess.run(command, capture_output=True, text=True, check=False, timeout=PATIENCE_S)
        except (OSError, subprocess.TimeoutExpired) as error:
            return f"{source}: {error}"
        if not file.exists():
            return f"{source}: {(ran.stderr.strip().splitlines() or ['no answer'])[-1][:200]}"
        found = said(json.loads(file.read_text(encoding="utf-8")))
    return found if found.known else f"{source}: it knows none of the {found.not_known} packages"


def lines(program: str) -> Iterator[tuple[str, bool]]:
    """What is to be read, and whether it fails."""
    reasons = []
    for source in SOURCES:
        found = asked(program, source)
        if isinstance(found, str):
            reasons.append(found)
            continue
        yield f"{found.known} packages are known to {source}, {found.not_known} are not", False
        yield from ((hole, True) for hole in found.holes)
        return
    yield "not run: no list of known holes could be reached", False
    yield from ((reason, False) for reason in reasons)


def main(arguments: Sequence[str]) -> int:
    """1 where a hole is known."""
    told = list(lines(arguments[0]))
    print(*(line for line, _ in told), sep="\n")  # noqa: T201
    return int(any(fails for _, fails in told))


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
