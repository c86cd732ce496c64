"""A service of the demo in a process of its own, with its log."""

from __future__ import annotations

import os
import socket
import subprocess
import sys
import time
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path

from tests.fuzz.requests import TOKEN
from tests.made import ROOT
from tests.service.serving import UNCOUNTED, demo_folder


@dataclass(frozen=True, slots=True)
class Running:
    """Where it answers and what it logs."""

    port: int
    log: Path
    process: int

    def told(self) -> list[str]:
        """Lines of the log that tell of a fault of our own, with what follows."""
        lines = self.log.read_text(encoding="utf-8", errors="replace").splitlines()
        return ["\n".join(lines[at : at + 60]) for at, line in enumerate(lines) if "Traceback" in line]


@contextmanager
def running(folder: Path) -> Iterator[Running]:
    """`haysel serve --demo` without limits of how often it may be asked; its diary is kept in memory."""
    with socket.socket() as held:
        held.bind(("127.0.0.1", 0))
        port = int(held.getsockname()[1])
    place, log = demo_folder(folder / "demo", UNCOUNTED), folder / "log"
    env = {**os.environ, "HAYSEL_TOKEN": TOKEN, "PYTHONPATH": str(ROOT), "PYTHONUNBUFFERED": "1"}
    with log.open("wb") as written:
        command = [sys.executable, "-m", "planner", "serve", "--demo", "--port", str(port)]
        process = subprocess.Popen(command, cwd=place, env=env, stdout=written, stderr=written)
        try:
            while not _answers(port):
                assert process.poll() is None, log.read_text()
                time.sleep(0.05)
            yield Running(port, log, process.pid)
        finally:
            process.terminate()
            process.wait(30)


def _answers(port: int) -> bool:
    with socket.socket() as line:
        return line.connect_ex(("127.0.0.1", port)) == 0
