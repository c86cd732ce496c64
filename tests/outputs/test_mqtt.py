"""Against a real broker: retained warnings, and the device a home-automation hub finds by itself."""

from __future__ import annotations

import asyncio
import json
import socket
import sys
import threading
from collections.abc import AsyncIterator, Awaitable, Callable
from contextlib import asynccontextmanager, suppress
from datetime import timedelta
from pathlib import Path
from typing import Any
from uuid import uuid4

import aiomqtt
import pytest
from msgspec.structs import replace

from planner.errors import InputError
from planner.outputs import Message, OutputFailed, OutputUnsure
from planner.outputs.entities import ENTITIES
from planner.outputs.hub import HomeDevice, flat
from planner.outputs.line import Line
from planner.outputs.mqtt import Broker, MqttOutput
from planner.reports.as_of import as_of
from planner.reports.now import now
from planner.reports.rows import Report
from planner.terms import slug
from tests.outputs.frost import FROST
from tests.reports.made import NOW, demo

#: Ends a test that hangs; what is waited for is there long before.
PATIENCE_S = 60.0


def client(address: tuple[str, int]) -> aiomqtt.Client:
    return aiomqtt.Client(*address, timeout=PATIENCE_S)


async def retained(address: tuple[str, int], topic: str) -> dict[str, str]:
    """All that the broker keeps under a topic at this moment, and nothing is there where it keeps nothing."""
    found: dict[str, str] = {}
    mark = f"mark/{uuid4().hex}"
    async with client(address) as reader, asyncio.timeout(PATIENCE_S):
        await reader.subscribe(mark)
        await reader.subscribe(topic)
        # What is kept comes with the subscription, so before anything that we send after it: no need to wait.
        await reader.publish(mark)
        async for message in reader.messages:
            if str(message.topic) == mark:
                break
            found[str(message.topic)] = bytes(message.payload).decode()  # type: ignore[arg-type]
    return found


async def until(done: Callable[[], Awaitable[bool]]) -> None:
    async with asyncio.timeout(PATIENCE_S):
        while not await done():
            await asyncio.sleep(0.02)


async def wipe(address: tuple[str, int], node: str, prefix: str) -> None:
    kept = {**await retained(address, f"haysel/{node}/#"), **await retained(address, f"{prefix}/#")}
    async with client(address) as writer:
        for topic in kept:
            await writer.publish(topic, b"", qos=1, retain=True)


def test_a_warning_is_kept_by_the_broker_and_a_repeat_changes_nothing(broker: tuple[str, int]) -> None:
    node = f"test_{uuid4().hex[:8]}"
    output = MqttOutput(host=broker[0], port=broker[1], node=node, timeout_s=PATIENCE_S)
    output.send(FROST)
    output.send(FROST)
    kept = asyncio.run(retained(broker, f"haysel/{node}/#"))
    assert list(kept) == [f"haysel/{node}/warning/frost/green"]
    assert Message.from_dict(json.loads(kept[output.topic(FROST)])) == FROST
    asyncio.run(wipe(broker, node, f"{node}_none"))


def test_nobody_at_the_door_is_a_failure() -> None:
    with socket.create_server(("127.0.0.1", 0)) as door:
        port = door.getsockname()[1]
    with pytest.raises(OutputFailed, match="Check host, port"):
        MqttOutput(host="127.0.0.1", port=port, timeout_s=PATIENCE_S).send(FROST)


def test_a_certificate_that_is_not_there_is_named(tmp_path: Path) -> None:
    missing = tmp_path / "ca.pem"
    with pytest.raises(OutputFailed, match=r"ca\.pem cannot be read"):
        MqttOutput(host="127.0.0.1", tls=True, ca_file=str(missing)).send(FROST)


