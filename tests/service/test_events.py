"""Server-sent events over a real server: one at once, one for each pass, none after the line is closed."""

from __future__ import annotations

import socket
import threading
import time
from collections.abc import Iterator
from datetime import UTC, timedelta

import httpx
import pytest
import uvicorn
from msgspec.structs import replace

from planner.page import edition
from planner.reports.rows import Report
from planner.reports.workings import Workings
from planner.service import pages as events_module
from planner.service.app import create_app
from planner.service.cache import ReportCache
from tests.service.conftest import Clock


@pytest.fixture
def address(cache: ReportCache, clock: Clock) -> Iterator[str]:
    held = socket.socket()
    held.bind(("127.0.0.1", 0))
    app = create_app(cache, clock=clock)
    config = uvicorn.Config(app, log_level="warning", access_log=False, timeout_graceful_shutdown=1)
    server = uvicorn.Server(config)
    thread = threading.Thread(target=server.run, kwargs={"sockets": [held]}, daemon=True)
    thread.start()
    while not server.started:
        assert thread.is_alive(), "the server did not start"
        time.sleep(0.01)
    yield f"http://127.0.0.1:{held.getsockname()[1]}"
    server.should_exit = True
    thread.join(60)
    held.close()


def _data(lines: Iterator[str]) -> str:
    for line in lines:
        if line.startswith("data: "):
            return line.removeprefix("data: ")
    raise AssertionError("the line was closed without an event")


def test_a_pass_is_told_to_who_listens(
    address: str, cache: ReportCache, report: Report, workings: Workings
) -> None:
    with (
        httpx.Client(timeout=60) as client,
        client.stream("GET", f"{address}/api/v1/events") as stream,
    ):
        assert stream.headers["content-type"].startswith("text/event-stream")
        lines = stream.iter_lines()
        assert _data(lines) == edition(report)
        made_at = report.made_at.astimezone(UTC) + timedelta(hours=1)
        cache.put(replace(report, made_at=made_at), workings)
        announced = _data(lines)
        assert announced.startswith("2026-05-07T06:00:00Z ")
        page = client.get(f"{address}/").text
        assert f'data-edition="{announced}"' in page


def test_what_turns_between_passes_is_told_as_something_new(
    address: str, cache: ReportCache, clock: Clock, report: Report
) -> None:
    with (
        httpx.Client(timeout=60) as client,
        client.stream("GET", f"{address}/api/v1/events") as stream,
    ):
        lines = stream.iter_lines()
        first = _data(lines)
        clock.forward(hours=7)
        cache.turn()
        turned = _data(lines)
        assert turned != first
        page = client.get(f"{address}/").text
        assert f'data-edition="{turned}"' in page
        assert "Thu 13:00, forecast" in page


def test_listeners_leave_nothing_behind(address: str, cache: ReportCache) -> None:
    before = list(cache._listeners)
    with (
        httpx.Client(timeout=60) as client,
        client.stream("GET", f"{address}/api/v1/events") as stream,
    ):
        # The line is closed with its iterator, so that is held.
        lines = stream.iter_lines()
        _data(lines)
        assert len(cache._listeners) == len(before) + 1
    deadline = time.monotonic() + 60
    while cache._listeners != before and time.monotonic() < deadline:
        time.sleep(0.02)
    assert cache._listeners == before


def test_too_many_listeners_are_told_so(address: str, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(events_module, "MOST_OPEN", 1)
    with (
        httpx.Client(timeout=60) as client,
        client.stream("GET", f"{address}/api/v1/events") as stream,
    ):
        # The line is closed with its iterator, so that is held.
        lines = stream.iter_lines()
        _data(lines)
        refused = client.get(f"{address}/api/v1/events")
        assert refused.status_code == 503
        assert refused.headers["content-type"] == "application/problem+json"


def test_a_parameter_is_refused_since_there_is_none(address: str) -> None:
    found = httpx.get(f"{address}/api/v1/events?job=mowing", timeout=60)
    assert found.status_code == 422
    assert 'no parameter "job"' in found.json()["detail"]
