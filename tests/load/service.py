"""What is measured, each in a process of its own: the service with its passes, and a bare route; a weather service."""

from __future__ import annotations

import json
import os
import re
import shutil
import socket
import subprocess
import sys
import threading
import time
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta
from http.server import BaseHTTPRequestHandler, ThreadingHTTPServer
from pathlib import Path

from tests.made import DEMO, ROOT
from tests.service.serving import UNCOUNTED

TOKEN = "long enough to be a secret"
#: Minutes between passes: the least that a site file may say.
EVERY_MIN = 10
_PAST_H = 72
_RECORDED = ROOT / "fixtures" / "forecast" / "open-meteo" / "berlin_2025_07_27.json"
#: The framework with one route that returns these bytes, under the settings of the service.
_BARE = """
import sys
import uvicorn
from pathlib import Path
from fastapi import FastAPI, Response

app, body = FastAPI(), Path(sys.argv[2]).read_bytes()

@app.get("/")
async def answer() -> Response:
    return Response(body, media_type="application/json")

uvicorn.run(app, port=int(sys.argv[1]), log_level="error", log_config=None, access_log=False, ws="none")
"""


@dataclass(frozen=True, slots=True)
class Process:
    """A server: its port, its number among processes, its log."""

    port: int
    number: int
    log: Path

    def memory_mb(self) -> float:
        """What it holds in memory now. [MB]"""
        return self._status("VmRSS")

    def peak_mb(self) -> float:
        """The most it has held since the start, or since `forget_peak`. [MB]"""
        return self._status("VmHWM")

    def forget_peak(self) -> None:
        """Begins the peak anew."""
        Path(f"/proc/{self.number}/clear_refs").write_text("5")

    def _status(self, name: str) -> float:
        text = Path(f"/proc/{self.number}/status").read_text()
        found = re.search(rf"^{name}:\s+(\d+) kB", text, re.MULTILINE)
        assert found is not None
        return int(found[1]) / 1024

    def told(self) -> list[str]:
        """Lines of the log that tell of a fault of our own."""
        return [line for line in self.log.read_text().splitlines() if re.search("Traceback|ERROR", line)]


def _free_port() -> int:
    with socket.socket() as held:
        held.bind(("127.0.0.1", 0))
        return int(held.getsockname()[1])


@contextmanager
def _started(command: list[str], cwd: Path, port: int, log: Path) -> Iterator[Process]:
    env = {**os.environ, "HAYSEL_TOKEN": TOKEN, "PYTHONPATH": str(ROOT), "PYTHONUNBUFFERED": "1"}
    with log.open("wb") as written:
        process = subprocess.Popen(command, cwd=cwd, env=env, stdout=written, stderr=written)
        try:
            while not _listens(port):
                assert process.poll() is None, log.read_text()
                time.sleep(0.05)
            yield Process(port, process.pid, log)
        finally:
            process.terminate()
            process.wait(30)


def _listens(port: int) -> bool:
    with socket.socket() as line:
        return line.connect_ex(("127.0.0.1", port)) == 0


def _weather() -> bytes:
    """A recorded answer, moved to these days and to the place of the demo."""
    answer = json.loads(_RECORDED.read_text(encoding="utf-8"))
    now = datetime.now(UTC).replace(minute=0, second=0, microsecond=0)
    first = int((now - timedelta(hours=_PAST_H)).timestamp())
    hourly = answer["hourly"]
    hourly["time"] = [first + 3600 * hour for hour in range(len(hourly["time"]))]
    place = {
        "latitude": 51.62,
        "longitude": -2.21,
        "elevation": 118.0,
        "utc_offset_seconds": 0,
        "timezone": "GMT",
    }
    units = {**answer["hourly_units"], "time": "unixtime"}
    return json.dumps({**place, "hourly_units": units, "hourly": hourly}).encode()


@contextmanager
def weather_service() -> Iterator[str]:
    """The address of a weather service that answers with that."""

    class Handler(BaseHTTPRequestHandler):
        def do_GET(self) -> None:  # noqa: N802 named by the standard library
            body = _weather() if self.path.startswith("/v1/forecast") else b"{}"
            self.send_response(200 if len(body) > 2 else 404)
            self.send_header("Content-Type", "application/json")
            self.send_header("Content-Length", str(len(body)))
            self.end_headers()
            self.wfile.write(body)

        def log_message(self, *args: object) -> None:
            """Nothing."""

    server = ThreadingHTTPServer(("127.0.0.1", 0), Handler)
    threading.Thread(target=server.serve_forever, daemon=True).start()
    try:
        yield f"http://127.0.0.1:{server.server_port}"
    finally:
        server.shutdown()
        server.server_close()


@contextmanager
def the_service(folder: Path, weather: str) -> Iterator[Process]:
    """`haysel serve` on the demo's site with a store of its own, its passes from that weather service."""
    for name in ("rules.toml", "materials.toml"):
        shutil.copy(ROOT / "config" / name, folder / name)
    text = DEMO.read_text(encoding="utf-8")
    for old, new in (
        ("every_minutes = 60", f"every_minutes = {EVERY_MIN}"),
        ('url = "sqlite:///.haysel/demo.db"', f'url = "sqlite:///{folder / "load.db"}"'),
        ("[store]", f'[forecast.open-meteo]\nbase_url = "{weather}"\n\n[store]'),
        ("[service]\n", f"[service]\n{UNCOUNTED}\n"),
    ):
        assert old in text, old
        text = text.replace(old, new)
    site = folder / "site.toml"
    site.write_text(text, encoding="utf-8")
    port = _free_port()
    command = [sys.executable, "-m", "planner", "serve", "--config", str(site), "--port", str(port)]
    with _started(command, folder, port, folder / "service.log") as found:
        yield found


@contextmanager
def bare_route(folder: Path, body: bytes) -> Iterator[Process]:
    """The bare route with the same bytes."""
    (folder / "body").write_bytes(body)
    port = _free_port()
    command = [sys.executable, "-c", _BARE, str(port), str(folder / "body")]
    with _started(command, folder, port, folder / "bare.log") as found:
        yield found
