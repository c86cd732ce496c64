"""Lines that send too much, too slowly or nothing at all, over real sockets: each is ended, and the others answered."""

from __future__ import annotations

import logging
import socket
from collections.abc import Iterator

import pytest
from fastapi import FastAPI, Request

from planner.service import wire as wire_module
from planner.service.problems import attach
from planner.service.wire import (
    LONGEST_ADDRESS,
    LONGEST_HEAD,
    LONGEST_REQUEST,
    MOST_HEADERS,
    MOST_WAITING,
    wire,
)
from tests.service.serving import opened, said, served, to_the_end

app = FastAPI()
attach(app)


@app.get("/")
async def short() -> str:
    return "here"


@app.get("/long")
async def long() -> str:
    return "x" * 20_000_000


@app.post("/")
async def taken(request: Request) -> int:
    return len(await request.body())


@pytest.fixture(scope="module")
def port() -> Iterator[int]:
    with served(app, http=wire(())) as found:
        yield found


@pytest.fixture(scope="module")
def hasty() -> Iterator[int]:
    """A service that waits hardly at all."""
    with served(app, http=wire((), within_s=0.05, look_every_s=0.02)) as found:
        yield found


def status(answer: bytes) -> int:
    """The status of the first answer."""
    return int(answer.split(b" ", 2)[1])


def is_cut_off(line: socket.socket, part: bytes, times: int) -> bool:
    """Whether the line is closed before it has taken the part so often."""
    try:
        for _ in range(times):
            line.sendall(part)
    except ConnectionError:
        return True
    return False


GOOD = b"GET / HTTP/1.1\r\nHost: localhost\r\nConnection: close\r\n\r\n"


def test_a_request_of_usual_length_is_answered(port: int) -> None:
    assert status(said(port, GOOD)) == 200
    body = b"a" * 100_000
    head = b"POST / HTTP/1.1\r\nHost: localhost\r\nConnection: close\r\nContent-Length: 100000\r\n\r\n"
    assert said(port, head, body).endswith(b"100000")


@pytest.mark.parametrize(
    ("sent", "code"),
    [
        (b"GET /" + b"a" * LONGEST_ADDRESS + b" HTTP/1.1\r\nHost: localhost\r\n\r\n", 414),
        (b"GET / HTTP/1.1\r\nHost: localhost\r\n" + b"A: b\r\n" * MOST_HEADERS + b"\r\n", 431),
        (b"GET / HTTP/1.1\r\nHost: localhost\r\nA: " + b"b" * LONGEST_HEAD + b"\r\n\r\n", 431),
        (b"GET / HTTP/1.1\r\nHost: localhost\r\nA: " + b"b" * 2 * LONGEST_HEAD, 431),
        (b"GET / HTTP/1.1\r\nHost: localhost\r\n" + b"b" * 2 * LONGEST_HEAD, 431),
        (b"NONSENSE\r\n\r\n", 400),
        (b"GET / HTTP/1.1\r\nContent-Length: 4\r\nTransfer-Encoding: chunked\r\n\r\n0\r\n\r\n", 400),
    ],
    ids=["address", "headers", "header", "header without end", "name without end", "nonsense", "two lengths"],
)
def test_a_head_that_is_too_long_is_refused(port: int, sent: bytes, code: int) -> None:
    answer = said(port, sent)
    assert status(answer) == code, answer[:200]
    assert b"application/problem+json" in answer
    assert status(said(port, GOOD)) == 200


def test_a_head_without_end_is_read_no_further(port: int) -> None:
    """Else it would be kept, however long it grows."""
    part = b"b" * LONGEST_HEAD
    with opened(port) as line:
        line.sendall(b"GET / HTTP/1.1\r\nA: ")
        assert is_cut_off(line, part, 2000)


@pytest.mark.parametrize(
    "part", [b"1;" + b"a" * 4090 + b"\r\nx\r\n", b"1000\r\n" + b"x" * 4096 + b"\r\n"], ids=["words", "bytes"]
)
def test_a_body_without_end_is_read_no_further(port: int, part: bytes) -> None:
    head = b"POST / HTTP/1.1\r\nHost: localhost\r\nTransfer-Encoding: chunked\r\n\r\n"
    assert LONGEST_REQUEST // len(part) < 2000
    with opened(port) as line:
        line.sendall(head)
        assert is_cut_off(line, part, 40_000)


