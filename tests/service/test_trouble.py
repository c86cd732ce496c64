"""Trouble in and around passes: clocks that step, claims, faults of our own, pulls that fail, a store that is away."""

from __future__ import annotations

import asyncio
import logging
from dataclasses import replace
from datetime import UTC, datetime, timedelta
from pathlib import Path

import pytest
from fastapi.testclient import TestClient
from msgspec.structs import replace as with_rows

from planner.actions.one_pass import Passed
from planner.config.load import Config, load
from planner.errors import ForecastUnavailable
from planner.service import passes as passes_module
from planner.service.app import create_app
from planner.service.cache import ReportCache
from planner.service.passes import AGAIN_S, PassRunner
from planner.service.schedule import scheduled
from planner.store.records import StoreError
from planner.store.store import Store
from tests.made import stored
from tests.reports.made import demo_pass
from tests.service.conftest import Clock
from tests.service.test_passes import folder, looked, store

__all__ = ["folder", "store"]

HOUR_S = 3600.0


@pytest.fixture
def pulled(monkeypatch: pytest.MonkeyPatch) -> list[Config]:
    """Passes keep the demo's report under their own moment; the configs they were made with, in order."""
    made: list[Config] = []
    report, workings = demo_pass()

    def run(
        config: Config,
        store: Store,
        *,
        now: datetime,
        extra_faults: tuple[str, ...] = (),
        once: str | None = None,
        **_: object,
    ) -> Passed:
        made.append(config)
        forecast = with_rows(report.forecast, stale_at=now + timedelta(hours=6))
        found = with_rows(report, made_at=now, as_of=now, forecast=forecast)
        number = stored(store, found, workings, once=once)
        return Passed(report=found, workings=workings, faults=(), number=number)

    monkeypatch.setattr(passes_module, "run", run)
    return made


class Ticks:
    """A clock that nobody sets."""

    def __init__(self) -> None:
        self.now = 5.0

    def __call__(self) -> float:
        return self.now


def _runner(folder: Path, store: Store, clock: Clock) -> tuple[PassRunner, ReportCache, Ticks]:
    cache, ticks = ReportCache(clock), Ticks()
    return PassRunner(load(folder / "demo.toml"), store, cache, clock, ticks), cache, ticks


def _fails(monkeypatch: pytest.MonkeyPatch, fault: Exception) -> None:
    def run(*_: object, **named: object) -> Passed:
        raise fault

    monkeypatch.setattr(passes_module, "run", run)


@pytest.mark.parametrize(
    "back",
    [
        timedelta(minutes=90),
        pytest.param(timedelta(days=1), marks=pytest.mark.replay),
        pytest.param(timedelta(days=400), marks=pytest.mark.replay),
    ],
)
def test_a_clock_set_back_silences_nothing(
    folder: Path, store: Store, clock: Clock, pulled: list[Config], back: timedelta
) -> None:
    passes, cache, ticks = _runner(folder, store, clock)
    for _ in range(3):
        passes.run()
        clock.forward(hours=1)
        ticks.now += HOUR_S
    made = len(pulled)
    assert made == 3
    clock.now -= back
    for hour in range(5):
        assert passes.is_due, hour
        passes.run()
        assert not passes.is_due
        assert cache.made_at == clock.now
        clock.forward(hours=1)
        ticks.now += HOUR_S
    assert len(pulled) == made + 5


def test_a_clock_that_stands_still_silences_nothing(
    folder: Path, store: Store, clock: Clock, pulled: list[Config]
) -> None:
    passes, _, ticks = _runner(folder, store, clock)
    passes.run()
    assert not passes.is_due
    ticks.now += HOUR_S
    assert passes.is_due


def test_a_failed_first_pass_bars_no_other(
    folder: Path, store: Store, clock: Clock, pulled: list[Config], monkeypatch: pytest.MonkeyPatch
) -> None:
    good = passes_module.run
    _fails(monkeypatch, ForecastUnavailable("the sky is out of reach"))
    first, _, _ = _runner(folder, store, clock)
    first.run()
    monkeypatch.setattr(passes_module, "run", good)
    second, cache, _ = _runner(folder, store, clock)
    assert second.is_due
    second.run()
    assert cache.made_at == clock.now


