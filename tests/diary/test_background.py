"""What the service does on its own: messages go out by themselves, and the home device is kept on a real broker."""

from __future__ import annotations

import asyncio
import json
from datetime import UTC, datetime
from typing import Any
from uuid import uuid4

import pytest
from msgspec.structs import replace

from planner.config.kit_schema import HomePart, LogPart
from planner.config.load import Config
from planner.outputs import Message
from planner.service.cache import ReportCache
from planner.service.context import Context, background, home_device
from planner.store.store import Store
from tests.made import config
from tests.outputs.conftest import broker as broker  # noqa: PLC0414
from tests.outputs.test_mqtt import PATIENCE_S, retained, wipe
from tests.reports.made import bare, demo_pass

NOW = datetime(2026, 4, 8, 7, tzinfo=UTC)


def cache_with(name: str) -> ReportCache:
    cache = ReportCache(lambda: NOW)
    put(cache, name)
    return cache


def put(cache: ReportCache, name: str) -> None:
    """A pass of a site of that name."""
    report, workings = demo_pass()
    cache.put(replace(bare(NOW), site=replace(report.site, name=name)), workings)


def context(store: Store, found: Config, cache: ReportCache) -> Context:
    return Context(
        config=lambda: found,
        store=lambda: store,
        cache=cache,
        clock=lambda: NOW,
        token="",
        renew=lambda: None,
    )


def test_what_is_due_is_sent_while_the_service_runs(caplog: pytest.LogCaptureFixture) -> None:
    store, found = Store.open("sqlite://"), config(outputs=(LogPart(),), quiet_hours=None)
    message = Message(
        id="w", change=1, kind="wash", level="care", title="Care", body="Rain.", surface="apron strip"
    )
    store.keep_pass(NOW, {}, schema=1, outbox=message.for_outputs(["log"], NOW))

    async def serve() -> None:
        async with background(context(store, found, cache_with("x"))), asyncio.timeout(PATIENCE_S):
            while not any(one.state == "sent" for one in store.outbox_counts()):
                await asyncio.sleep(0.02)

    asyncio.run(serve())
    assert "Care: Rain." in caplog.text
    store.close()


def test_the_home_device_follows_the_passes(broker: tuple[str, int]) -> None:
    node = f"home_{uuid4().hex[:8]}"
    home = HomePart(host=broker[0], port=broker[1], node=node, prefix=f"{node}_hub")
    store, found = Store.open("sqlite://"), config(outputs=(), home=home)
    cache = cache_with("First light")
    shown: list[Any] = []

    async def site() -> str | None:
        kept = await retained(broker, f"haysel/{node}/state")
        return json.loads(kept[f"haysel/{node}/state"])["site"] if kept else None

    async def serve() -> None:
        async with background(context(store, found, cache)), asyncio.timeout(PATIENCE_S):
            for wanted in ("First light", "Second light"):
                while await site() != wanted:
                    await asyncio.sleep(0.02)
                shown.append(wanted)
                await asyncio.to_thread(put, cache, "Second light")
        await wipe(broker, node, f"{node}_hub")

    asyncio.run(serve())
    assert shown == ["First light", "Second light"]
    store.close()


def test_a_missing_secret_is_told_and_there_is_no_device(
    caplog: pytest.LogCaptureFixture, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.delenv("HAYSEL_TEST_BROKER_WORD", raising=False)
    home = HomePart(host="127.0.0.1", user="ida", password_env="HAYSEL_TEST_BROKER_WORD")
    assert home_device(config(home=home)) is None
    assert "HAYSEL_TEST_BROKER_WORD is not set" in caplog.text
