"""haysel backup and restore: what they say, and that a site file is found as for every other command."""

from __future__ import annotations

import re
import shutil
from contextlib import closing
from dataclasses import replace
from pathlib import Path

import pytest

from planner.cli.commands import run
from planner.config.load import load
from planner.store.store import Store
from tests.cli.test_commands import haysel
from tests.made import ROOT
from tests.small_sites import folder_of
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
    assert "main: 1 entry of the diary put back, 0 lost." in done.stdout
    assert re.fullmatch(
        rf"(?s).*\ncopy\.zip of \w{{3}} \d+ \w{{3}} \d{{4}} \d\d:\d\d UTC restored\. {re.escape(rows)}\n",
        done.stdout,
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


def test_a_restore_says_what_comes_back_and_what_is_lost(
    site: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """Of every site in the store, before any of it is taken away."""
    copy, url = str(tmp_path / "copy.zip"), load(site).store.url
    assert run(["backup", copy, "--config", str(site)]) == 0
    with closing(Store.open(url)) as store:
        (first,) = store.entries()
        store.edit_entry(first.uuid, replace(FOLIAR, notes="windy"), NOW)
        store.add_entry(FOLIAR, NOW)
    with closing(Store.open(url, "hill")) as store:
        store.add_entry(FOLIAR, NOW)
    capsys.readouterr()
    assert run(["restore", copy, "--overwrite", "--config", str(site)]) == 0
    said, restored = capsys.readouterr().out.rsplit("\n", 2)[:2]
    assert "service must be stopped" in said
    assert said.splitlines()[-2:] == [
        "  hill: 0 entries of the diary put back, 1 lost.",
        "  main: 1 entry of the diary put back, 2 lost.",
    ]
    assert "restored" in restored


def test_a_folder_whose_sites_share_a_store_is_backed_up(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    files = folder_of(tmp_path / "sites", ("north", "south"))
    copy = str(tmp_path / "copy.zip")
    assert run(["backup", copy, "--config", str(files[0].parent)]) == 0
    assert run(["restore", copy, "--overwrite", "--config", str(files[0].parent)]) == 0
    files[1].write_text(files[1].read_text().replace("kept.db", "own.db"))
    capsys.readouterr()
    for command in (["backup", copy], ["restore", copy]):
        assert run([*command, "--config", str(files[0].parent)]) == 2
        told = " ".join(capsys.readouterr().err.split())
        assert "have 2 stores" in told
        assert f"{files[0]}, {files[1]}." in told


@pytest.mark.parametrize(
    "command", [["week"], ["diary", "list"], ["mix", "mow_green"], ["hindcast", "--year", "2020"]]
)
def test_a_command_of_one_site_says_so_where_it_is_given_a_folder(
    tmp_path: Path, command: list[str], capsys: pytest.CaptureFixture[str]
) -> None:
    files = folder_of(tmp_path / "sites", ("north", "south"))
    assert run([*command, "--config", str(files[0].parent)]) == 2
    told = " ".join(capsys.readouterr().err.split())
    assert told.startswith(
        f"{files[0].parent} is a folder; this command takes the file of one site, such as {files[0]}"
    )