def test_what_comes_after_a_body_is_kept_no_longer(port: int) -> None:
    head = b"POST / HTTP/1.1\r\nHost: localhost\r\nTransfer-Encoding: chunked\r\n\r\n0\r\nA: "
    with opened(port) as line:
        line.sendall(head)
        assert is_cut_off(line, b"b" * LONGEST_HEAD, 2000)


@pytest.mark.parametrize(
    "sent",
    [
        b"",
        b"GET / HTTP/1.1\r\nHost: loc",
        b"POST / HTTP/1.1\r\nHost: localhost\r\nContent-Length: 10\r\n\r\nabc",
        b"POST / HTTP/1.1\r\nHost: localhost\r\nTransfer-Encoding: chunked\r\n\r\n3\r\nabc\r\n",
    ],
    ids=["nothing", "half a head", "half a body", "a body without end"],
)
def test_a_request_that_does_not_come_ends_the_line(hasty: int, sent: bytes) -> None:
    answer = said(hasty, sent)
    assert status(answer) == 408, answer[:200]


def test_who_does_not_read_an_answer_is_cut_off(hasty: int) -> None:
    with opened(hasty) as line:
        line.setsockopt(socket.SOL_SOCKET, socket.SO_RCVBUF, 4096)
        line.sendall(b"GET /long HTTP/1.1\r\nHost: localhost\r\n\r\n")
        # The line says that something has come, and then nobody takes it until it is cut.
        while True:
            try:
                line.send(b"\r\n")
            except ConnectionError:
                break
        assert len(to_the_end(line)) < 20_000_000


def test_no_more_wait_on_one_line_than_may(port: int) -> None:
    with opened(port) as line:
        line.sendall(b"GET / HTTP/1.1\r\nHost: localhost\r\n\r\n" * (MOST_WAITING + 10))
        assert to_the_end(line).count(b"HTTP/1.1 200") <= MOST_WAITING + 1
    with opened(port) as line:
        line.sendall(b"GET / HTTP/1.1\r\nHost: localhost\r\n\r\n" * (MOST_WAITING - 1) + GOOD)
        assert to_the_end(line).count(b"HTTP/1.1 200") == MOST_WAITING


@pytest.mark.parametrize("trusted", [(), ("127.0.0.1",)])
def test_one_address_holds_so_many_lines(monkeypatch: pytest.MonkeyPatch, trusted: tuple[str, ...]) -> None:
    monkeypatch.setattr(wire_module, "MOST_OF_ONE", 3)
    monkeypatch.setattr(wire_module, "MOST_LINES", 6)
    most = 6 if trusted else 3
    with served(app, http=wire(trusted)) as found:
        held = []
        for _ in range(most):
            line = opened(found)
            line.sendall(b"GET / HTTP/1.1\r\nHost: localhost\r\n\r\n")
            assert line.recv(100).startswith(b"HTTP/1.1 200")
            held.append(line)
        answer = said(found)
        assert status(answer) == 503
        assert b"retry-after" in answer
        for line in held:
            line.close()


def test_what_is_no_request_leaves_no_line_in_the_log(port: int, caplog: pytest.LogCaptureFixture) -> None:
    caplog.set_level(logging.ERROR)
    upgrade = b"GET / HTTP/1.1\r\nHost: localhost\r\nConnection: upgrade\r\nUpgrade: websocket\r\n\r\n"
    for sent in (b"NONSENSE\r\n\r\n", upgrade):
        with opened(port) as line:
            line.sendall(sent)
            line.recv(100)
    # A body that is broken off; what is asked next is answered after it.
    with opened(port) as line:
        line.sendall(b"POST / HTTP/1.1\r\nHost: localhost\r\nContent-Length: 10\r\n\r\nabc")
    assert status(said(port, GOOD)) == 200
    assert caplog.records == []
