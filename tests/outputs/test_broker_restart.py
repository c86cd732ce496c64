"""A broker that starts again without a store: the device and the warnings that stand are there again by themselves."""

from __future__ import annotations

import asyncio
import os
import shutil
import socket
import subprocess
from collections.abc import Iterator
from contextlib import closing, contextmanager, suppress
from pathlib import Path

import aiomqtt
import pytest

from planner.outputs.hub import HomeDevice
from planner.outputs.line import Line
from planner.outputs.mqtt import MqttOutput
from tests.outputs.frost import FROST
from tests.outputs.test_mqtt import PATIENCE_S, retained, running, until
from tests.reports.made import demo


@contextmanager
def mosquitto(folder: Path, port: int) -> Iterator[None]:
    """A broker that keeps nothing on the disk."""
    told = folder / "mosquitto.conf"
    told.write_text(f"listener {port} 127.0.0.1\nallow_anonymous true\npersistence false\n")
    broker = subprocess.Popen(
        [mosquitto_program(), "-c", str(told)], stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL
    )
    try:
        yield
    finally:
        broker.kill()
        broker.wait()


def mosquitto_program() -> str:
    found = shutil.which("mosquitto", path=f"{os.environ.get('PATH', '')}:/usr/sbin")
    if found is None:
        if os.environ.get("CI") == "true":
            pytest.fail("no mosquitto on this machine")
        pytest.skip("no mosquitto on this machine")
    return found


def test_all_is_there_again_after_a_broker_without_a_store_starts_again(tmp_path: Path) -> None:
    with closing(socket.socket()) as free:
        free.bind(("127.0.0.1", 0))
        port = int(free.getsockname()[1])
    asyncio.run(_restarted(tmp_path, port))


async def _restarted(folder: Path, port: int) -> None:
    output = MqttOutput(host="127.0.0.1", port=port, node="vale", timeout_s=PATIENCE_S)
    device = HomeDevice(output, node="vale", prefix="hub")
    device.update(demo())
    line = Line(output, own=output.own, birth_topic="hub/status", mend=f"{output.own}/warning/#")
    line.hold({output.topic(FROST): "frost"})
    wanted = {*device.topics(demo()), device.topic("availability"), output.topic(FROST)}

    async def is_whole() -> bool:
        with suppress(aiomqtt.MqttError):
            kept = await retained(("127.0.0.1", port), "#")
            return set(kept) == wanted and kept[device.topic("availability")] == "online"
        return False

    async with running(device, line):
        for _ in range(2):
            with mosquitto(folder, port):
                await until(is_whole)
