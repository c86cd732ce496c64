"""A real browser before a real server. Without a browser the tests are skipped with a word; with CI they fail."""

from __future__ import annotations

import os
import shutil
import socket
import tempfile
import threading
import time
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import pytest
import uvicorn

from planner.config.load import load
from planner.reports.rows import Report
from planner.reports.workings import Workings
from planner.service.app import create_app
from planner.service.cache import ReportCache
from planner.service.context import Context
from planner.service.forms import forms
from planner.service.pages import draw_at_once
from planner.store.store import Store
from tests.service.conftest import NOW, ROOT, Clock, report, workings

__all__ = ["report", "workings"]

TOKEN = "a token for the browser"
ARGS = [
    "--no-sandbox",
    "--disable-gpu",
    "--no-first-run",
    "--disable-background-networking",
    "--disable-component-update",
    "--disable-sync",
]


def pytest_collection_modifyitems(items: list[pytest.Item]) -> None:
    """Everything in this folder drives a browser."""
    for one in items:
        if Path(__file__).parent in one.path.parents:
            one.add_marker(pytest.mark.browser)


def missing(what: str) -> Any:
    """Leave the test out with a word, or fail it where everything should be there."""
    if os.environ.get("CI") == "true":
        return pytest.fail(what)
    return pytest.skip(what)


@pytest.fixture(scope="session")
def axe() -> str:
    """The source of axe-core: HAYSEL_AXE, or a temporary folder where npm has put it."""
    beside = Path(tempfile.gettempdir()) / "haysel-axe" / "node_modules" / "axe-core" / "axe.min.js"
    path = Path(os.environ.get("HAYSEL_AXE", beside))
    if not path.is_file():
        missing(f"no axe-core at {path}: npm install --prefix {beside.parents[2]} axe-core")
    return path.read_text(encoding="utf-8")


@pytest.fixture(scope="session")
def browser() -> Iterator[Any]:
    path = os.environ.get("HAYSEL_CHROMIUM") or shutil.which("chromium") or shutil.which("chromium-browser")
    try:
        from playwright.sync_api import sync_playwright
    except ModuleNotFoundError:
        missing("the playwright package is not installed")
    if path is None:
        missing("no chromium on this machine: apt-get install chromium, or set HAYSEL_CHROMIUM")
    with sync_playwright() as driver:
        launched = driver.chromium.launch(executable_path=path, args=ARGS)
        yield launched
        launched.close()


@dataclass(frozen=True)
class Served:
    """A running service and the cache behind it."""

    address: str
    cache: ReportCache
    report: Report
    workings: Workings


@pytest.fixture(scope="session")
def served(report: Report, workings: Workings) -> Iterator[Served]:
    clock = Clock(NOW)
    cache = ReportCache(clock, draw_at_once)
    cache.put(report, workings)
    held = socket.socket()
    held.bind(("127.0.0.1", 0))
    app = create_app(cache, clock=clock)
    config = load(ROOT / "config" / "demo.toml")
    store = Store.open("sqlite://")
    context = Context(
        config=lambda: config,
        store=lambda: store,
        cache=cache,
        clock=clock,
        token=TOKEN,
        renew=lambda: None,
        sends=False,
    )
    app.include_router(forms(context))
    server = uvicorn.Server(
        uvicorn.Config(app, log_level="error", access_log=False, timeout_graceful_shutdown=1)
    )
    thread = threading.Thread(target=server.run, kwargs={"sockets": [held]}, daemon=True)
    thread.start()
    while not server.started:
        time.sleep(0.01)
    address = f"http://127.0.0.1:{held.getsockname()[1]}"
    yield Served(address, cache, report, workings)
    server.should_exit = True
    thread.join(10)
    held.close()
    store.close()


@dataclass
class Look:
    """One open page and everything it asked for or complained of."""

    page: Any
    asked: list[str]
    complaints: list[str]


@pytest.fixture
def look(browser: Any, served: Served) -> Iterator[Any]:
    """Opens a page at a width, light or dark, with or without script."""
    contexts: list[Any] = []

    def open_page(
        path: str = "/", *, width: int = 390, scheme: str = "light", script: bool = True, height: int = 0
    ) -> Look:
        context = browser.new_context(
            viewport={"width": width, "height": height or (844 if width < 600 else 800)},
            color_scheme=scheme,
            java_script_enabled=script,
        )
        contexts.append(context)
        page = context.new_page()
        found = Look(page, [], [])
        page.on("request", lambda request: found.asked.append(request.url))
        page.on("console", lambda message: found.complaints.append(message.text))
        page.on("pageerror", lambda error: found.complaints.append(str(error)))
        page.goto(served.address + path)
        return found

    yield open_page
    for context in contexts:
        context.close()
