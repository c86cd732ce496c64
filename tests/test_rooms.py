"""The contracts on imports break when a room looks through a door, looks down, or is not in the picture."""

from __future__ import annotations

import os
import shutil
import subprocess
import sys
from pathlib import Path

import pytest

from tests.made import ROOT

#: What is added where -> which contract notices, in its own words.
BREACHES = {
    "a database in a formula": ("indices/growth.py", "import sqlalchemy", "know no door"),
    "the web in the report": ("reports/now.py", "import fastapi", "know no door"),
    "the network in a rule": ("rules/gap.py", "import httpx", "know no door"),
    "the scheduler in a rule": ("rules/gap.py", "import apscheduler", "know no door"),
    "the page in planning": ("planning/plan.py", "import planner.page", "One corridor"),
    "the store in a formula": ("indices/growth.py", "import planner.store", "One corridor"),
    "the mix in a rule": ("rules/gap.py", "import planner.mix", "One corridor"),
    "a room that nobody drew": ("attic/__init__.py", "", "One corridor"),
}


def _contracts(folder: Path) -> subprocess.CompletedProcess[str]:
    return subprocess.run(
        [Path(sys.executable).parent / "lint-imports", "--no-cache"],
        cwd=folder,
        env={**os.environ, "PYTHONPATH": str(folder), "COLUMNS": "200"},
        capture_output=True,
        text=True,
        check=False,
    )


@pytest.fixture
def copy(tmp_path: Path) -> Path:
    pytest.importorskip("importlinter", reason="import-linter is among the developers' requirements")
    shutil.copytree(ROOT / "planner", tmp_path / "planner", ignore=shutil.ignore_patterns("__pycache__"))
    shutil.copy(ROOT / "pyproject.toml", tmp_path)
    return tmp_path


def test_the_contracts_hold(copy: Path) -> None:
    found = _contracts(copy)
    assert found.returncode == 0, found.stdout


@pytest.mark.parametrize("breach", BREACHES)
def test_a_breach_breaks_the_contract(copy: Path, breach: str) -> None:
    where, line, notices = BREACHES[breach]
    file = copy / "planner" / where
    file.parent.mkdir(exist_ok=True)
    old = file.read_text(encoding="utf-8") if file.exists() else '"""New."""\n'
    file.write_text(f"{old}\n{line}\n", encoding="utf-8")
    found = _contracts(copy)
    assert found.returncode != 0, "no contract broke"
    assert notices in found.stdout
