"""Several instances on one PostgreSQL: each site is one's to work for, and another's when that one dies."""

from __future__ import annotations

import os
import signal
import subprocess
import sys
import time
from collections import Counter
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from datetime import UTC, datetime, timedelta
from pathlib import Path

import httpx
import psycopg
import pytest

from planner.errors import PlannerError
from planner.service.sharing import LEASE_S, Share
from planner.store.leases import Leases
from planner.store.store import Store
from tests.forecast.conftest import Service, reply, service
from tests.forecast.payloads import open_meteo, raw
from tests.made import ROOT
from tests.small_sites import folder_of, kept_passes
from tests.store.conftest import postgres_url

__all__ = ["postgres_url", "service"]
#: Ends a test that hangs; what is waited for is there long before.
PATIENCE_S = 120.0
KEYS = [f"green-{number}" for number in range(20)]


class Ticks:
    """A clock that nobody sets, moved by the test."""

    def __init__(self) -> None:
        self.now = 1000.0

    def __call__(self) -> float:
        return self.now


@pytest.fixture
def leases() -> Iterator[Leases]:
    store = Store.open("sqlite://")
    yield Leases(store._engine)
    store.close()


def test_what_is_held_ends_by_itself_without_a_beat(leases: Leases) -> None:
    """As on a machine that stood still, or is cut off from the database: another may have the site by now."""
    ticks = Ticks()
    share = Share(leases, ["a", "b"], ticks)
    assert not share.holds("a")
    share.beat()
    assert share.holds("a")
    assert not share.holds("of another")
    ticks.now += LEASE_S - 1
    assert share.holds("b")
    ticks.now += 1
    assert not share.holds("b")
    share.beat()
    assert share.holds("b")


def test_a_beat_that_fails_prolongs_nothing(leases: Leases, monkeypatch: pytest.MonkeyPatch) -> None:
    ticks = Ticks()
    share = Share(leases, ["a"], ticks)
    share.beat()
    ticks.now += LEASE_S / 2
    monkeypatch.setattr(leases, "hold", lambda *_: (_ for _ in ()).throw(PlannerError("away")))
    with pytest.raises(PlannerError):
        share.beat()
    assert share.holds("a")
    ticks.now += LEASE_S / 2
    assert not share.holds("a")


def test_surplus_is_let_go_of_a_beat_before_others_may_take_it(leases: Leases) -> None:
    first, second = Share(leases, KEYS), Share(leases, KEYS)
    first.beat()
    second.beat()
    first.beat()
    held = {key for key in KEYS if first.holds(key)}
    assert len(held) == 10
    second.beat()
    # What the first is still ending is nobody's.
    assert not any(second.holds(key) for key in KEYS)
    first.beat()
    second.beat()
    assert {key for key in KEYS if second.holds(key)} == set(KEYS) - held


class Instance:
    """A process that serves the folder."""

    def __init__(self, folder: Path, begun: float) -> None:
        self.process = subprocess.Popen(
            [sys.executable, "-m", "tests.service.sharing_run", str(folder), str(begun)],
            stdout=subprocess.PIPE,
            text=True,
            cwd=ROOT,
            env={**os.environ, "PYTHONPATH": str(ROOT)},
        )
        assert self.process.stdout is not None
        self.port = int(self.process.stdout.readline())

    def made(self) -> dict[str, str | None]:
        """When the pass was made that it shows of each site."""
        rows = httpx.get(f"http://127.0.0.1:{self.port}/api/v1/sites", timeout=PATIENCE_S).json()["sites"]
        return {row["key"]: row["made_at"] for row in rows}


@contextmanager
def running(folder: Path, begun: float, many: int) -> Iterator[list[Instance]]:
    instances: list[Instance] = []
    try:
        for _ in range(many):
            instances.append(Instance(folder, begun))
        yield instances
    finally:
        for one in instances:
            one.process.kill()
            one.process.communicate()


def until(holds: Callable[[], bool], what: str) -> None:
    """Waits for it."""
    patient_until = time.monotonic() + PATIENCE_S
    while not holds():
        assert time.monotonic() < patient_until, what
        time.sleep(0.05)


@pytest.mark.replay
def test_the_sites_of_an_instance_that_is_killed_are_taken_up_and_no_slot_runs_twice(
    tmp_path: Path, postgres_url: str, service: Service
) -> None:
    start = datetime.now(UTC).replace(minute=0, second=0, microsecond=0) - timedelta(hours=6)
    service.says(reply(raw(open_meteo(240, start=start))))
    asks = f'every_minutes = 10\nbudget_s = 20\n\n[forecast.open-meteo]\nbase_url = "{service.url}"'
    folder_of(tmp_path / "sites", [], store=postgres_url, unkept=KEYS, forecast=asks)

    with psycopg.connect(postgres_url, autocommit=True) as server:

        def holders() -> dict[str, str]:
            return dict(server.execute("select site, instance from leases").fetchall())

        def shares() -> list[int]:
            return sorted(Counter(holders().values()).values())

        def sites_of(one: Instance) -> set[str]:
            return {key for key, holder in holders().items() if f":{one.process.pid}:" in holder}

        with running(tmp_path / "sites", time.time(), 3) as instances:
            first, *others = instances
            until(lambda: shares() == [6, 7, 7], "the sites were never shared")
            until(lambda: len(kept_passes(postgres_url)) == 20, "not every site has a pass")
            for one in instances:
                # Each shows the passes of all, whoever made them.
                until(lambda one=one: all(one.made().values()), "an instance does not show every site")  # type: ignore[misc]
            lost, before = sites_of(first), kept_passes(postgres_url)
            first.process.send_signal(signal.SIGKILL)
            first.process.wait()
            assert lost
            until(lambda: shares() == [10, 10], "nobody took up the sites of the one that was killed")
            assert sites_of(others[0]) | sites_of(others[1]) == set(KEYS)
            until(
                lambda: all(count > before[key] for key, count in kept_passes(postgres_url).items()),
                "not every site has a new pass",
            )
            for one in others:
                one.process.terminate()
            for one in others:
                one.process.wait(PATIENCE_S)
            # Who ends by itself leaves nothing held.
            assert holders() == {}
        done = "select site, count(*) from claims where job = 'pass' and done is not null group by site"
        # A slot is one row, and every pass was made in a slot of its own.
        assert dict(server.execute(done).fetchall()) == kept_passes(postgres_url)
