"""A store in memory and a real broker where there is one."""

from __future__ import annotations

import os
import socket
from collections.abc import Iterator

import pytest

from planner.store.store import Store

BROKER = ("127.0.0.1", int(os.environ.get("HAYSEL_TEST_BROKER_PORT", "1883")))


@pytest.fixture
def store() -> Iterator[Store]:
    opened = Store.open("sqlite://")
    yield opened
    opened.close()


@pytest.fixture
def broker() -> tuple[str, int]:
    try:
        socket.create_connection(BROKER, timeout=30).close()
    except OSError as error:
        if os.environ.get("CI") == "true":
            pytest.fail(f"no MQTT broker at {BROKER}: {error}")
        pytest.skip(f"no MQTT broker at {BROKER}")
    return BROKER
