"""Where the service listens: a port that is taken is told before anything begins, an address once it answers."""

from __future__ import annotations

import asyncio
import ipaddress
import os
import socket
import subprocess
import sys
from typing import Any

import pytest
import uvicorn

from planner.errors import PlannerError
from planner.service.listening import Telling, address_of, listening
from tests.made import ROOT


def test_the_address_is_told_once_it_answers_and_not_before(capsys: pytest.CaptureFixture[str]) -> None:
    before: list[str] = []

    async def app(scope: Any, receive: Any, send: Any) -> None:
        await receive()
        # The service begins here: whatever takes long or fails does so before it answers.
        before.append(capsys.readouterr().err)
        server.should_exit = True
        await send({"type": "lifespan.startup.complete"})
        await receive()
        await send({"type": "lifespan.shutdown.complete"})

    server = Telling(uvicorn.Config(app, log_config=None, lifespan="on"), "http://127.0.0.1:8480/")
    asyncio.run(server.serve(sockets=listening("127.0.0.1", 0)))
    assert before == [""]
    assert capsys.readouterr().err == "Haysel answers on http://127.0.0.1:8480/\n"


def test_a_port_that_is_taken_is_a_line_and_nothing_was_told(tmp_path: Any) -> None:
    with socket.create_server(("127.0.0.1", 0)) as taken:
        port = taken.getsockname()[1]
        done = subprocess.run(
            [sys.executable, "-m", "planner", "serve", "--demo", "--port", str(port)],
            capture_output=True,
            text=True,
            cwd=ROOT,
            env={**os.environ, "PYTHONPATH": str(ROOT)},
            check=False,
            timeout=120,
        )
    assert done.returncode == 1
    assert f"Port {port} is taken: another haysel? Choose another with --port." in done.stderr
    assert "answers on" not in done.stderr
    assert "Traceback" not in done.stderr


@pytest.mark.parametrize("host", ["192.0.2.7", "no-such-name.invalid"])
def test_an_address_of_another_machine_is_refused_in_words(host: str) -> None:
    with pytest.raises(PlannerError, match=f"{host} is no address of this machine"):
        listening(host, 0)


@pytest.mark.parametrize("host", ["0.0.0.0", "::"])
def test_what_stands_for_every_address_is_told_as_one_that_can_be_opened(host: str) -> None:
    shown = address_of(host, 8480).removeprefix("http://").removesuffix(":8480/")
    try:
        assert not ipaddress.ip_address(shown.strip("[]")).is_unspecified
    except ValueError:
        assert shown == socket.gethostname()


@pytest.mark.parametrize(
    ("host", "address"),
    [
        ("127.0.0.1", "http://127.0.0.1:80/"),
        ("::1", "http://[::1]:80/"),
        ("localhost", "http://localhost:80/"),
        ("turf.example", "http://turf.example:80/"),
    ],
)
def test_any_other_is_told_as_it_was_given(host: str, address: str) -> None:
    assert address_of(host, 80) == address
