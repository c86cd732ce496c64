"""A stored pass that is not to be shown, of another version or place: said in words, and replaced by the next one."""

from __future__ import annotations

import shutil
import subprocess
import sys
from dataclasses import replace
from pathlib import Path

import pytest

from planner.actions import one_pass
from planner.actions.stored import stored_pass
from planner.config.load import Config, load
from planner.errors import OtherSchema
from planner.forecast import Fetched
from planner.forecast.recorded import read_file
from planner.reports.rows import SCHEMA
from planner.service.app import create_app
from planner.service.cache import ReportCache
from planner.service.passes import PassRunner
from planner.store.store import Store
from tests.cli.test_commands import WEEK, haysel
from tests.made import ROOT, stored
from tests.reports.made import NOW, demo_pass

READS = [["week"], ["now"], ["windows"], ["explain", "foliar_feed", "13:00"]]


def opened(config: Config) -> Store:
    return Store.open(config.store.url, site=config.site.key, place=config.site.place)


def site(folder: Path, schema: int, **changes: object) -> Path:
    """A site file beside a store that holds a pass of a schema; the site is changed after the pass."""
    shutil.copytree(ROOT / "config", folder, dirs_exist_ok=True)
    config = load(folder / "demo.toml")
    store = opened(config)
    report, workings = demo_pass()
    stored(store, report, workings, schema=schema)
    store.close()
    text = (folder / "demo.toml").read_text()
    for old, new in changes.items():
        assert old in text
        text = text.replace(f"{old} = ", f"{old} = {new}  # was ", 1)
    (folder / "demo.toml").write_text(text)
    return folder / "demo.toml"


@pytest.fixture(scope="module")
def other(tmp_path_factory: pytest.TempPathFactory) -> Path:
    return site(tmp_path_factory.mktemp("other"), SCHEMA + 1)


@pytest.fixture(scope="module")
def elsewhere(tmp_path_factory: pytest.TempPathFactory) -> Path:
    return site(tmp_path_factory.mktemp("elsewhere"), SCHEMA, latitude_deg=45.0)


@pytest.mark.parametrize("command", READS, ids=lambda words: words[0])
def test_a_pass_of_another_version_is_said_to_be_one(other: Path, command: list[str]) -> None:
    done = haysel(*command, "--config", str(other))
    assert done.returncode == 3, done.stderr
    words = " ".join(done.stderr.split())
    assert f"The stored report is of schema {SCHEMA + 1}, made by another version of Haysel" in words
    assert f"this one reads schema {SCHEMA}" in words
    assert "run `haysel refresh`" in words
    assert "Traceback" not in done.stderr
    assert done.stdout == ""


@pytest.mark.parametrize("command", READS, ids=lambda words: words[0])
def test_a_pass_of_another_place_is_not_shown(elsewhere: Path, command: list[str]) -> None:
    done = haysel(*command, "--config", str(elsewhere))
    assert done.returncode == 3, done.stderr
    assert "No pass is stored yet for this site and place." in " ".join(done.stderr.split())
    assert "Traceback" not in done.stderr
    assert done.stdout == ""


def test_a_pass_whose_report_is_spoilt_is_said_to_be_so(tmp_path: Path) -> None:
    file = site(tmp_path, SCHEMA)
    store = opened(load(file))
    store.keep_pass(NOW, {"report": b'{"schema":1', "workings": b""}, schema=SCHEMA)
    store.close()
    for command in READS:
        done = haysel(*command, "--config", str(file))
        assert done.returncode == 3, (command, done.stderr)
        assert "cannot be read" in done.stderr
        assert "Traceback" not in done.stderr


def test_a_service_that_finds_another_version_starts_without_a_report(
    other: Path, caplog: pytest.LogCaptureFixture
) -> None:
    caplog.set_level("INFO", "planner.passes")
    config = load(other)
    store, cache = opened(config), ReportCache(lambda: NOW)
    passes = PassRunner(config, store, cache, lambda: NOW)
    assert cache.made_at is None
    assert passes.is_due
    assert f"of schema {SCHEMA + 1}" in caplog.text
    create_app(cache, clock=lambda: NOW, passes=passes)
    with pytest.raises(OtherSchema, match=f"of schema {SCHEMA + 1}"):
        stored_pass(store)
    store.close()


def test_a_service_of_another_place_starts_without_a_report(elsewhere: Path) -> None:
    config = load(elsewhere)
    store, cache = opened(config), ReportCache(lambda: NOW)
    PassRunner(config, store, cache, lambda: NOW)
    assert cache.made_at is None
    assert stored_pass(store) is None
    store.close()


def test_the_next_pass_replaces_one_of_another_version(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    file = site(tmp_path, SCHEMA + 1)
    config = replace(load(file), outputs=())

    def fetched_now(*_: object, now: object) -> Fetched:
        forecast = read_file(Path(WEEK), fetched_at=NOW)
        return Fetched(forecast=forecast, ensemble=None, answers={}, stale=False, age_h=0.0, faults=())

    monkeypatch.setattr(one_pass, "fetched_now", fetched_now)
    store, cache = opened(config), ReportCache(lambda: NOW)
    PassRunner(config, store, cache, lambda: NOW).run()
    assert cache.made_at == NOW
    found = stored_pass(store)
    assert found is not None
    assert found[0] == cache.snapshot().report
    store.close()
    done = haysel("week", "--config", str(file))
    assert done.returncode == 0, done.stderr


LOADED = """
import sys
import planner.service.app
print(",".join(name for name in sys.argv[1:] if name in sys.modules))
"""


def test_the_service_loads_no_tables_and_no_solver() -> None:
    names = ["pandas", "scipy", "matplotlib"]
    done = subprocess.run(
        [sys.executable, "-c", LOADED, *names, "fastapi"],
        cwd=ROOT,
        capture_output=True,
        text=True,
        check=True,
        timeout=600,
    )
    assert done.stdout.strip() == "fastapi"
