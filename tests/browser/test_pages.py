"""The pages in a real browser: narrow and wide, light and dark, with and without script."""

from __future__ import annotations

import re
from typing import Any

import pytest

PAGES = (
    "/",
    "/day/2026-05-09",
    "/job/foliar_feed",
    "/sheet",
    "/help",
    "/docs",
    "/tank?job=foliar_feed&surface=green&litres=20",
    "/diary",
)
WIDTHS = (390, 1280)


@pytest.mark.parametrize("script", [False, True])
@pytest.mark.parametrize("scheme", ["light", "dark"])
@pytest.mark.parametrize("width", WIDTHS)
@pytest.mark.parametrize("path", PAGES)
def test_fits_the_width_and_asks_no_other_host(
    look: Any, served: Any, path: str, width: int, scheme: str, script: bool
) -> None:
    found = look(path, width=width, scheme=scheme, script=script)
    found.page.wait_for_timeout(150)
    assert found.asked
    assert [url for url in found.asked if not url.startswith((served.address, "data:"))] == []
    assert found.complaints == []
    session = found.page.context.new_cdp_session(found.page)
    assert session.send("Page.getLayoutMetrics")["cssContentSize"]["width"] <= width


@pytest.mark.parametrize("scheme", ["light", "dark"])
@pytest.mark.parametrize("width", WIDTHS)
@pytest.mark.parametrize("path", PAGES)
def test_axe_finds_no_serious_fault(look: Any, axe: str, path: str, width: int, scheme: str) -> None:
    page = look(path, width=width, scheme=scheme).page
    for details in page.query_selector_all("details"):
        details.evaluate("one => one.open = true")
    page.evaluate(axe)
    report = page.evaluate("axe.run(document, {resultTypes: ['violations']})")
    serious = [
        (fault["id"], fault["nodes"][0]["html"][:160], fault["nodes"][0].get("failureSummary", "")[:200])
        for fault in report["violations"]
        if fault["impact"] in ("serious", "critical")
    ]
    assert serious == []


@pytest.mark.parametrize("script", [False, True])
@pytest.mark.parametrize("width", WIDTHS)
def test_the_three_answers_stand_on_the_first_screen(look: Any, width: int, script: bool) -> None:
    page = look(width=width, script=script).page
    height = page.viewport_size["height"]
    for heading, words in (
        ("When to spray", "Sat 9 May 16:00–16:45"),
        ("What threatens", "rain from today 21:00"),
        ("May I walk on it now", "Firm underfoot"),
    ):
        block = page.locator(".thirds > div", has=page.get_by_role("heading", name=heading))
        answer = block.get_by_text(words).first
        box = answer.bounding_box()
        assert box is not None, heading
        assert box["y"] + box["height"] <= height, heading


@pytest.mark.parametrize("script", [False, True])
def test_today_tomorrow_and_what_threatens_stand_on_the_first_screen_of_a_phone(
    look: Any, script: bool
) -> None:
    page = look(width=390, script=script).page
    today, tomorrow = page.locator("h1"), page.locator(".lead")
    assert today.inner_text() == "Today: roll, green 08:00–08:30."
    # The rain of the night leaves Friday's ground too soft, and frost follows it.
    assert tomorrow.inner_text().startswith("Tomorrow: no hour to spray: ground is soaked")
    threatens = page.locator(".thirds > div", has=page.get_by_role("heading", name="What threatens"))
    for words in ("rain from today 21:00", "Ground frost likely"):
        assert words in threatens.inner_text()
    for whole in (today, tomorrow, threatens):
        box = whole.bounding_box()
        assert box is not None
        assert box["x"] >= 0
        assert box["x"] + box["width"] <= 390
        assert box["y"] >= 0
        assert box["y"] + box["height"] <= 844


@pytest.mark.parametrize("script", [False, True])
def test_every_other_job_is_one_click_away(look: Any, script: bool) -> None:
    page = look(script=script).page
    other = page.locator("#other-jobs").get_by_role("link", name="Top-dress")
    assert not other.first.is_visible()
    page.get_by_text("Every other job", exact=True).click()
    assert other.first.is_visible()


