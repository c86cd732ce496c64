"""haysel backup and restore: what they say, and that a site file is found as for every other command."""

from __future__ import annotations

import re
import shutil
from contextlib import closing
from pathlib import Path

import pytest

from planner.config.load import load
from planner.store.store import Store
from tests.cli.test_commands import haysel
from tests.made import ROOT
from tests.store.test_diary import FOLIAR, NOW


@pytest.fixture
def site(tmp_path: Path) -> Path:
    """A site file whose store holds one diary entry."""
    shutil.copytree(ROOT / "config", tmp_path / "config")
    file = tmp_path / "config" / "demo.toml"
    with closing(Store.open(load(file).store.url)) as store:
        store.add_entry(FOLIAR, NOW)
    return file


def test_a_backup_and_its_restore_say_what_they_hold(site: Path, tmp_path: Path) -> None:
    done = haysel("backup", "copy.zip", "--config", str(site), cwd=tmp_path)
    assert done.returncode == 0, done.stderr
    rows = "Rows: diary 1, readings 0, forecasts 0, passes 0, warnings 0, messages 0."
    assert done.stdout == f"copy.zip written. {rows}\n"
    refused = haysel("restore", "copy.zip", "--config", str(site), cwd=tmp_path)
    assert refused.returncode == 2
    assert "--overwrite" in refused.stderr
    assert "diary 1," in " ".join(refused.stderr.split())
    done = haysel("restore", "copy.zip", "--overwrite", HAYSEL_CONFIG=str(site), cwd=tmp_path)
    assert done.returncode == 0, done.stderr
    assert re.fullmatch(
        rf"copy\.zip of \w{{3}} \d+ \w{{3}} \d{{4}} \d\d:\d\d UTC restored\. {re.escape(rows)}\n", done.stdout
    )


def test_a_site_file_with_a_fault_elsewhere_is_backed_up_all_the_same(site: Path, tmp_path: Path) -> None:
    site.write_text(site.read_text() + "\n[nonsense]\n")
    assert haysel("check", "--config", str(site)).returncode == 2
    assert haysel("backup", str(tmp_path / "copy.zip"), "--config", str(site)).returncode == 0


def test_what_is_no_backup_is_told_without_a_traceback(site: Path, tmp_path: Path) -> None:
    for command, says in (
        (("restore", str(site)), "is no backup"),
        (("restore", str(tmp_path)), "cannot be read"),
        (("backup", str(site)), "is no backup"),
    ):
        done = haysel(*command, "--config", str(site))
        assert done.returncode == 2, done.stderr
        assert says in " ".join(done.stderr.split())
        assert "Traceback" not in done.stderr