def test_a_killed_pass_bars_another_for_no_longer_than_asking_may_take(
    folder: Path, store: Store, clock: Clock, pulled: list[Config], monkeypatch: pytest.MonkeyPatch
) -> None:
    class Killed(BaseException):
        pass

    def dies(*_: object, **named: object) -> Passed:
        raise Killed

    good = passes_module.run
    monkeypatch.setattr(passes_module, "run", dies)
    # A killed process gives nothing back.
    monkeypatch.setattr(Store, "release", lambda *_: None)
    first, _, _ = _runner(folder, store, clock)
    with pytest.raises(Killed):
        first.run()
    monkeypatch.setattr(passes_module, "run", good)
    second, cache, ticks = _runner(folder, store, clock)
    second.run()
    assert cache.made_at is None
    assert not second.may_try
    waited_s = 0.0
    while cache.made_at is None:
        ticks.now += AGAIN_S
        clock.forward(seconds=AGAIN_S)
        waited_s += AGAIN_S
        assert second.may_try
        second.run()
    assert waited_s <= second.config.forecast.budget_s + 90


def test_a_pass_made_by_hand_is_shown_at_the_next_look(
    folder: Path, store: Store, clock: Clock, pulled: list[Config]
) -> None:
    passes, cache, _ = _runner(folder, store, clock)
    passes.run()
    clock.forward(minutes=7)
    passes_module.run(passes.config, passes.store, now=clock.now)
    looked(passes)
    assert cache.made_at == clock.now


def test_a_fault_of_our_own_is_caught_told_in_health_and_once_in_the_log(
    folder: Path,
    store: Store,
    clock: Clock,
    pulled: list[Config],
    monkeypatch: pytest.MonkeyPatch,
    caplog: pytest.LogCaptureFixture,
) -> None:
    passes, cache, _ = _runner(folder, store, clock)
    passes.run()
    good = passes_module.run
    _fails(monkeypatch, ZeroDivisionError("division by zero"))
    with caplog.at_level(logging.WARNING):
        for _ in range(3):
            clock.forward(hours=1)
            passes.run()
            looked(passes)
    assert [record.message for record in caplog.records] == ["a pass failed"]
    health = TestClient(create_app(cache, clock=clock, passes=passes)).get("/health")
    assert health.status_code == 503
    assert "ZeroDivisionError" in health.json()["last_fault"]
    assert health.json()["failed_pulls"] == 3
    monkeypatch.setattr(passes_module, "run", good)
    passes.run()
    assert passes.last_fault is None
    assert TestClient(create_app(cache, clock=clock, passes=passes)).get("/health").status_code == 200


def test_health_fails_after_three_pulls_without_a_forecast_though_passes_are_made(
    folder: Path, store: Store, clock: Clock, pulled: list[Config], monkeypatch: pytest.MonkeyPatch
) -> None:
    made = passes_module.run

    def from_the_last_good_one(config: Config, store: Store, **named: object) -> Passed:
        found: Passed = made(config, store, **named)  # type: ignore[arg-type]
        # The kept forecast still counts as fresh: only the pulls fail.
        forecast = with_rows(found.report.forecast, stale_at=clock.now + timedelta(hours=9))
        report = with_rows(found.report, forecast=forecast)
        return replace(found, report=report, faults=("no answer",), is_pull_failed=True)

    monkeypatch.setattr(passes_module, "run", from_the_last_good_one)
    passes, cache, _ = _runner(folder, store, clock)
    client = TestClient(create_app(cache, clock=clock, passes=passes))
    found = []
    for _ in range(3):
        passes.run()
        found.append(client.get("/health").status_code)
        clock.forward(hours=1)
    assert found == [200, 200, 503]


def test_while_pulls_fail_and_nothing_is_shown_it_asks_more_and_more_seldom(
    folder: Path, store: Store, clock: Clock, monkeypatch: pytest.MonkeyPatch
) -> None:
    _fails(monkeypatch, ForecastUnavailable("the sky is out of reach"))
    passes, _, ticks = _runner(folder, store, clock)
    waits = []
    for _ in range(9):
        passes.run()
        since = ticks.now
        assert passes.is_due
        while not passes.may_try:
            ticks.now += 10.0
        waits.append(ticks.now - since)
    assert waits == [60, 120, 240, 480, 960, 1920, HOUR_S, HOUR_S, HOUR_S]


