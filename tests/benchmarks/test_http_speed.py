"""Reads over HTTP against a bare route that returns the same bytes, on the same server in the same run.

Both stand in one process behind one uvicorn, on loopback, and are asked in turns by the same plain client over
kept-alive connections, so that what differs is our own code alone. Bounded: a fixed count of requests a round.
"""

from __future__ import annotations

import os
import socket
import statistics
import subprocess
import sys
import textwrap
import time
from collections.abc import Iterator
from pathlib import Path

import pytest

pytestmark = pytest.mark.replay

ROOT = Path(__file__).resolve().parents[2]
ROUNDS, REQUESTS, LINES = 9, 400, 8
#: Share of the bare route's requests a second that a read must reach.
FLOOR = 0.85

SERVER = """
import sys
import uvicorn
from fastapi import FastAPI, Response
from planner.service.app import create_app
from planner.service.shelf import Shelf
from planner.service.views import PageViews
from tests.service.conftest import NOW, ROOT
from planner.answers import render
from planner.config.load import load
from planner.cycle import assess
from planner.forecast.recorded import read_file

config = load(ROOT / "config" / "demo.toml")
briefing = assess(config, read_file(ROOT / "fixtures" / "demo" / "week.csv", fetched_at=NOW), now=NOW)
shelf = Shelf(lambda: NOW, PageViews())
shelf.put(briefing.made_at, briefing.stale_at, render(briefing))
ours = create_app(shelf, clock=lambda: NOW)
bare = FastAPI()
for path, name in (("/", "page"), ("/api/v1/now", "now"), ("/api/v1/windows", "windows")):
    found = shelf.get(name)

    def route(body=found.body, kind=found.content_type):
        async def answer() -> Response:
            return Response(body, media_type=kind)
        return answer

    bare.add_api_route(path, route())


async def both(scope, receive, send):
    app = bare if scope["type"] == "http" and (b"x-bare", b"1") in scope["headers"] else ours
    await app(scope, receive, send)


uvicorn.run(both, port=int(sys.argv[1]), log_level="warning", access_log=False, lifespan="off")
"""


@pytest.fixture(scope="module")
def port() -> Iterator[int]:
    with socket.socket() as held:
        held.bind(("127.0.0.1", 0))
        number = int(held.getsockname()[1])
    command = [sys.executable, "-c", textwrap.dedent(SERVER), str(number)]
    running = subprocess.Popen(command, cwd=ROOT, env={**os.environ, "PYTHONPATH": str(ROOT)})
    for _ in range(300):
        try:
            socket.create_connection(("127.0.0.1", number), timeout=1).close()
            break
        except OSError:
            assert running.poll() is None, "the server ended"
            time.sleep(0.1)
    yield number
    running.terminate()
    running.wait(10)


def _ask(lines: list[socket.socket], request: bytes, size: int, count: int) -> float:
    """Seconds for `count` requests spread over the open lines, one under way on each."""
    begin = time.perf_counter()
    for _ in range(count // len(lines)):
        for line in lines:
            line.sendall(request)
        for line in lines:
            left = size
            while left > 0:
                got = len(line.recv(1 << 18))
                assert got, "the line was closed"
                left -= got
    return time.perf_counter() - begin


def _size(line: socket.socket, request: bytes) -> int:
    """Bytes of one whole answer, head and body."""
    line.sendall(request)
    got = b""
    while b"\r\n\r\n" not in got:
        got += line.recv(1 << 18)
    head, _, body = got.partition(b"\r\n\r\n")
    assert head.startswith(b"HTTP/1.1 200"), head[:60]
    length = next(
        int(row.split(b":")[1]) for row in head.split(b"\r\n") if row.lower().startswith(b"content-length:")
    )
    while len(body) < length:
        body += line.recv(1 << 18)
    return len(head) + 4 + length


@pytest.mark.parametrize("path", ["/api/v1/now", "/api/v1/windows", "/"])
def test_a_read_keeps_up_with_a_bare_route(
    port: int, path: str, record_property: pytest.RecordProperty
) -> None:
    lines = [socket.create_connection(("127.0.0.1", port)) for _ in range(LINES)]
    for line in lines:
        line.setsockopt(socket.IPPROTO_TCP, socket.TCP_NODELAY, 1)
    ours = f"GET {path} HTTP/1.1\r\nHost: x\r\n\r\n".encode()
    bare = f"GET {path} HTTP/1.1\r\nHost: x\r\nX-Bare: 1\r\n\r\n".encode()
    sizes = {request: _size(lines[0], request) for request in (ours, bare)}
    for request in (ours, bare):
        _ask(lines, request, sizes[request], REQUESTS // 2)
    shares, rates = [], []
    for number in range(ROUNDS):
        # In turns, and the first in turns too, so that neither gains by a busy neighbour.
        order = (ours, bare) if number % 2 else (bare, ours)
        spent = {request: _ask(lines, request, sizes[request], REQUESTS) for request in order}
        shares.append(spent[bare] / spent[ours])
        rates.append(REQUESTS / spent[ours])
    for line in lines:
        line.close()
    share, rate = statistics.median(shares), statistics.median(rates)
    record_property("share_of_bare", round(share, 3))
    print(f"{path}: {rate:.0f} requests a second, {share:.0%} of a bare route")  # noqa: T201
    assert share >= FLOOR, f"{path} reaches {share:.0%} of a bare route; {FLOOR:.0%} is asked"
