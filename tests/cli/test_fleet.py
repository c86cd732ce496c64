"""haysel fleet on real workers: every site has its pass once, whichever worker dies, and whatever a site does."""

from __future__ import annotations

import json
import os
import signal
import sys
import time
from collections.abc import Iterator
from functools import partial
from importlib.util import find_spec
from pathlib import Path
from typing import Any

import pytest

from planner.cli.cluster import cluster, on_cluster
from planner.cli.commands import run as main
from planner.cli.many_sites import SitePass, no_pass, site_pass
from planner.config.load import load
from planner.errors import InputError
from planner.store.store import Store
from tests.small_sites import folder_of, kept_passes

if find_spec("distributed") is None:
    if os.environ.get("CI") == "true":
        pytest.fail("the distributed package is not installed", pytrace=False)
    pytest.skip("the distributed package is not installed", allow_module_level=True)

from distributed import LocalCluster  # noqa: E402 behind the look whether it is there


@pytest.fixture
def sites(tmp_path: Path) -> list[Path]:
    """Six sites in one store, with a forecast kept for each but the last."""
    return folder_of(tmp_path / "sites", "abcde", unkept=["unkept"])


@pytest.fixture(scope="module")
def client() -> Iterator[Any]:
    """Two workers, each a process of its own that is begun anew when it dies."""
    with pytest.MonkeyPatch.context() as patch:
        # Two deaths over a site, and two more once it is alone: so many workers need not be begun.
        patch.setattr("planner.cli.cluster._DEATHS", 1)
        with cluster(None, 2) as made:
            yield made


def dies_on_the_way(file: Path, marks: Path, once: str) -> SitePass:
    """A pass; the first over `b` takes its worker with it before it is kept, the first over `d` when it is kept."""
    if file.stem not in ("b", "d") or (marks / file.stem).exists():
        return site_pass(file, once=once, kept=True)
    (marks / file.stem).touch()
    if file.stem == "b":
        # Within the transaction, with the rows of the pass written.
        Store._keep_warnings = dies  # type: ignore[method-assign,assignment]
    site_pass(file, once=once, kept=True)
    return dies()


def dies(*_: object) -> SitePass:
    os.kill(os.getpid(), signal.SIGKILL)
    raise AssertionError


def test_a_lost_worker_loses_nothing_and_doubles_nothing(
    client: Any, sites: list[Path], tmp_path: Path
) -> None:
    work = partial(dies_on_the_way, marks=tmp_path, once="fleet 1")
    found = {one.key: one for one in on_cluster(client, work, sites, no_pass)}
    assert (tmp_path / "b").exists()
    assert (tmp_path / "d").exists()
    assert set(found) == {"a", "b", "c", "d", "e", "unkept"}
    assert [key for key, one in found.items() if one.made_at is None] == ["unkept"], found
    assert all(one.headline for key, one in found.items() if key != "unkept")
    assert "--kept" in found["unkept"].faults[0]
    assert kept_passes(load(sites[0]).store.url) == dict.fromkeys("abcde", 1)


@pytest.mark.replay
def test_a_worker_killed_from_outside_loses_nothing(client: Any, sites: list[Path]) -> None:
    pids = client.run(os.getpid)
    found = []
    for one in on_cluster(client, partial(site_pass, once="fleet 1", kept=True), sites[:-1], no_pass):
        if not found:
            os.kill(next(iter(pids.values())), signal.SIGKILL)
        found.append(one)
    assert sorted(one.key for one in found if one.made_at) == list("abcde")
    assert kept_passes(load(sites[0]).store.url) == dict.fromkeys("abcde", 1)


def kills_its_worker(file: Path, killer: str) -> SitePass:
    if file.stem == killer:
        os._exit(9)
    return site_pass(file, once="fleet 1", kept=True)


@pytest.mark.replay
def test_a_site_that_kills_its_workers_is_given_up_and_named(client: Any, sites: list[Path]) -> None:
    found = {
        one.key: one for one in on_cluster(client, partial(kills_its_worker, killer="c"), sites[:-1], no_pass)
    }
    assert found["c"].made_at is None
    assert "Given up" in found["c"].faults[0]
    assert [key for key, one in sorted(found.items()) if one.made_at] == list("abde")


def test_the_command_tells_each_site_and_every_call_makes_a_pass(
    client: Any, sites: list[Path], capsys: pytest.CaptureFixture[str]
) -> None:
    asked = ["fleet", "--config", str(sites[0].parent), "--kept", "--scheduler", client.scheduler.address]
    assert main([*asked, "--json"]) == 0
    told = capsys.readouterr()
    rows = {row["key"]: row for row in json.loads(told.out)}
    assert set(rows) == {"a", "b", "c", "d", "e", "unkept"}
    assert set(rows["a"]) == {"key", "name", "file", "made_at", "headline", "faults"}
    assert rows["unkept"]["made_at"] is None
    assert told.err.splitlines()[-1] == "6 of 6 sites done."
    assert main(asked) == 0
    assert kept_passes(load(sites[0]).store.url) == dict.fromkeys("abcde", 2)
    lines = capsys.readouterr().out.splitlines()
    assert len([line for line in lines if not line.startswith(" ")]) == 6
    assert max(map(len, lines)) <= 80
    week = Path("fixtures/demo/week.csv")
    assert main([*[word for word in asked if word != "--kept"], "--weather", str(week), "--json"]) == 0
    replays = json.loads(capsys.readouterr().out)
    assert all(one["replay"]["hours"] > 100 for one in replays)
    assert len(replays) == 6


def test_a_worker_of_another_version_is_told(
    client: Any, sites: list[Path], monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr("planner.cli.cluster.__version__", "9.9")
    (found,) = on_cluster(client, partial(site_pass, once="fleet 1", kept=True), sites[:1], no_pass)
    assert found.made_at is None
    assert "9.9" in found.faults[0]


def hangs(file: Path) -> SitePass:
    while file.stem != "a":
        time.sleep(0.01)
    return no_pass(file, "done")


@pytest.mark.replay
def test_a_scheduler_that_is_lost_ends_the_fleet_and_every_site_is_told(sites: list[Path]) -> None:
    other, found = LocalCluster(n_workers=1, threads_per_worker=1, dashboard_address="127.0.0.1:0"), []
    with other, cluster(other.scheduler_address, 1) as lost:
        for one in on_cluster(lost, hangs, sites, no_pass):
            found.append(one)
            other.close()
    assert [one.key for one in found][0] == "a"
    assert sorted(one.key for one in found) == ["a", "b", "c", "d", "e", "unkept"]
    assert all("scheduler was lost" in one.faults[0] for one in found[1:])


@pytest.mark.parametrize(
    ("options", "says"),
    [
        (["--scheduler", "tcp://127.0.0.1:9"], "No Dask scheduler answers at tcp://127.0.0.1:9"),
        (["--scheduler", "tcp://127.0.0.1:9", "--workers", "2"], "either --scheduler"),
        (["--kept", "--year", "2024"], "--kept is for passes"),
    ],
)
def test_what_cannot_be_is_told(
    sites: list[Path],
    options: list[str],
    says: str,
    capsys: pytest.CaptureFixture[str],
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    monkeypatch.setattr("planner.cli.cluster._ANSWERS_WITHIN_S", 0.2)
    assert main(["fleet", "--config", str(sites[0].parent), *options]) == 2
    assert says in " ".join(capsys.readouterr().err.split())


def test_without_the_package_the_command_says_how_to_get_it(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setitem(sys.modules, "distributed", None)
    with pytest.raises(InputError, match="pip install .*requirements-extras.lock"), cluster(None, 2):
        pass
