"""The page fetches itself anew when a pass lands, and stays a page when it cannot."""

from __future__ import annotations

from collections.abc import Iterator
from datetime import timedelta
from typing import Any

import pytest
from msgspec.structs import replace

from tests.reports.made import with_week


@pytest.fixture
def lands(served: Any) -> Iterator[Any]:
    """Puts a pass with another headline into the cache, and the first one again afterwards."""

    def land(job: str, hours: int = 1) -> None:
        """A pass in whose week one job stands, so that its sentence begins with it."""
        first = served.report.week.work[0]
        report = with_week(served.report, work=[replace(first, label=job)])
        served.cache.put(replace(report, made_at=report.made_at + timedelta(hours=hours)), served.workings)

    yield land
    served.cache.put(served.report, served.workings)


def test_a_pass_that_lands_is_shown_and_what_is_open_stays_open(look: Any, lands: Any) -> None:
    found = look()
    page = found.page
    tables = page.locator("#tables")
    tables.locator("summary").click()
    page.evaluate("window.stayed = true")
    lands("scarify")
    page.locator(".three", has_text="Scarify, green").wait_for()
    assert page.evaluate("window.stayed") is True
    assert ": Scarify on the green 08:00–08:30; " in page.title()
    assert tables.locator("table").first.is_visible()
    assert page.locator("summary:focus").count() == 1
    assert found.complaints == []
    lands("brush", hours=2)
    page.locator(".three", has_text="Brush, green").wait_for()


def test_the_same_pass_is_not_fetched_twice(look: Any) -> None:
    found = look()
    found.page.wait_for_timeout(500)
    assert sum(url.endswith("/") for url in found.asked) == 1
    assert sum(url.endswith("/api/v1/events") for url in found.asked) == 1


def test_without_script_no_line_is_opened(look: Any, lands: Any) -> None:
    found = look(script=False)
    lands("scarify")
    found.page.wait_for_timeout(300)
    assert not [url for url in found.asked if "events" in url]
    found.page.reload()
    assert "Scarify, green" in found.page.locator(".three").inner_text()


def test_a_page_that_was_refused_the_events_asks_again_and_says_when_it_is_old(
    browser: Any, served: Any, lands: Any
) -> None:
    refused = []
    context = browser.new_context()
    page = context.new_page()
    page.clock.install()

    def refuse(route: Any) -> None:
        refused.append(route.request.url)
        if len(refused) < 3:
            route.fulfill(status=503, body="full")
        else:
            route.continue_()

    page.route("**/api/v1/events", refuse)
    with page.expect_response("**/api/v1/events"):
        page.goto(served.address)
    assert page.locator("#old").is_hidden()
    with page.expect_response("**/api/v1/events"):
        page.clock.run_for(61_000)
    page.clock.fast_forward(3_720_000)
    page.locator("#old").wait_for()
    assert "This page is old" in page.locator("#old").inner_text()
    lands("scarify")
    page.clock.run_for(61_000)
    page.locator(".three", has_text="Scarify, green").wait_for()
    assert page.locator("#old").is_hidden()
    assert len(refused) == 3
    context.close()


def test_without_events_the_page_stays_as_it_is(look: Any, browser: Any, served: Any) -> None:
    context = browser.new_context()
    page = context.new_page()
    page.route("**/api/v1/events", lambda route: route.abort())
    page.goto(served.address)
    page.wait_for_timeout(300)
    assert page.locator("h1").is_visible()
    context.close()
