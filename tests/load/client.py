"""A client of its own that costs less than what it asks: lines kept open, one request under way on each."""

from __future__ import annotations

import asyncio
import re
import time
from collections import deque
from collections.abc import Callable

_LENGTH = re.compile(rb"\r\ncontent-length: (\d+)", re.IGNORECASE)
_TAG = re.compile(rb"\r\netag: ([^\r]+)", re.IGNORECASE)
_TICK_S = 0.001
#: Status, ETag, seconds from when the request was due.
Done = Callable[[int, bytes, float], None]


def get(path: str, *heads: str, compressed: bool = True) -> bytes:
    """A GET as it goes over the line."""
    encoding = "gzip" if compressed else "identity"
    return "\r\n".join(
        [f"GET {path} HTTP/1.1", "Host: localhost", f"Accept-Encoding: {encoding}", *heads, "", ""]
    ).encode()


class Line(asyncio.Protocol):
    """One line, with one request under way at most."""

    def __init__(self, idle: deque[Line]) -> None:
        self._idle = idle
        self._buffer = bytearray()
        self._left = -1
        self._status = 0
        self._tag = b""
        self._began = 0.0
        self._done: Done | None = None
        self._transport: asyncio.Transport | None = None

    def connection_made(self, transport: asyncio.BaseTransport) -> None:
        assert isinstance(transport, asyncio.Transport)
        self._transport = transport
        self._idle.append(self)

    def ask(self, request: bytes, due: float, done: Done) -> None:
        """Sends the request; `done` is told of the answer."""
        assert self._transport is not None
        self._began, self._done = due, done
        self._transport.write(request)

    def data_received(self, data: bytes) -> None:
        if self._left >= 0:
            self._left -= len(data)
        else:
            self._buffer += data
            end = self._buffer.find(b"\r\n\r\n")
            if end < 0:
                return
            head = bytes(self._buffer[:end])
            self._status = int(head[9:12])
            length, tag = _LENGTH.search(head), _TAG.search(head)
            self._tag = tag[1] if tag else b""
            body = int(length[1]) if length and self._status != 304 else 0
            self._left = body - (len(self._buffer) - end - 4)
            self._buffer.clear()
        if self._left == 0:
            self._left = -1
            self._ended()

    def _ended(self) -> None:
        done, self._done = self._done, None
        self._idle.append(self)
        if done is not None:
            done(self._status, self._tag, time.perf_counter() - self._began)

    @property
    def is_open(self) -> bool:
        """Whether it can be asked, or is being asked."""
        return self._transport is not None and not self._transport.is_closing()

    def connection_lost(self, exc: Exception | None) -> None:
        if self in self._idle:
            self._idle.remove(self)
        done, self._done = self._done, None
        if done is not None:
            done(0, b"", time.perf_counter() - self._began)

    def close(self) -> None:
        """Closes the line."""
        if self._transport is not None:
            self._transport.close()


class Lines:
    """Lines to one port; a request takes one that is idle."""

    def __init__(self, port: int, number: int) -> None:
        self._port = port
        self._number = number
        self._idle: deque[Line] = deque()
        self._all: list[Line] = []

    async def __aenter__(self) -> Lines:
        for _ in range(self._number):
            await self._open()
        return self

    async def _open(self) -> None:
        loop = asyncio.get_running_loop()
        _, line = await loop.create_connection(lambda: Line(self._idle), "127.0.0.1", self._port)
        self._all.append(line)

    async def __aexit__(self, *fault: object) -> None:
        for line in self._all:
            line.close()

    async def one(self, request: bytes) -> tuple[int, bytes, float]:
        """Status, ETag and seconds of one request; waits for its answer."""
        # Idle lines are closed by the server after a while.
        while not self._idle:
            await self._open()
        answered: asyncio.Future[tuple[int, bytes, float]] = asyncio.get_running_loop().create_future()
        self._idle.popleft().ask(request, time.perf_counter(), lambda *found: answered.set_result(found))
        return await answered

    async def as_fast_as_may_be(self, requests: list[bytes], for_s: float) -> float:
        """Requests a second over all lines, each asked again as soon as it has answered."""
        end, done = time.perf_counter() + for_s, 0

        async def keep_asking(first: int) -> None:
            nonlocal done
            number = first
            while time.perf_counter() < end:
                status, _, _ = await self.one(requests[number % len(requests)])
                assert status == 200, status
                number += 1
                done += 1

        began = time.perf_counter()
        await asyncio.gather(*(keep_asking(first) for first in range(self._number)))
        return done / (time.perf_counter() - began)

    async def at_a_rate(
        self, rate: float, for_s: float, next_one: Callable[[], tuple[bytes, Done]]
    ) -> tuple[int, int]:
        """Asks so many a second, answered or not. How many were due, and how many found no idle line in time."""
        began = time.perf_counter()
        sent = late = 0
        while (now := time.perf_counter()) - began < for_s:
            due = int((now - began) * rate)
            while sent < due:
                if not self._idle:
                    await asyncio.sleep(_TICK_S)
                    if not self._idle:
                        late += 1
                        break
                request, done = next_one()
                # From when it was due, so that a stop of the service counts against all that it keeps waiting.
                self._idle.popleft().ask(request, began + sent / rate, done)
                sent += 1
            await asyncio.sleep(_TICK_S)
        until = time.perf_counter() + 30
        while len(self._idle) < sum(line.is_open for line in self._all) and time.perf_counter() < until:
            await asyncio.sleep(0.01)
        return sent, late
