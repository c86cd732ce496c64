"""Several instances on one PostgreSQL: each site is one's to work for, and another's when that one dies."""

from __future__ import annotations

import asyncio
import os
import signal
import subprocess
import sys
import threading
import time
from collections import Counter
from collections.abc import Callable, Iterator
from contextlib import AsyncExitStack, contextmanager
from datetime import UTC, datetime, timedelta
from pathlib import Path
from typing import Any

import httpx
import psycopg
import pytest

from planner.actions.one_pass import Passed
from planner.config.load import Config, load
from planner.errors import PlannerError
from planner.service import context as context_module
from planner.service import passes as passes_module
from planner.service import sharing as sharing_module
from planner.service.app import create_app
from planner.service.cache import ReportCache
from planner.service.context import Context, background
from planner.service.passes import PassRunner
from planner.service.sharing import LEASE_S, Share
from planner.store.leases import Leases
from planner.store.records import AlreadyKept
from planner.store.store import Store
from tests.forecast.conftest import Service, reply, service
from tests.forecast.payloads import open_meteo, raw
from tests.made import ROOT
from tests.service.conftest import Clock
from tests.service.test_passes import folder, looked, pulled, store
from tests.small_sites import folder_of, kept_passes
from tests.store.conftest import postgres_url

__all__ = ["folder", "postgres_url", "pulled", "service", "store"]
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


def test_who_does_not_work_for_a_site_makes_no_pass_of_it_and_shows_those_of_the_others(
    folder: Path, store: Store, clock: Clock, pulled: list[Config]
) -> None:
    ours = [False]
    cache = ReportCache(clock)
    waits = PassRunner(load(folder / "demo.toml"), store, cache, clock, is_ours=lambda: ours[0])
    works = PassRunner(load(folder / "demo.toml"), store, ReportCache(clock), clock)
    assert waits.is_due
    assert not waits.may_try
    works.run()
    looked(waits)
    assert cache.made_at == clock.now
    text = (folder / "demo.toml").read_text(encoding="utf-8")
    (folder / "demo.toml").write_text(text.replace("cut_height_mm = 3.8", "cut_height_mm = 4.2"))
    looked(waits)
    assert len(pulled) == 1
    looked(works)
    assert len(pulled) == 2
    ours[0] = True
    assert waits.may_try


def test_a_pass_that_another_was_faster_with_is_shown_as_that_one(
    folder: Path, store: Store, clock: Clock, pulled: list[Config], monkeypatch: pytest.MonkeyPatch
) -> None:
    """This one stood still until its claim had run out, and another was let at the slot."""
    cache = ReportCache(clock)
    slow = PassRunner(load(folder / "demo.toml"), store, cache, clock)
    made = passes_module.run

    def overtaken(*given: Any, **named: Any) -> Passed:
        made(*given, **named)
        raise AlreadyKept("the slot is done")

    monkeypatch.setattr(passes_module, "run", overtaken)
    slow.run()
    assert cache.made_at == clock.now
    assert (slow.last_fault, slow.failed_pulls) == (None, 0)


def test_a_config_that_changed_before_a_site_was_taken_up_is_worked_with_at_once(
    folder: Path, store: Store, clock: Clock, pulled: list[Config]
) -> None:
    """Who worked for it may have ended before it saw the change."""
    ours = [False]
    takes = PassRunner(load(folder / "demo.toml"), store, ReportCache(clock), clock, is_ours=lambda: ours[0])
    works = PassRunner(load(folder / "demo.toml"), store, ReportCache(clock), clock)
    works.run()
    looked(takes)
    text = (folder / "demo.toml").read_text(encoding="utf-8")
    (folder / "demo.toml").write_text(text.replace("cut_height_mm = 3.8", "cut_height_mm = 4.2"))
    looked(takes)
    assert len(pulled) == 1
    ours[0] = True
    looked(takes)
    assert pulled[1:] == [takes.config]
    looked(takes)
    assert len(pulled) == 2
    # One that the other has worked with is not worked with again.
    ours[0] = False
    (folder / "demo.toml").write_text(text)
    looked(takes)
    clock.forward(hours=1)
    looked(works)
    looked(takes)
    ours[0] = True
    assert not takes.has_changed


def test_what_failed_here_is_over_once_the_pass_of_another_is_shown(
    folder: Path, store: Store, clock: Clock, pulled: list[Config], monkeypatch: pytest.MonkeyPatch
) -> None:
    ours = [True]
    lost = PassRunner(load(folder / "demo.toml"), store, ReportCache(clock), clock, is_ours=lambda: ours[0])
    works = PassRunner(load(folder / "demo.toml"), store, ReportCache(clock), clock)
    with monkeypatch.context() as away:
        away.setattr(passes_module, "run", lambda *_, **__: (_ for _ in ()).throw(PlannerError("no way out")))
        for _ in range(3):
            lost.run()
    works.run()
    lost.look()
    assert (lost.failed_pulls, lost.last_fault) == (3, "no way out")
    ours[0] = False
    clock.forward(hours=1)
    works.run()
    lost.look()
    assert (lost.failed_pulls, lost.last_fault) == (0, None)