def test_an_order_that_cannot_be_answered_does_not_cut_the_line(broker: tuple[str, int]) -> None:
    node = f"order_{uuid4().hex[:8]}"
    heard: list[bytes] = []

    def hear(payload: bytes, _: bool) -> str:
        heard.append(payload)
        if payload == b"1":
            raise ZeroDivisionError("by nought")
        return "answered"

    line = Line(
        Broker(host=broker[0], port=broker[1], timeout_s=PATIENCE_S),
        own=node,
        birth_topic=f"{node}/birth",
        alive_topic=f"{node}/alive",
        hears={f"{node}/add": (hear, f"{node}/result")},
    )

    async def ask() -> bytes:
        async with aiomqtt.Client(*broker, timeout=PATIENCE_S) as hub, asyncio.timeout(PATIENCE_S):
            await hub.subscribe([(f"{node}/alive", 1), (f"{node}/result", 1)])
            running = asyncio.create_task(line.run())
            try:
                async for message in hub.messages:
                    if str(message.topic).endswith("result"):
                        return bytes(message.payload)
                    await hub.publish(f"{node}/add", b"1", qos=1)
                    await hub.publish(f"{node}/add", b"2", qos=1)
            finally:
                running.cancel()
        raise AssertionError("no answer")

    assert asyncio.run(ask()) == b"answered"
    assert heard == [b"1", b"2"]


def test_a_line_cut_while_sending_leaves_us_in_doubt(monkeypatch: pytest.MonkeyPatch) -> None:
    publish = aiomqtt.Client.publish

    async def soon_given_up(self: aiomqtt.Client, *given: Any, **named: Any) -> None:
        # The line takes its time to open on a busy machine; only the answer that never comes is waited for.
        self.timeout = 0.2
        await publish(self, *given, **named)

    monkeypatch.setattr(aiomqtt.Client, "publish", soon_given_up)

    def hang_up(door: socket.socket) -> None:
        caller, _ = door.accept()
        with caller:
            caller.recv(1024)
            caller.sendall(b"\x20\x02\x00\x00")
            caller.recv(1)

    with socket.create_server(("127.0.0.1", 0)) as door:
        thread = threading.Thread(target=hang_up, args=(door,))
        thread.start()
        with pytest.raises(OutputUnsure, match="broke off"):
            MqttOutput(host="127.0.0.1", port=door.getsockname()[1], timeout_s=PATIENCE_S).send(FROST)
        thread.join()


