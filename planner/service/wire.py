"""The lines that requests come on: how many there are, how long a request may be, and how long it may take to come.

The server itself waits for ever for a request that comes byte by byte, and keeps whatever it is sent of a head.
"""

from __future__ import annotations

import asyncio
from collections.abc import Iterable
from typing import Any

from uvicorn.protocols.http.httptools_impl import STATUS_LINE, HttpToolsProtocol

from planner.service.problems import problem
from planner.service.proxies import Trusted

#: Open lines in all, and of one address; a browser opens six. A box as shipped may hold 1024 files open.
MOST_LINES, MOST_OF_ONE = 512, 64
#: Of the address, of head and address together [bytes], and of headers. A reason of 2000 signs is up to 24 kB there.
LONGEST_ADDRESS, LONGEST_HEAD, MOST_HEADERS = 32_000, 64_000, 100
#: All that is read of one request, whoever asked for it. [bytes]
LONGEST_REQUEST = 4_000_000
#: Requests that may wait on one line for the answer to the first.
MOST_WAITING = 64
#: A request is there within this time of its first byte, or of the opening of the line; and who does not read an
#: answer for as long is no reader.
WITHIN_S = 30.0
_LOOK_EVERY_S = 5.0


class BoundedLine(HttpToolsProtocol):
    """A line of the server's own, which ends where a request is too long or too slow."""

    trusted = Trusted(())
    within_s = WITHIN_S
    look_every_s = _LOOK_EVERY_S

    def __init__(self, *args: Any, **more: Any) -> None:
        super().__init__(*args, **more)
        self._look: asyncio.TimerHandle | None = None
        #: Since when a request is under way, and since when an answer is not read; None where neither is.
        self._begun: float | None = None
        self._unread: float | None = None
        self._is_in_head = False
        self._head = self._came = 0
        self._refusal: tuple[int, str] | None = None

    def connection_made(self, transport: asyncio.Transport) -> None:  # type: ignore[override]
        super().connection_made(transport)
        host = self.client[0] if self.client else ""
        if len(self.connections) > MOST_LINES or self._has_too_many(host):
            self._refuse(503, "There are too many open lines. Close some, or come again in a minute.")
            return
        self._begun = self.loop.time()
        self._look = self.loop.call_later(self.look_every_s, self._look_at_times)

    def _has_too_many(self, host: str) -> bool:
        if self.trusted.holds(host):
            return False
        clients: list[tuple[str, int] | None] = [getattr(one, "client", None) for one in self.connections]
        return [client[0] for client in clients if client].count(host) > MOST_OF_ONE

    def connection_lost(self, exc: Exception | None) -> None:
        if self._look is not None:
            self._look.cancel()
        super().connection_lost(exc)

    def data_received(self, data: bytes) -> None:
        if self.transport.is_closing():
            return
        if self._begun is None and (self.cycle is None or self.cycle.response_complete):
            self._begun = self.loop.time()
        super().data_received(data)
        if self._begun is None:
            return
        self._came += len(data)
        if self._is_in_head:
            # The parser hands a header over when it is whole: until then its length is seen here alone.
            self._head += len(data)
            if self._head > LONGEST_HEAD:
                self._refuse(431, _LONG_HEAD)
        elif self._came > LONGEST_REQUEST:
            self._refuse(413, "The request is too long.")

    def on_message_begin(self) -> None:
        super().on_message_begin()
        if self._begun is None:
            self._begun = self.loop.time()
        self._is_in_head = True
        self._head = self._came = 0

    def on_url(self, url: bytes) -> None:
        super().on_url(url)
        if len(self.url) > LONGEST_ADDRESS:
            self._stop(414, f"The address is longer than {LONGEST_ADDRESS} bytes.")

    def on_header(self, name: bytes, value: bytes) -> None:
        # What comes after a body is nobody's.
        if not self._is_in_head:
            return
        super().on_header(name, value)
        if len(self.headers) > MOST_HEADERS:
            self._stop(431, f"There are more than {MOST_HEADERS} headers.")

    def on_headers_complete(self) -> None:
        self._is_in_head = False
        if len(self.url) + sum(len(name) + len(value) for name, value in self.headers) > LONGEST_HEAD:
            self._stop(431, _LONG_HEAD)
        if len(self.pipeline) >= MOST_WAITING:
            # An answer now would be read as that to the first.
            self.transport.close()
            self._stop(503, "")
        super().on_headers_complete()

    def on_message_complete(self) -> None:
        super().on_message_complete()
        self._begun = None

    def pause_writing(self) -> None:
        super().pause_writing()
        self._unread = self.loop.time()

    def resume_writing(self) -> None:
        super().resume_writing()
        self._unread = None

    def send_400_response(self, msg: str) -> None:
        """What is no request, as a fault like any other; or the refusal that ended the reading of one."""
        self._refuse(*(self._refusal or (400, "This is no HTTP request.")))

    def _stop(self, status: int, says: str) -> None:
        """Ends the reading of a request: the parser passes on what is raised as a fault of the request."""
        self._refusal = (status, says)
        raise ValueError(says)

    def _refuse(self, status: int, says: str) -> None:
        if self.transport.is_closing():
            return
        if self.cycle is None or self.cycle.response_complete or not self.cycle.response_started:
            answer = problem(status, says, "Http")
            rows = [*answer.raw_headers, (b"connection", b"close")]
            head = b"".join(name + b": " + value + b"\r\n" for name, value in rows)
            self.transport.write(STATUS_LINE[status] + head + b"\r\n" + bytes(answer.body))
        self.transport.close()

    def _look_at_times(self) -> None:
        now = self.loop.time()
        if self._unread is not None and now - self._unread > self.within_s:
            # What is still to be sent would be waited for.
            self.transport.abort()
        elif self._begun is not None and now - self._begun > self.within_s:
            self._refuse(408, f"The request was not there within {self.within_s:g} s.")
            self.transport.close()
        if not self.transport.is_closing():
            self._look = self.loop.call_later(self.look_every_s, self._look_at_times)


_LONG_HEAD = f"The head of the request is longer than {LONGEST_HEAD} bytes."


def wire(
    trusted: Iterable[str], *, within_s: float = WITHIN_S, look_every_s: float = _LOOK_EVERY_S
) -> type[BoundedLine]:
    """The lines of a service: those from `trusted` proxies carry many clients, and are counted in all only."""
    settings = {"trusted": Trusted(trusted), "within_s": within_s, "look_every_s": look_every_s}
    return type("Line", (BoundedLine,), settings)
