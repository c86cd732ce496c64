"""`.ci/run` keeps what it sets up outside the project only where it is whole and of the version it wants."""

from __future__ import annotations

import re
import shutil
import subprocess
from pathlib import Path

import pytest

from tests.made import ROOT

RUN = (ROOT / ".ci" / "run").read_text(encoding="utf-8")


def asked(folder: Path, *lines: str) -> str:
    """What bash says after the functions of the script, run as the script runs."""
    functions = "\n".join(re.findall(r"^(?:is_made|made)\(\) .*$", RUN, re.MULTILINE))
    script = "\n".join((functions, f'D="{folder}"', *lines))
    return subprocess.run(
        ["bash", "-euo", "pipefail", "-c", script], capture_output=True, text=True, check=True, timeout=60
    ).stdout.strip()


@pytest.mark.skipif(shutil.which("bash") is None, reason="no bash here")
def test_what_is_half_made_or_of_another_version_is_begun_anew(tmp_path: Path) -> None:
    folder = tmp_path / "it"
    look = 'if is_made "$D" "a==1"; then echo kept; else echo anew; fi'
    assert asked(folder, look) == "anew"
    folder.mkdir()
    (folder / "half").touch()
    assert asked(folder, look) == "anew"
    assert not folder.exists()
    folder.mkdir()
    assert asked(folder, 'made "$D" "a==1"', look) == "kept"
    assert asked(folder, look.replace("a==1", "a==2")) == "anew"
    assert not folder.exists()


def test_every_folder_outside_is_looked_at_so() -> None:
    folders = re.findall(r'(\w+)="\$\{TMPDIR:-/tmp\}/haysel-[a-z]+"', RUN)
    assert len(folders) == RUN.count("TMPDIR:-/tmp") > 2
    for name in folders:
        assert f'is_made "${name}"' in RUN
        assert f'  made "${name}"' in RUN