def test_without_the_package_it_says_how_to_get_it(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setitem(sys.modules, "aiomqtt", None)
    with pytest.raises(OutputFailed, match="requirements-extras"):
        MqttOutput(host="127.0.0.1").send(FROST)


@asynccontextmanager
async def running(*lines: HomeDevice | Line) -> AsyncIterator[None]:
    tasks = [asyncio.create_task(one.run()) for one in lines]
    try:
        yield
    finally:
        for task in tasks:
            task.cancel()
        await asyncio.gather(*tasks, return_exceptions=True)


def device_at(address: tuple[str, int], **parts: Any) -> tuple[HomeDevice, str, str]:
    """A device of its own on the broker, with its node and the hub's prefix."""
    node, prefix = f"test_{uuid4().hex[:8]}", f"hub_{uuid4().hex[:8]}"
    broker = Broker(host=address[0], port=address[1], timeout_s=PATIENCE_S)
    return HomeDevice(broker, node=node, prefix=prefix, **parts), node, prefix


def test_the_hub_finds_one_device_with_its_entities(broker: tuple[str, int]) -> None:
    asyncio.run(_device(broker))


async def _device(address: tuple[str, int]) -> None:
    device, node, prefix = device_at(address)
    report = demo()
    wanted = len(device.configs(report))
    assert wanted == len(ENTITIES) + 6 * len(report.wanted)
    device.update(report)
    state = device.topic("state")
    async with running(device):

        async def online() -> bool:
            return "online" in (await retained(address, device.topic("availability"))).values()

        async def told(text: str) -> bool:
            return text in (await retained(address, state)).get(state, "")

        await until(online)
        configs = await retained(address, f"{prefix}/#")
        assert len(configs) == wanted
        read = [json.loads(config) for config in configs.values()]
        assert {json.dumps(config["device"]["identifiers"]) for config in read} == {f'["haysel_{node}"]'}
        assert len({config["unique_id"] for config in read}) == wanted
        assert json.loads((await retained(address, state))[state]) == flat(now(report))

        stale = as_of(report, NOW + timedelta(hours=20))
        device.update(stale)
        await until(lambda: told("Old forecast, 20 h: "))

        # The hub was restarted with an empty memory, and says that it is there again.
        await wipe(address, "nothing", prefix)
        assert await retained(address, f"{prefix}/#") == {}
        async with client(address) as hub:
            await hub.publish(f"{prefix}/status", "online", qos=1)

        async def again() -> bool:
            return len(await retained(address, f"{prefix}/+/+/+/config")) == wanted

        await until(again)
    # A clean goodbye says offline by itself.
    kept = await retained(address, device.topic("availability"))
    assert kept[device.topic("availability")] == "offline"
    await wipe(address, node, prefix)


def test_entities_of_a_job_that_is_wanted_no_more_are_taken_away(broker: tuple[str, int]) -> None:
    asyncio.run(_fewer(broker))


async def _fewer(address: tuple[str, int]) -> None:
    device, node, prefix = device_at(address)
    report = demo()
    fewer = replace(report, wanted=report.wanted[1:])
    other = f"{prefix}/sensor/somebody_else/x/config"
    # Told by a run of the service before this one, and beside it by somebody else.
    async with client(address) as before:
        for topic in (*device.configs(report), other):
            await before.publish(topic, "{}", qos=1, retain=True)
    device.update(fewer)
    async with running(device):

        async def are_those(wanted: Report) -> bool:
            return set(await retained(address, f"{prefix}/#")) == {*device.configs(wanted), other}

        await until(lambda: are_those(fewer))
        device.update(report)
        await until(lambda: are_those(report))
        device.update(fewer)
        await until(lambda: are_those(fewer))
    await wipe(address, node, prefix)


def test_topics_of_warnings_are_restored_only_where_the_broker_has_lost_them(broker: tuple[str, int]) -> None:
    asyncio.run(_mended(broker))


async def _mended(address: tuple[str, int]) -> None:
    node = f"test_{uuid4().hex[:8]}"
    output = MqttOutput(host=address[0], port=address[1], node=node, timeout_s=PATIENCE_S)
    birth, mine = f"{node}/status", f"{output.own}/warning/#"
    held, lost = f"{output.own}/warning/frost/green", f"{output.own}/warning/wash/bank"
    heard: list[str] = []
    async with client(address) as writer:
        await writer.publish(held, "as it was sent", qos=1, retain=True)
        await writer.subscribe(mine)
        line = Line(output, own=output.own, birth_topic=birth, mend=mine)
        line.hold({held: "as it was sent", lost: "rain"})
        async with running(line):

            async def is_there() -> bool:
                return await retained(address, mine) == {held: "as it was sent", lost: "rain"}

            await until(is_there)
        await writer.publish(f"{output.own}/warning/end", "")
        async with asyncio.timeout(PATIENCE_S):
            async for message in writer.messages:
                if str(message.topic).endswith("/end"):
                    break
                heard.append(str(message.topic))
    # Whoever listens has read the one that the broker held: it is not sent to them again.
    assert heard == [held, lost]
    await wipe(address, node, birth)


def test_an_order_is_answered_on_its_own_topic(broker: tuple[str, int]) -> None:
    asyncio.run(_ordered(broker))


async def _ordered(address: tuple[str, int]) -> None:
    read: list[tuple[bytes, bool]] = []

    def orders(payload: bytes, is_retained: bool) -> str:
        read.append((payload, is_retained))
        return f"read {len(read)}"

    device, node, prefix = device_at(address, orders=orders)
    device.update(demo())
    answers: list[str] = []
    async with client(address) as hub, asyncio.timeout(PATIENCE_S):
        await hub.publish(device.topic("diary/add"), "kept", qos=1, retain=True)
        await hub.subscribe(device.topic("diary/result"))
        async with running(device):
            async for message in hub.messages:
                answers.append(bytes(message.payload).decode())
                if len(answers) == 2:
                    break
                await hub.publish(device.topic("diary/add"), "now", qos=1)
    assert read == [(b"kept", True), (b"now", False)]
    assert answers == ["read 1", "read 2"]
    assert device.topic("diary/result") not in await retained(address, f"haysel/{node}/#")
    await wipe(address, node, prefix)


def test_an_order_to_stop_is_not_lost_when_the_broker_answers_at_that_moment() -> None:
    asyncio.run(_stopped())


async def _stopped() -> None:
    asked, published = asyncio.Event(), []

    class Answering:
        """A client whose wait for an answer ends well although it was cancelled, as it may before Python 3.12."""

        async def publish(self, topic: str, *_: Any, **__: Any) -> None:
            published.append(topic)
            asked.set()
            with suppress(asyncio.CancelledError):
                await asyncio.Event().wait()

    line = Line(Broker(host="x"), own="haysel/vale", birth_topic="x")
    line.hold({"one": "1", "two": "2"})
    publishing = asyncio.create_task(line._publish_all(Answering()))  # type: ignore[arg-type]
    await asyncio.wait_for(asked.wait(), PATIENCE_S)
    publishing.cancel()
    await asyncio.wait([publishing], timeout=PATIENCE_S)
    assert publishing.cancelled()
    assert len(published) == 1


def test_the_will_says_offline_when_the_line_is_cut_and_we_come_back(broker: tuple[str, int]) -> None:
    asyncio.run(_cut(broker))


async def _cut(address: tuple[str, int]) -> None:
    lines: list[asyncio.StreamWriter] = []
    calls = 0

    async def pump(reader: asyncio.StreamReader, writer: asyncio.StreamWriter) -> None:
        with suppress(OSError):
            while data := await reader.read(4096):
                writer.write(data)
                await writer.drain()
        writer.close()

    async def through(reader: asyncio.StreamReader, writer: asyncio.StreamWriter) -> None:
        nonlocal calls
        calls += 1
        there, back = await asyncio.open_connection(*address)
        lines[:] = [writer, back]
        await asyncio.gather(pump(reader, back), pump(there, writer))

    server = await asyncio.start_server(through, "127.0.0.1", 0)
    device, node, prefix = device_at(("127.0.0.1", server.sockets[0].getsockname()[1]))
    device.update(demo())
    said: list[str] = []

    async def listen() -> None:
        async with client(address) as reader:
            await reader.subscribe(device.topic("availability"))
            async for message in reader.messages:
                said.append(bytes(message.payload).decode())  # type: ignore[arg-type]

    listening = asyncio.create_task(listen())
    try:
        async with running(device):

            async def first() -> bool:
                return "online" in said

            await until(first)
            # A broker that starts again without a store has lost everything.
            await wipe(address, node, prefix)
            said.remove("")
            for line in lines:
                line.transport.abort()

            async def back_again() -> bool:
                return calls == 2 and said[-1] == "online" and "offline" in said

            await until(back_again)
            assert len(await retained(address, f"{prefix}/#")) == len(device.configs(demo()))
            assert set(await retained(address, f"haysel/{node}/#")) > {device.topic("state")}
    finally:
        listening.cancel()
        await asyncio.gather(listening, return_exceptions=True)
        server.close()
        await server.wait_closed()
    assert said[:3] == ["online", "offline", "online"]
    await wipe(address, node, prefix)


def test_what_is_not_known_is_neither_off_nor_nought() -> None:
    import jinja2

    configs = HomeDevice(Broker(host="x"), node="vale").configs(demo())

    def shown(topic: str, key: str, *values: object) -> list[str]:
        template = jinja2.Template(
            str(configs[f"homeassistant/{topic}/haysel_vale/{key}/config"]["value_template"])
        )
        return [template.render(value_json={key: value}) for value in values]

    assert shown("binary_sensor", "frost", True, False, None) == ["ON", "OFF", "None"]
    assert shown("sensor", "today_growth_potential", 0.412, 0.0, None) == ["41.2", "0.0", "None"]
    assert shown("sensor", "today_rain_mm", 1.5, 0.0, None) == ["1.5", "0.0", "None"]


def test_attributes_fit_what_a_hub_keeps() -> None:
    # MAX_STATE_ATTRS_BYTES of the hub's recorder; beyond it attributes are not kept, with a warning.
    topics = HomeDevice(Broker(host="x"), node="vale").topics(demo())
    sizes = {topic: len(text.encode()) for topic, text in topics.items() if "/config" not in topic}
    assert max(sizes.values()) < 16384, sizes


def test_a_state_is_made_flat_short_and_null_where_not_known() -> None:
    made = flat({"a": "x" * 300, "b": float("nan"), "c": None, "d": 1, "e": True})
    assert made["a"] == "x" * 254 + "…"
    assert (made["b"], made["c"], made["d"], made["e"]) == (None, None, 1, True)
    with pytest.raises(InputError, match='"a" is a dict'):
        flat({"a": {"b": 1}})


@pytest.mark.parametrize(("text", "made"), [("East Bank/2", "east_bank_2"), ("+#", "x"), ("Grün", "gr_n")])
def test_a_name_becomes_a_piece_of_a_topic(text: str, made: str) -> None:
    assert slug(text) == made
