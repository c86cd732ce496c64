"""What the service does on its own: messages go out by themselves, and the home device is kept on a real broker."""

from __future__ import annotations

import asyncio
import json
import threading
from dataclasses import replace as with_parts
from datetime import UTC, datetime, timedelta
from pathlib import Path
from typing import Any
from uuid import uuid4

import aiomqtt
import pytest
from msgspec.structs import replace

from planner.config.kit_schema import HomePart, LogPart, MqttPart
from planner.config.load import Config
from planner.outputs import Message
from planner.outputs.mqtt import Broker
from planner.service.cache import ReportCache
from planner.service.context import Context, background
from planner.service.lines import home_device, orders_of
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


def test_a_fault_ends_nothing_that_the_service_does_again_and_again(
    caplog: pytest.LogCaptureFixture, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Each is called again after it failed, and its fault stands in the log once."""
    store, found, cache = Store.open("sqlite://"), config(outputs=(), quiet_hours=None), cache_with("x")
    calls = {"sending": 0, "turning": 0}

    def send(*_: object) -> None:
        calls["sending"] += 1
        raise ZeroDivisionError("while sending")

    def turn() -> None:
        calls["turning"] += 1
        raise ZeroDivisionError("while turning")

    monkeypatch.setattr("planner.service.context.send_due", send)
    monkeypatch.setattr("planner.service.context.SEND_EVERY_S", 0.01)
    monkeypatch.setattr("planner.service.context.TURN_WITHIN_S", 0.01)
    monkeypatch.setattr(cache, "turn", turn)

    async def serve() -> None:
        async with background(context(store, found, cache)), asyncio.timeout(PATIENCE_S):
            while min(calls.values()) < 3:
                await asyncio.sleep(0.01)

    asyncio.run(serve())
    for fault in ("while sending", "while turning"):
        assert [
            record.exc_info is not None for record in caplog.records if fault in str(record.exc_info)
        ] == [True]
    store.close()


def test_one_that_listens_and_fails_keeps_no_other_from_hearing(caplog: pytest.LogCaptureFixture) -> None:
    cache, heard = ReportCache(lambda: NOW), []

    def fails() -> None:
        raise ZeroDivisionError("deaf")

    stop = cache.listen(fails)
    cache.listen(lambda: heard.append(1))
    put(cache, "one")
    put(cache, "two")
    assert heard == [1, 1]
    assert len(caplog.records) == 1
    stop()
    put(cache, "three")
    assert heard == [1, 1, 1]


def test_a_certificate_that_is_not_there_is_told_and_looked_for_again(
    tmp_path: Path, caplog: pytest.LogCaptureFixture, monkeypatch: pytest.MonkeyPatch
) -> None:
    home = HomePart(host="127.0.0.1", port=9, tls=True, ca_file=str(tmp_path / "ca.pem"))
    store, found = Store.open("sqlite://"), config(outputs=(), home=home)
    tried: list[int] = []
    client = Broker.client

    def counted(self: Broker, will_topic: str | None = None) -> aiomqtt.Client:
        tried.append(1)
        return client(self, will_topic)

    monkeypatch.setattr(Broker, "client", counted)
    monkeypatch.setattr("planner.service.lines.AGAIN_S", 0.01)

    async def serve() -> None:
        async with background(context(store, found, cache_with("x"))), asyncio.timeout(PATIENCE_S):
            while len(tried) < 3:
                await asyncio.sleep(0.01)

    asyncio.run(serve())
    assert caplog.text.count("ca.pem cannot be read") == 1
    store.close()


def test_orders_go_by_the_rule_in_force_when_they_come() -> None:
    store, home = Store.open("sqlite://"), HomePart(host="127.0.0.1", diary="broker")
    now_in_force = [config(outputs=(), home=home)]
    told = with_parts(context(store, now_in_force[0], cache_with("x")), config=lambda: now_in_force[0])
    read = orders_of(told)
    assert read is not None
    job, surface = now_in_force[0].jobs[0], now_in_force[0].site.surfaces[0]

    def sent(key: str) -> Any:
        return json.loads(
            read(
                json.dumps({"key": key, "entry": {"job": job.name, "surface": surface.name}}).encode(), False
            )
        )

    assert sent("one")["written"]
    for rule, says in (("token", "no write token"), ("off", "is off")):
        now_in_force[0] = config(outputs=(), home=home.model_copy(update={"diary": rule}))
        assert says in sent(rule)["says"]
    now_in_force[0] = config(outputs=(), home=None)
    assert "is off" in sent("none")["says"]
    assert len(store.entries()) == 1
    store.close()


def test_many_messages_make_few_threads_and_the_service_need_not_wait_for_them() -> None:
    store, home = Store.open("sqlite://"), HomePart(host="127.0.0.1", diary="broker")
    found = config(outputs=(), home=home)
    go_on, begun = threading.Event(), threading.Event()
    passed: list[bool] = []

    def slow() -> None:
        passed.append(threading.current_thread().daemon)
        begun.set()
        go_on.wait(PATIENCE_S)

    told = with_parts(context(store, found, cache_with("x")), renew=slow)
    read = orders_of(told)
    assert read is not None
    job, surface = found.jobs[0], found.site.surfaces[0]
    before = threading.active_count()
    for number in range(20):
        order = {"key": f"{number}", "entry": {"job": job.name, "surface": surface.name}}
        assert json.loads(read(json.dumps(order).encode(), False))["written"]
    assert begun.wait(PATIENCE_S)
    assert threading.active_count() <= before + 2
    go_on.set()
    assert all(passed)
    store.close()
