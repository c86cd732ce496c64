"""A service on a socket of its own within the test's process, and plain sockets to speak to it with."""

from __future__ import annotations

import shutil
import socket
import threading
import time
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Any

import uvicorn

from tests.made import DEMO, ROOT

#: Longer than anything here takes; nothing waits for it to run out but a test that fails.
PATIENCE_S = 60.0


@contextmanager
def served(app: Any, **settings: Any) -> Iterator[int]:
    """The port on which uvicorn serves the application."""
    held = socket.socket()
    held.bind(("127.0.0.1", 0))
    config = uvicorn.Config(
        app, log_level="error", log_config=None, access_log=False, timeout_graceful_shutdown=1, **settings
    )
    server = uvicorn.Server(config)
    thread = threading.Thread(target=server.run, kwargs={"sockets": [held]}, daemon=True)
    thread.start()
    while not server.started:
        assert thread.is_alive(), "the server did not start"
        time.sleep(0.01)
    try:
        yield int(held.getsockname()[1])
    finally:
        server.should_exit = True
        thread.join(PATIENCE_S)
        held.close()


def opened(port: int) -> socket.socket:
    """A line to it."""
    return socket.create_connection(("127.0.0.1", port), timeout=PATIENCE_S)


def to_the_end(line: socket.socket) -> bytes:
    """All that comes until the other side closes; what it has cut off counts as closed."""
    got = b""
    try:
        while part := line.recv(1 << 16):
            got += part
    except ConnectionError:
        pass
    return got


def said(port: int, *parts: bytes) -> bytes:
    """What is answered to these bytes, until the line is closed."""
    with opened(port) as line:
        try:
            for part in parts:
                line.sendall(part)
        except ConnectionError:
            # Closed before all was sent: what was answered before that still lies here.
            pass
        return to_the_end(line)


def demo_folder(at: Path, service: str) -> Path:
    """A folder in which `haysel serve --demo` finds a demo with these lines more under [service]."""
    (at / "config").mkdir(parents=True)
    for name in ("rules.toml", "materials.toml"):
        shutil.copy(ROOT / "config" / name, at / "config" / name)
    text = DEMO.read_text(encoding="utf-8")
    assert text.count("[service]\n") == 1
    changed = text.replace("[service]\n", f"[service]\n{service}\n")
    (at / "config" / DEMO.name).write_text(changed, encoding="utf-8")
    return at


#: Lines under [service] for a service that is asked more often than any house asks.
UNCOUNTED = "reads_per_minute = 0\nwrites_per_minute = 0\nwrong_tokens_per_minute = 0\nstreams_per_client = 0"