def test_a_newer_pass_of_a_machine_whose_clock_is_behind_is_shown(
    folder: Path, store: Store, clock: Clock, pulled: list[Config]
) -> None:
    cache = ReportCache(clock)
    shows = PassRunner(load(folder / "demo.toml"), store, cache, clock, is_ours=lambda: False)
    PassRunner(load(folder / "demo.toml"), store, ReportCache(clock), clock).run()
    shows.look()
    behind = clock.now - timedelta(seconds=20)
    passes_module.run(shows.config, shows.store, now=behind)
    shows.look()
    assert cache.made_at == behind


@pytest.mark.parametrize("is_ours", [True, False])
def test_a_renewal_sends_only_where_the_site_is_ours(
    folder: Path, store: Store, clock: Clock, monkeypatch: pytest.MonkeyPatch, is_ours: bool
) -> None:
    asked: list[object] = []
    monkeypatch.setattr(passes_module, "again", lambda *_, sends, **__: asked.append(sends))
    PassRunner(load(folder / "demo.toml"), store, ReportCache(clock), clock, is_ours=lambda: is_ours).renew()
    assert asked == [is_ours]


def test_passes_that_hang_hold_up_neither_the_leases_nor_what_is_sent_or_drawn(
    folder: Path, store: Store, clock: Clock, leases: Leases, monkeypatch: pytest.MonkeyPatch
) -> None:
    """As thirty sites whose weather service does not answer."""
    goes_on, begun, beats, sent = threading.Event(), Counter[str](), Counter[str](), Counter[str]()

    class Hangs:
        is_due = may_try = is_ours = True
        has_changed, failed_pulls, last_fault = False, 0, None

        def run(self) -> None:
            begun["passes"] += 1
            goes_on.wait(PATIENCE_S)

        def look(self) -> None:
            begun["looks"] += 1

        def kept_calendar(self) -> None:
            return None

    monkeypatch.setattr(sharing_module, "BEAT_S", 0.01)
    monkeypatch.setattr(context_module, "SEND_EVERY_S", 0.01)
    monkeypatch.setattr(context_module, "send_due", lambda *_: (sent.update(sent=1), []))
    share = Share(leases, KEYS)
    monkeypatch.setattr(share, "beat", lambda: beats.update(beat=1))
    context = Context(
        config=lambda: load(folder / "demo.toml"),
        store=lambda: store,
        cache=ReportCache(clock),
        clock=clock,
        token="",
        renew=lambda: None,
    )

    async def live() -> None:
        async with AsyncExitStack() as opened:
            for _ in range(40):
                app = create_app(ReportCache(clock), clock=clock, passes=Hangs())  # type: ignore[arg-type]
                await opened.enter_async_context(app.router.lifespan_context(app))
            while not begun["passes"]:
                await asyncio.sleep(0.01)
            await opened.enter_async_context(share.kept())
            await opened.enter_async_context(background(context))
            while beats["beat"] < 5 or sent["sent"] < 2 or begun["looks"] < 40:
                await asyncio.sleep(0.01)
            await asyncio.to_thread(bytes)
            assert begun["passes"] < 20
            goes_on.set()

    try:
        asyncio.run(asyncio.wait_for(live(), PATIENCE_S))
    finally:
        goes_on.set()


def test_only_who_works_for_a_site_sends_and_keeps_its_lines(
    store: Store, clock: Clock, monkeypatch: pytest.MonkeyPatch
) -> None:
    ours, told = [False], Counter[str]()

    @contextmanager
    def lines(_: Context) -> Iterator[list[Any]]:
        told["opened"] += 1
        yield []
        told["closed"] += 1

    monkeypatch.setattr("planner.service.lines.lines", lines)
    monkeypatch.setattr(context_module, "OURS_EVERY_S", 0.01)
    monkeypatch.setattr(context_module, "SEND_EVERY_S", 0.01)
    monkeypatch.setattr(context_module, "send_due", lambda *_: (told.update(sent=1), []))
    context = Context(
        config=lambda: load(ROOT / "config" / "demo.toml"),
        store=lambda: store,
        cache=ReportCache(clock),
        clock=clock,
        token="",
        renew=lambda: None,
        is_ours=lambda: ours[0],
    )

    async def live() -> None:
        async with background(context):
            # Some looks later, and as many are needed: the other end waits until it happens.
            for _ in range(5):
                await asyncio.sleep(0.01)
            assert not told
            ours[0] = True
            while not (told["opened"] and told["sent"]):
                await asyncio.sleep(0.01)
            ours[0] = False
            while not told["closed"]:
                await asyncio.sleep(0.01)
            assert told["opened"] == 1

    asyncio.run(asyncio.wait_for(live(), PATIENCE_S))


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
        slots, made = dict(server.execute(done).fetchall()), kept_passes(postgres_url)
        # A slot is one row, and every slot that is done left one pass. On a busy machine a lease may run out under a
        # pass and the next be kept before it: then it is made anew of what is known by then, and kept as that slot's.
        assert made == slots