@pytest.mark.parametrize("script", [False, True])
@pytest.mark.parametrize("width", WIDTHS)
def test_a_touch_on_a_ribbon_opens_its_table(look: Any, width: int, script: bool) -> None:
    page = look(width=width, script=script).page
    ribbon = page.locator("details[id^=r-foliar_feed]").first
    table = ribbon.locator("table")
    assert not table.is_visible()
    ribbon.locator("summary").click()
    assert table.is_visible()
    # The frost of Saturday's night is in the demo's week.
    assert "Frost follows" in table.inner_text() or "frost follows" in table.inner_text()


@pytest.mark.parametrize("script", [False, True])
def test_keyboard_alone_reaches_everything(look: Any, script: bool) -> None:
    page = look(script=script).page
    page.keyboard.press("Tab")
    skip = page.locator(":focus")
    assert skip.inner_text() == "To the page"
    box = skip.bounding_box()
    assert box is not None
    assert box["x"] >= 0
    page.keyboard.press("Enter")
    # The browser tells its address a moment after the key.
    page.wait_for_url("**/#main")
    assert page.url.endswith("#main")
    for _ in range(60):
        page.keyboard.press("Tab")
        if page.locator("summary:focus").count():
            break
    summary = page.locator("summary:focus")
    assert summary.count() == 1
    page.keyboard.press("Enter")
    assert page.locator("details[open] table").first.is_visible()
    for _ in range(400):
        page.keyboard.press("Tab")
        if page.locator("#weather-table > summary:focus").count():
            break
    assert page.locator("#weather-table > summary:focus").count() == 1


@pytest.mark.parametrize("script", [False, True])
@pytest.mark.parametrize("width", WIDTHS)
def test_focus_and_touch_on_a_stretch_tell_its_cause(look: Any, width: int, script: bool) -> None:
    page = look("/job/foliar_feed", width=width, script=script).page
    stretch = page.locator(".touch a").first
    words = stretch.locator("span")
    assert _height(words) <= 1
    stretch.focus()
    assert _height(words) > 20
    page.locator("h1").click()
    assert _height(words) <= 1
    stretch.hover()
    assert _height(words) > 20
    assert re.search(
        r"\d\d:00–\d\d:00 (with room|only just|fails after|not now|not known)\.", words.inner_text()
    )


def _height(element: Any) -> float:
    box = element.bounding_box()
    return 0.0 if box is None else float(box["height"])


@pytest.mark.parametrize("path", ["/", "/day/2026-05-09", "/job/foliar_feed", "/sheet"])
def test_every_drawing_is_named_or_hidden_from_readers(look: Any, path: str) -> None:
    page = look(path).page
    for drawing in page.query_selector_all("svg[role=img]"):
        assert drawing.get_attribute("aria-label")
    nameless = page.query_selector_all("svg:not([role=img]):not([aria-hidden=true])")
    assert [one for one in nameless if not one.evaluate("one => one.parentElement.closest('svg')")] == []


@pytest.mark.parametrize("script", [False, True])
def test_work_is_written_down_by_keyboard_alone(look: Any, script: bool) -> None:
    page = look("/diary", script=script).page
    page.get_by_label("Job").focus()
    page.keyboard.type("Mow the green")
    page.keyboard.press("Tab")
    page.keyboard.type("green")
    page.keyboard.press("Tab")
    page.keyboard.type("05:0" + ("1" if script else "2"))
    form = page.get_by_role("region", name="Write down what was done")
    form.get_by_label("Token of this service").focus()
    page.keyboard.type("a token for the browser")
    page.keyboard.press("Enter")
    page.get_by_text("Written down: mow green, green, today").wait_for()
    assert page.get_by_role("cell", name="mow green").first.is_visible()


def test_the_week_sheet_prints_on_one_page(look: Any) -> None:
    page = look("/sheet", script=False).page
    printed = page.pdf(prefer_css_page_size=True)
    assert len(re.findall(rb"/Type\s*/Page\b(?!s)", printed)) == 1
