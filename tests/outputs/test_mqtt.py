"""Against a real broker: retained warnings, and the device a home-automation hub finds by itself."""

from __future__ import annotations

import asyncio
import json
import socket
import sys
import threading
from collections.abc import Awaitable, Callable
from contextlib import suppress
from typing import Any
from uuid import uuid4

import aiomqtt
import pytest

from planner.errors import InputError
from planner.outputs import Message, OutputFailed, OutputUnsure
from planner.outputs.hub import ENTITIES, Entity, HomeDevice, flat
from planner.outputs.mqtt import Broker, MqttOutput, slug
from tests.outputs.frost import FROST

STATE: dict[str, Any] = {"headline": "Frost tonight", "frost": True, "next_start": None, "stale": False}


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
    with pytest.raises(OutputFailed, match=r"haysel\[mqtt\]"):
        MqttOutput(host="127.0.0.1").send(FROST)


def test_the_hub_finds_one_device_with_its_entities(broker: tuple[str, int]) -> None:
    asyncio.run(_device(broker))


async def _device(address: tuple[str, int]) -> None:
    node, prefix = f"test_{uuid4().hex[:8]}", f"hub_{uuid4().hex[:8]}"
    broker = Broker(host=address[0], port=address[1], timeout_s=PATIENCE_S)
    device = HomeDevice(broker, "Thistlewick Vale", node=node, prefix=prefix)
    device.update(STATE)
    running = asyncio.create_task(device.run())
    try:

        async def online() -> bool:
            return "online" in (await retained(address, device.availability_topic)).values()

        await until(online)
        configs = await retained(address, f"{prefix}/#")
        assert len(configs) == len(ENTITIES) == 10
        read = [json.loads(config) for config in configs.values()]
        assert {json.dumps(config["device"]["identifiers"]) for config in read} == {f'["haysel_{node}"]'}
        assert len({config["unique_id"] for config in read}) == 10
        for config in read:
            assert config["state_topic"] == device.state_topic
            assert config["availability_topic"] == device.availability_topic
        kept = await retained(address, device.state_topic)
        assert json.loads(kept[device.state_topic]) == STATE

        device.update({**STATE, "headline": "Frost stood down"})

        async def changed() -> bool:
            now = await retained(address, device.state_topic)
            return "stood down" in now.get(device.state_topic, "")

        await until(changed)

        # The hub was restarted with an empty memory, and says that it is there again.
        await wipe(address, "nothing", prefix)
        assert await retained(address, f"{prefix}/#") == {}
        async with client(address) as hub:
            await hub.publish(device.birth_topic, "online", qos=1)

        async def again() -> bool:
            return len(await retained(address, f"{prefix}/+/+/+/config")) == 10

        await until(again)
    finally:
        running.cancel()
        with suppress(asyncio.CancelledError):
            await running
    # A clean goodbye says offline by itself.
    kept = await retained(address, device.availability_topic)
    assert kept[device.availability_topic] == "offline"
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

    device = HomeDevice(Broker(host="x"), "Vale", node="vale")
    device.update(STATE)
    publishing = asyncio.create_task(device._publish_all(Answering()))  # type: ignore[arg-type]
    await asyncio.wait_for(asked.wait(), PATIENCE_S)
    publishing.cancel()
    await asyncio.wait([publishing], timeout=PATIENCE_S)
    assert publishing.cancelled()
    assert len(published) == 1


def test_the_will_says_offline_when_the_line_is_cut_and_we_come_back(broker: tuple[str, int]) -> None:
    asyncio.run(_cut(broker))


async def _cut(address: tuple[str, int]) -> None:
    node, prefix = f"test_{uuid4().hex[:8]}", f"hub_{uuid4().hex[:8]}"
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
    port = server.sockets[0].getsockname()[1]
    near = Broker(host="127.0.0.1", port=port, timeout_s=PATIENCE_S)
    device = HomeDevice(near, "Vale", node=node, prefix=prefix)
    running = asyncio.create_task(device.run())
    said: list[str] = []

    async def listen() -> None:
        async with client(address) as reader:
            await reader.subscribe(device.availability_topic)
            async for message in reader.messages:
                said.append(bytes(message.payload).decode())  # type: ignore[arg-type]

    listening = asyncio.create_task(listen())
    try:

        async def first() -> bool:
            return "online" in said

        await until(first)
        for line in lines:
            line.transport.abort()

        async def back_again() -> bool:
            return calls == 2 and said[-1] == "online" and "offline" in said

        await until(back_again)
    finally:
        for task in (running, listening):
            task.cancel()
        await asyncio.gather(running, listening, return_exceptions=True)
        server.close()
        await server.wait_closed()
    assert said[:3] == ["online", "offline", "online"]
    await wipe(address, node, prefix)


def test_a_yes_or_no_that_is_not_known_is_not_off() -> None:
    import jinja2

    device = HomeDevice(Broker(host="x"), "Vale", node="vale")
    (topic,) = [topic for topic in device.configs() if "/frost/" in topic]
    assert topic == "homeassistant/binary_sensor/haysel_vale/frost/config"
    template = jinja2.Template(device.configs()[topic]["value_template"])
    shown = [template.render(value_json={"frost": value}) for value in (True, False, None)]
    assert shown == ["ON", "OFF", "None"]


def test_entities_can_be_chosen_and_carry_their_unit() -> None:
    own = Entity(key="air_temp_c", name="Air", device_class="temperature", unit="°C")
    device = HomeDevice(Broker(host="x"), "Vale", entities=[own], url="http://vale:8480/", version="0.1")
    (config,) = device.configs().values()
    assert config["unit_of_measurement"] == "°C"
    assert config["device"]["configuration_url"] == "http://vale:8480/"
    assert config["device"]["sw_version"] == "0.1"


def test_a_state_is_made_flat_short_and_null_where_not_known() -> None:
    made = flat({"a": "x" * 300, "b": float("nan"), "c": None, "d": 1, "e": True})
    assert made["a"] == "x" * 254 + "…"
    assert (made["b"], made["c"], made["d"], made["e"]) == (None, None, 1, True)
    with pytest.raises(InputError, match='"a" is a dict'):
        flat({"a": {"b": 1}})


@pytest.mark.parametrize(("text", "made"), [("East Bank/2", "east_bank_2"), ("+#", "x"), ("Grün", "gr_n")])
def test_a_name_becomes_a_piece_of_a_topic(text: str, made: str) -> None:
    assert slug(text) == made
