"""Server-sent events over a real server: one at once, one for each pass, none after the line is closed."""

from __future__ import annotations

import time
from collections.abc import Iterator
from datetime import UTC, timedelta

import httpx
import pytest
from msgspec.structs import replace

from planner.page import edition
from planner.reports.rows import Report
from planner.reports.workings import Workings
from planner.service.app import create_app
from planner.service.cache import ReportCache
from planner.service.rates import Streams
from tests.service.conftest import Clock
from tests.service.serving import served


@pytest.fixture
def streams() -> Streams:
    return Streams(0, 0)


@pytest.fixture
def address(cache: ReportCache, clock: Clock, streams: Streams) -> Iterator[str]:
    with served(create_app(cache, clock=clock, streams=streams)) as port:
        yield f"http://127.0.0.1:{port}"


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


@pytest.mark.parametrize(("streams", "status"), [(Streams(1, 0), 503), (Streams(0, 1), 429)])
def test_too_many_listeners_are_told_so(address: str, streams: Streams, status: int) -> None:
    with (
        httpx.Client(timeout=60) as client,
        client.stream("GET", f"{address}/api/v1/events") as stream,
    ):
        # The line is closed with its iterator, so that is held.
        lines = stream.iter_lines()
        _data(lines)
        refused = client.get(f"{address}/api/v1/events")
        assert refused.status_code == status
        assert int(refused.headers["retry-after"]) > 0
        assert refused.headers["content-type"] == "application/problem+json"
    deadline = time.monotonic() + 60
    while streams.open_now and time.monotonic() < deadline:
        time.sleep(0.02)
    assert streams.open_now == 0


def test_a_parameter_is_refused_since_there_is_none(address: str) -> None:
    found = httpx.get(f"{address}/api/v1/events?job=mowing", timeout=60)
    assert found.status_code == 422
    assert 'no parameter "job"' in found.json()["detail"]
