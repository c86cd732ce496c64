"""What the service does on its own: messages go out by themselves, and the home device is kept on a real broker."""

from __future__ import annotations

import asyncio
import json
import threading
from dataclasses import replace as with_parts
from datetime import UTC, datetime, timedelta
from typing import Any
from uuid import uuid4

import aiomqtt
import pytest
from msgspec.structs import replace

from planner.config.kit_schema import HomePart, LogPart, MqttPart
from planner.config.load import Config
from planner.outputs import Message
from planner.service.cache import ReportCache
from planner.service.context import Context, background
from planner.service.lines import home_device
from planner.store.records import KeptWarning
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


def test_the_hub_reads_stale_within_a_minute_of_the_moment(broker: tuple[str, int]) -> None:
    node = f"home_{uuid4().hex[:8]}"
    home = HomePart(host=broker[0], port=broker[1], node=node, prefix=f"{node}_hub")
    store, found = Store.open("sqlite://"), config(outputs=(), home=home)
    report, workings = demo_pass()
    stale_at = report.forecast.stale_at
    # The service's own clock, that runs on from a second before.
    began = datetime.now(UTC)
    cache = ReportCache(lambda: stale_at - timedelta(seconds=1) + (datetime.now(UTC) - began))
    cache.put(report, workings)
    late_s: list[float] = []

    async def serve() -> None:
        told = with_parts(context(store, found, cache), clock=cache._clock)
        async with aiomqtt.Client(*broker, timeout=PATIENCE_S) as reader:
            await reader.subscribe(f"haysel/{node}/state")
            async with background(told), asyncio.timeout(PATIENCE_S):
                async for message in reader.messages:
                    if json.loads(bytes(message.payload))["stale"]:
                        late_s.append((cache._clock() - stale_at).total_seconds())
                        break
        await wipe(broker, node, f"{node}_hub")

    asyncio.run(serve())
    assert 0 <= late_s[0] < 60
    store.close()


def test_a_message_writes_the_diary_and_a_pass_follows(broker: tuple[str, int]) -> None:
    node = f"home_{uuid4().hex[:8]}"
    home = HomePart(host=broker[0], port=broker[1], node=node, prefix=f"{node}_hub", diary="token")
    store, found = Store.open("sqlite://"), config(outputs=(), home=home)
    passed = threading.Event()
    told = with_parts(context(store, found, cache_with("x")), token="long secret", renew=passed.set)
    job, surface = found.jobs[0], found.site.surfaces[0]
    order = {"key": "one", "entry": {"job": job.name, "surface": surface.name}}
    answers: list[Any] = []

    async def serve() -> None:
        async with aiomqtt.Client(*broker, timeout=PATIENCE_S) as hub, asyncio.timeout(PATIENCE_S):
            await hub.subscribe(f"haysel/{node}/availability")
            await hub.subscribe(f"haysel/{node}/diary/result")
            async with background(told):
                async for message in hub.messages:
                    if str(message.topic).endswith("result"):
                        answers.append(json.loads(bytes(message.payload)))
                    if len(answers) == 2:
                        break
                    sent = {**order, **({"token": "long secret"} if answers else {})}
                    await hub.publish(f"haysel/{node}/diary/add", json.dumps(sent), qos=1)
        await wipe(broker, node, f"{node}_hub")

    asyncio.run(serve())
    assert [one["written"] for one in answers] == [False, True]
    assert passed.wait(PATIENCE_S)
    assert len(store.entries()) == 1
    store.close()


def test_a_warning_that_stands_is_told_to_a_broker_that_lost_it(broker: tuple[str, int]) -> None:
    node = f"out_{uuid4().hex[:8]}"
    part = MqttPart(kind="mqtt", host=broker[0], port=broker[1], node=node)
    store, found = Store.open("sqlite://"), config(outputs=(part,), quiet_hours=None)
    message = Message(id="w", change=1, kind="wash", level="care", title="Care", body="Rain.", surface="bank")
    over = Message(id="v", change=2, kind="frost", level="care", title="Over", body="Over.", surface="bank")
    kept = [
        KeptWarning(
            id=one.id,
            kind=one.kind,
            surface=one.surface,
            state=state,
            level="care",
            document={},
            first_at=NOW,
            changed_at=NOW,
            change=one.change,
        )
        for one, state in ((message, "raised"), (over, "over"))
    ]
    sent = [row for one in (message, over) for row in one.for_outputs(["mqtt"], NOW)]
    store.keep_pass(NOW, {}, schema=1, warnings=kept, outbox=sent)
    for row in store.take_due(NOW, 60.0, limit=9):
        store.mark_sent(row.id, NOW)
    topic = f"haysel/{node}/warning/wash/bank"

    async def serve() -> dict[str, str]:
        async with background(context(store, found, cache_with("x"))), asyncio.timeout(PATIENCE_S):
            while topic not in (there := await retained(broker, f"haysel/{node}/#")):
                await asyncio.sleep(0.02)
        await wipe(broker, node, f"{node}_none")
        return there

    there = asyncio.run(serve())
    assert set(there) == {topic}
    assert Message.from_dict(json.loads(there[topic])) == message
    store.close()


def test_a_missing_secret_is_told_and_there_is_no_device(
    caplog: pytest.LogCaptureFixture, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.delenv("HAYSEL_TEST_BROKER_WORD", raising=False)
    home = HomePart(host="127.0.0.1", user="ida", password_env="HAYSEL_TEST_BROKER_WORD")
    assert home_device(config(home=home)) is None
    assert "HAYSEL_TEST_BROKER_WORD is not set" in caplog.text
