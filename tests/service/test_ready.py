"""An answer that is given again without a search holds no longer than the report it was drawn from."""

from __future__ import annotations

from datetime import timedelta

import pytest
from fastapi.testclient import TestClient
from msgspec.structs import replace

from planner.reports.rows import Report
from planner.reports.workings import Workings
from planner.service import cache as cache_module
from planner.service import pages as pages_module
from planner.service.cache import ReportCache
from tests.service.conftest import Clock

READS = (
    *(
        "/api/v1/now",
        "/api/v1/windows",
        "/api/v1/windows?surface=green",
        "/api/v1/days",
        "/api/v1/hours?format=csv",
    ),
    *("/", "/api/v1/ribbons?job=foliar_feed"),
)


def is_ready(cache: ReportCache, address: str) -> bool:
    path, _, question = address.partition("?")
    return cache.snapshot().ready(path, question.encode()) is not None


@pytest.mark.parametrize("address", READS)
def test_the_second_answer_is_the_first_one_again(
    client: TestClient, cache: ReportCache, address: str
) -> None:
    assert not is_ready(cache, address)
    first = client.get(address)
    assert is_ready(cache, address)
    again = client.get(address)
    assert (again.status_code, again.content, again.headers) == (200, first.content, first.headers)
    plain = client.get(address, headers={"Accept-Encoding": "identity"})
    assert (plain.content, plain.headers.get("content-encoding")) == (first.content, None)
    known = {"If-None-Match": first.headers["etag"]}
    assert client.get(address, headers=known).status_code == 304
    head = client.head(address)
    assert (head.status_code, head.content, head.headers["etag"]) == (200, b"", first.headers["etag"])
    assert client.post(address).status_code == 405


@pytest.mark.parametrize("address", READS)
def test_a_pass_and_the_hour_end_it(
    client: TestClient, cache: ReportCache, clock: Clock, report: Report, workings: Workings, address: str
) -> None:
    first = client.get(address)
    made_at = report.made_at + timedelta(minutes=1)
    cache.put(replace(report, made_at=made_at, site=replace(report.site, name="Another")), workings)
    assert not is_ready(cache, address)
    second = client.get(address)
    if "hours" not in address:
        assert second.content != first.content
    clock.forward(hours=1)
    assert not is_ready(cache, address)
    cache.clear()
    assert client.get(address).status_code == 503


def test_what_goes_by_the_clock_or_is_refused_is_not_given_again(
    client: TestClient, cache: ReportCache
) -> None:
    for address in (
        "/api/v1/windows?day=tomorrow",
        "/api/v1/explain?job=rolling&time=13:00",
        "/?day=tomorrow",
        "/api/v1/windows?job=moon",
        "/api/v1/now?day=tomorrow",
        "/api/v1/windows?surface=green&" + "&" * cache_module._LONGEST_QUESTION_KEPT,
    ):
        client.get(address)
        assert not is_ready(cache, address)


def test_so_many_addresses_are_kept_and_no_more(
    client: TestClient, cache: ReportCache, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(cache_module, "_MOST_KEPT", 3)
    for number in range(5):
        assert client.get("/api/v1/windows?surface=green" + "&" * number).status_code == 200
    assert [is_ready(cache, "/api/v1/windows?surface=green" + "&" * number) for number in range(5)] == [
        *(True, True, True),
        *(False, False),
    ]


def test_what_is_too_much_to_keep_is_kept_under_no_address_either(
    client: TestClient, cache: ReportCache, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(cache_module, "_MOST_BYTES_KEPT", 0)
    for number in range(3):
        address = "/api/v1/hours?format=json" + "&" * number
        assert client.get(address).status_code == 200
        assert not is_ready(cache, address)


def test_gauges_are_drawn_once_a_second(
    client: TestClient, clock: Clock, monkeypatch: pytest.MonkeyPatch
) -> None:
    drawn = []

    def draw(*_: object) -> bytes:
        drawn.append(clock.now)
        return b"x"

    monkeypatch.setattr(pages_module, "metrics", draw)
    for _ in range(5):
        client.get("/metrics")
    clock.forward(seconds=1)
    client.get("/metrics")
    assert len(drawn) == 2
