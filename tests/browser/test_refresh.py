"""The page fetches itself anew when a pass lands, and stays a page when it cannot."""

from __future__ import annotations

import json
from collections.abc import Iterator
from datetime import timedelta
from typing import Any

import pytest


@pytest.fixture
def lands(served: Any) -> Iterator[Any]:
    """Lays a pass with another headline on the shelf, and the first one again afterwards."""

    def land(headline: str, hours: int = 1) -> None:
        told = dict(served.answers)
        now = json.loads(told["now"][1]) | {"headline": headline}
        told["now"] = ("application/json", json.dumps(now).encode())
        windows = json.loads(told["windows"][1])
        made = served.made_at + timedelta(hours=hours)
        windows["made_at"] = made.isoformat()
        told["windows"] = ("application/json", json.dumps(windows).encode())
        served.shelf.put(made, served.stale_at, told)

    yield land
    served.shelf.put(served.made_at, served.stale_at, served.answers)


def test_a_pass_that_lands_is_shown_and_what_is_open_stays_open(look: Any, lands: Any) -> None:
    found = look()
    page = found.page
    ribbon = page.locator("details[id^=r-foliar_feed]").first
    ribbon.locator("summary").click()
    page.evaluate("window.stayed = true")
    lands("Nothing holds today.")
    page.locator("h1", has_text="Nothing holds today.").wait_for()
    assert page.evaluate("window.stayed") is True
    assert page.title().endswith("Nothing holds today.")
    assert ribbon.locator("table").is_visible()
    assert page.locator("summary:focus").count() == 1
    assert found.complaints == []
    lands("Everything holds today.", hours=2)
    page.locator("h1", has_text="Everything holds today.").wait_for()


def test_the_same_pass_is_not_fetched_twice(look: Any) -> None:
    found = look()
    found.page.wait_for_timeout(500)
    assert sum(url.endswith("/") for url in found.asked) == 1
    assert sum(url.endswith("/api/v1/events") for url in found.asked) == 1


def test_without_script_no_line_is_opened(look: Any, lands: Any) -> None:
    found = look(script=False)
    lands("Nothing holds today.")
    found.page.wait_for_timeout(300)
    assert not [url for url in found.asked if "events" in url]
    found.page.reload()
    assert found.page.locator("h1").inner_text() == "Nothing holds today."


def test_without_events_the_page_stays_as_it_is(look: Any, browser: Any, served: Any) -> None:
    context = browser.new_context()
    page = context.new_page()
    page.route("**/api/v1/events", lambda route: route.abort())
    page.goto(served.address)
    page.wait_for_timeout(300)
    assert page.locator("h1").is_visible()
    context.close()
