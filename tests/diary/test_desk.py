"""The service's desk: messages go out by themselves, and the home device is kept on a real broker."""

from __future__ import annotations

import asyncio
import json
from datetime import UTC, datetime
from typing import Any
from uuid import uuid4

import pytest

from planner.answers import encode
from planner.config.kit_schema import HomePart, LogPart
from planner.config.load import Config
from planner.outputs import Message
from planner.service.desk import Desk, at_work, home_device
from planner.service.shelf import Shelf
from planner.store import Store
from tests.made import config
from tests.outputs.conftest import broker as broker  # noqa: PLC0414
from tests.outputs.test_mqtt import PATIENCE_S, retained, wipe

NOW = datetime(2026, 4, 8, 7, tzinfo=UTC)


def shelf_with(headline: str) -> Shelf:
    shelf = Shelf(lambda: NOW)
    lay(shelf, headline)
    return shelf


def lay(shelf: Shelf, headline: str) -> None:
    flat = {"headline": headline, "stale": False, "frost": None, "issued_at": NOW.isoformat()}
    flat |= {"stale_at": "2026-04-09T00:00:00Z"}
    shelf.put(NOW, datetime(2026, 4, 9, tzinfo=UTC), {"now": ("application/json", encode(flat))})


def desk(store: Store, found: Config, shelf: Shelf) -> Desk:
    return Desk(
        config=lambda: found, store=store, shelf=shelf, clock=lambda: NOW, token="", renew=lambda: None
    )


def test_what_is_due_is_sent_while_the_service_runs(caplog: pytest.LogCaptureFixture) -> None:
    store, found = Store.open("sqlite://"), config(outputs=(LogPart(),), quiet_hours=None)
    message = Message(
        id="w", change=1, kind="wash", level="heed", title="Heed", body="Rain.", surface="apron strip"
    )
    store.keep_pass(NOW, {}, outbox=message.for_outputs(["log"], NOW))

    async def serve() -> None:
        async with at_work(desk(store, found, shelf_with("x"))), asyncio.timeout(PATIENCE_S):
            while not any(one.state == "sent" for one in store.outbox_counts()):
                await asyncio.sleep(0.02)

    asyncio.run(serve())
    assert "Heed: Rain." in caplog.text
    store.close()


def test_the_home_device_follows_the_passes(broker: tuple[str, int]) -> None:
    node = f"desk_{uuid4().hex[:8]}"
    home = HomePart(host=broker[0], port=broker[1], node=node, prefix=f"{node}_hub")
    store, found = Store.open("sqlite://"), config(outputs=(), home=home)
    shelf = shelf_with("First light")
    told: list[Any] = []

    async def headline() -> str | None:
        kept = await retained(broker, f"haysel/{node}/state")
        return json.loads(kept[f"haysel/{node}/state"])["headline"] if kept else None

    async def serve() -> None:
        async with at_work(desk(store, found, shelf)), asyncio.timeout(PATIENCE_S):
            for wanted in ("First light", "Second light"):
                while await headline() != wanted:
                    await asyncio.sleep(0.02)
                told.append(wanted)
                await asyncio.to_thread(lay, shelf, "Second light")
        await wipe(broker, node, f"{node}_hub")

    asyncio.run(serve())
    assert told == ["First light", "Second light"]
    store.close()


def test_a_missing_secret_is_told_and_there_is_no_device(
    caplog: pytest.LogCaptureFixture, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.delenv("HAYSEL_TEST_BROKER_WORD", raising=False)
    home = HomePart(host="127.0.0.1", user="ida", password_env="HAYSEL_TEST_BROKER_WORD")
    assert home_device(config(home=home)) is None
    assert "HAYSEL_TEST_BROKER_WORD is not set" in caplog.text
