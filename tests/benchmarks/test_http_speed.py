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

from tests.benchmarks.conftest import Hold

pytestmark = pytest.mark.replay

ROOT = Path(__file__).resolve().parents[2]
ROUNDS, REQUESTS, LINES = 9, 400, 8
#: Share of the bare route's requests a second that a read must reach, through the plain router. Measured on two
#: busy cores: 79 to 87 % for the flat object, 67 to 74 % for the windows (three query parameters are read, and the
#: bare route has none), 74 to 87 % for the page.
FLOORS = {"/api/v1/now": 0.75, "/api/v1/windows": 0.60, "/": 0.65}
#: Share of the rate of a stored answer that a filtered one must reach.
FILTERED_FLOOR = 0.25
#: Questions of the filtered reads, each asked in its turn.
FILTERS = (
    "job=spraying&day=tomorrow",
    "job=mowing",
    "surface=green",
    "surface=east+bank&day=today",
    "job=foliar_feed&surface=green",
    "day=2026-05-10",
    "job=rolling",
    "job=mow_green&day=tomorrow",
)

SERVER = """
import sys
import uvicorn
from fastapi import FastAPI, Response
from planner.service.app import create_app
from planner.service.cache import ReportCache
from planner.service.pages import draw_at_once
from tests.reports.made import NOW, demo_pass

cache = ReportCache(lambda: NOW, draw_at_once)
cache.put(*demo_pass())
ours = create_app(cache, clock=lambda: NOW)
bare = FastAPI()

from fastapi.testclient import TestClient

client = TestClient(ours)
for path in ("/", "/api/v1/now", "/api/v1/windows"):
    found = client.get(path, headers={"Accept-Encoding": "identity"})

    def route(body=found.content, kind=found.headers["content-type"]):
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


def _lines(port: int) -> list[socket.socket]:
    lines = [socket.create_connection(("127.0.0.1", port)) for _ in range(LINES)]
    for line in lines:
        line.setsockopt(socket.IPPROTO_TCP, socket.TCP_NODELAY, 1)
    return lines


def _request(path: str, *head: str) -> bytes:
    return "\r\n".join([f"GET {path} HTTP/1.1", "Host: x", *head, "", ""]).encode()


@pytest.mark.parametrize("path", FLOORS)
def test_a_read_keeps_up_with_a_bare_route(port: int, path: str, hold: Hold) -> None:
    lines = _lines(port)
    ours, bare = _request(path), _request(path, "X-Bare: 1")
    sizes = {request: _size(lines[0], request) for request in (ours, bare)}
    for request in (ours, bare):
        _ask(lines, request, sizes[request], REQUESTS // 2)
    shares = []
    for number in range(ROUNDS):
        # In turns, and the first in turns too, so that neither gains by a busy neighbour.
        order = (ours, bare) if number % 2 else (bare, ours)
        spent = {request: _ask(lines, request, sizes[request], REQUESTS) for request in order}
        shares.append(spent[bare] / spent[ours])
    for line in lines:
        line.close()
    what = f"rate of `{path}`"
    hold(what, statistics.median(shares), "of a bare route with the same bytes", least=FLOORS[path])


@pytest.mark.parametrize("questions", [FILTERS[:1], FILTERS], ids=["the same", "each another"])
def test_a_filtered_read_reaches_a_quarter_of_a_stored_one(
    port: int, questions: tuple[str, ...], hold: Hold
) -> None:
    lines = _lines(port)
    stored = _request("/api/v1/windows")
    asked = [_request(f"/api/v1/windows?{question}") for question in questions]
    sizes = {request: _size(lines[0], request) for request in (stored, *asked)}
    for request in sizes:
        _ask(lines, request, sizes[request], LINES)
    shares = []
    for _ in range(ROUNDS):
        of_stored = _ask(lines, stored, sizes[stored], REQUESTS)
        of_asked = 0.0
        for turn in range(REQUESTS // LINES):
            request = asked[turn % len(asked)]
            of_asked += _ask(lines, request, sizes[request], LINES)
        shares.append(of_stored / of_asked)
    for line in lines:
        line.close()
    what = "rate of a filtered read, " + ("the same again" if len(asked) == 1 else "each time another")
    hold(what, statistics.median(shares), "of the stored answer", least=FILTERED_FLOOR)
