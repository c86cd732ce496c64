"""The audit of the locks fails for a known hole, and says so where it could not be run."""

from __future__ import annotations

import json
import stat
import sys
from pathlib import Path

import pytest

from tests.audit import LOCKS, main

HOLE = {"id": "HOLE-1", "fix_versions": ["2.0"], "aliases": [], "description": "x"}


def program(folder: Path, answers: dict[str, object]) -> str:
    """One that answers for each list what is given, and fails for the others."""
    file = folder / "program"
    file.write_text(
        f"#!{sys.executable}\n"
        "import json, sys\n"
        f"answers = json.loads({json.dumps(answers)!r})\n"
        "source = sys.argv[sys.argv.index('-s') + 1]\n"
        "assert sys.argv.count('-r') == " + str(len(LOCKS)) + "\n"
        "if source not in answers:\n"
        "    sys.exit('no route to it')\n"
        "open(sys.argv[sys.argv.index('-o') + 1], 'w').write(json.dumps(answers[source]))\n"
    )
    file.chmod(file.stat().st_mode | stat.S_IXUSR)
    return str(file)


def rows(*vulns: object, skipped: int = 0) -> dict[str, object]:
    known = [{"name": f"a{number}", "version": "1.0", "vulns": one} for number, one in enumerate(vulns)]
    return {"dependencies": known + [{"name": "b", "skip_reason": "not found"}] * skipped, "fixes": []}


@pytest.mark.parametrize(
    ("answers", "code", "says"),
    [
        ({"osv": rows([], [])}, 0, "2 packages are known to osv, 0 are not"),
        ({"osv": rows([], [HOLE], skipped=1)}, 1, "a1 1.0: HOLE-1, mended in 2.0"),
        ({"pypi": rows([HOLE])}, 1, "HOLE-1"),
        ({"osv": rows(skipped=5), "pypi": rows([])}, 0, "1 packages are known to pypi"),
        ({"osv": rows(skipped=5)}, 0, "not run: no list of known holes could be reached"),
        ({}, 0, "pypi: no route to it"),
    ],
)
def test_a_hole_fails_and_silence_is_told(
    tmp_path: Path, capsys: pytest.CaptureFixture[str], answers: dict[str, object], code: int, says: str
) -> None:
    assert main([program(tmp_path, answers)]) == code
    assert says in capsys.readouterr().out


def test_every_lock_is_audited_and_a_program_that_is_not_there_is_told(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    assert {lock.name for lock in LOCKS} == {
        f".requirements{part}.lock" for part in ("", "-extras", "-test", "-dev")
    }
    assert main([str(tmp_path / "none")]) == 0
    assert "not run" in capsys.readouterr().out