def test_two_changes_of_the_config_in_one_second_are_two(
    folder: Path, store: Store, clock: Clock, pulled: list[Config]
) -> None:
    passes, _, _ = _runner(folder, store, clock)
    passes.run()
    site = folder / "demo.toml"
    for name in ("Lower Thistlewick", "Upper Thistlewick"):
        text = site.read_text()
        start = text.index('name = "')
        site.write_text(text[:start] + f'name = "{name}"' + text[text.index("\n", start) :])
        looked(passes)
    assert [config.site.name for config in pulled][1:] == ["Lower Thistlewick", "Upper Thistlewick"]


def test_health_answers_with_the_store_away(
    folder: Path, store: Store, clock: Clock, pulled: list[Config], monkeypatch: pytest.MonkeyPatch
) -> None:
    passes, cache, _ = _runner(folder, store, clock)
    passes.run()

    def away(_: Store) -> None:
        raise StoreError("The store is away.")

    monkeypatch.setattr(Store, "outbox_counts", away)
    monkeypatch.setattr(Store, "newest_pass", away)
    looked(passes)
    health = TestClient(create_app(cache, clock=clock, passes=passes)).get("/health")
    assert (health.status_code, health.json()["store_fault"]) == (200, "The store is away.")
    assert health.json()["last_fault"] == "The store is away."


@pytest.mark.parametrize("fault", [StoreError("The store is away."), ValueError("incorrect header check")])
def test_a_stored_pass_that_cannot_be_read_keeps_nobody_from_starting(
    folder: Path,
    store: Store,
    clock: Clock,
    pulled: list[Config],
    monkeypatch: pytest.MonkeyPatch,
    fault: Exception,
) -> None:
    first, _, _ = _runner(folder, store, clock)
    first.run()
    with monkeypatch.context() as spoilt:

        def unreadable(_: Store) -> None:
            raise fault

        spoilt.setattr(passes_module, "stored_pass", unreadable)
        passes, cache, _ = _runner(folder, store, clock)
    assert str(fault) in str(passes.last_fault)
    assert cache.made_at is None
    clock.forward(hours=1)
    passes.run()
    assert (cache.made_at, passes.last_fault) == (clock.now, None)


def test_work_put_off_by_a_clock_set_back_is_called_all_the_same() -> None:
    """The scheduler believes the wall clock; what it holds back for a day is called within two of its intervals."""
    called: list[int] = []

    async def work() -> None:
        called.append(1)

    async def look() -> int:
        async with scheduled([work], 0.05) as scheduler:
            await asyncio.sleep(0.3)
            # As it stands after the clock went back a day.
            for job in scheduler.get_jobs():
                job.modify(next_run_time=datetime.now(UTC) + timedelta(days=1))
            before = len(called)
            for _ in range(200):
                await asyncio.sleep(0.05)
                if len(called) > before + 2:
                    break
            return len(called) - before

    assert asyncio.run(look()) > 2


def test_work_that_takes_long_is_not_begun_twice() -> None:
    running: list[int] = []
    most: list[int] = []

    async def work() -> None:
        running.append(1)
        most.append(len(running))
        await asyncio.sleep(0.2)
        running.pop()

    async def look() -> None:
        async with scheduled([work], 0.02):
            for _ in range(200):
                await asyncio.sleep(0.05)
                if len(most) > 2:
                    break

    asyncio.run(look())
    assert len(most) > 2
    assert max(most) == 1


def test_the_log_says_whose_pass_it_was_where_a_site_has_a_key_of_its_own(
    folder: Path,
    store: Store,
    clock: Clock,
    monkeypatch: pytest.MonkeyPatch,
    caplog: pytest.LogCaptureFixture,
) -> None:
    file = folder / "demo.toml"
    own = file.read_text(encoding="utf-8").replace("[site]", '[site]\nkey = "north"', 1)
    file.write_text(own, encoding="utf-8")
    _fails(monkeypatch, ForecastUnavailable("Nobody answers."))
    with caplog.at_level(logging.WARNING):
        _runner(folder, store, clock)[0].run()
    assert [record.getMessage() for record in caplog.records] == [
        f"a pass of {load(file).site.name} found: Nobody answers."
    ]
