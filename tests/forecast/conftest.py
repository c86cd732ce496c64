"""A weather service on this machine that answers as the script says, and short waits between attempts."""

from __future__ import annotations

import threading
from collections.abc import Callable, Iterator
from dataclasses import dataclass, field
from http.server import BaseHTTPRequestHandler, ThreadingHTTPServer

import pytest

from planner.forecast import http

Reply = Callable[[BaseHTTPRequestHandler], None]


def reply(body: bytes = b"{}", status: int = 200, kind: str = "application/json", **headers: str) -> Reply:
    """A whole answer; header names are written with underscores."""

    def send(handler: BaseHTTPRequestHandler) -> None:
        handler.send_response(status)
        handler.send_header("Content-Type", kind)
        handler.send_header("Content-Length", str(len(body)))
        for name, value in headers.items():
            handler.send_header(name.replace("_", "-"), value)
        handler.end_headers()
        handler.wfile.write(body)

    return send


@dataclass
class Service:
    """What the service will say, one reply a request (the last one for good), and what it was asked."""

    url: str
    script: list[Reply] = field(default_factory=list)
    asked: list[tuple[str, dict[str, str]]] = field(default_factory=list)

    def says(self, *replies: Reply) -> None:
        self.script = list(replies)


class _Quiet(ThreadingHTTPServer):
    daemon_threads = True

    def handle_error(self, request: object, client_address: object) -> None:
        """A client that hangs up is part of the tests."""


@pytest.fixture
def service() -> Iterator[Service]:
    class Handler(BaseHTTPRequestHandler):
        def do_GET(self) -> None:  # noqa: N802 named by the standard library
            known.asked.append((self.path, {name.lower(): value for name, value in self.headers.items()}))
            (known.script.pop(0) if len(known.script) > 1 else known.script[0])(self)

        def log_message(self, *args: object) -> None:
            """Nothing."""

    server = _Quiet(("127.0.0.1", 0), Handler)
    known = Service(url=f"http://127.0.0.1:{server.server_port}")
    thread = threading.Thread(target=server.serve_forever, kwargs={"poll_interval": 0.01})
    thread.start()
    yield known
    server.shutdown()
    thread.join()
    server.server_close()


@pytest.fixture(autouse=True)
def short_waits(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(http, "WAIT_S", 0.01)
    monkeypatch.setattr(http, "JITTER_S", 0.01)
