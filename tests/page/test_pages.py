"""What the pages say and how they are drawn: readable without colour, script or anything from elsewhere."""

from __future__ import annotations

import gzip
import re
from datetime import date, datetime, timedelta
from html.parser import HTMLParser
from typing import Any
from xml.etree import ElementTree

import pytest

from planner import page
from planner.page.ribbon import Scale
from planner.page.rows import blocks, together

PAGES = ("home", "sheet", "day", "job", "help")
FORBIDDEN = re.compile(
    r"safe to spray|\bok\b|no-go|\bgo/|traffic|\bgreen light|optimal|suitable|marginal|\bsmart\b|insight"
    r"|\balerts?\b|\btasks?\b|\bdose\b|!(?!doctype)",
    re.IGNORECASE,
)
VOID = {"meta", "link", "br", "input", "hr", "img"}


def _drawn(parsed: dict[str, Any], name: str) -> str:
    made = {
        "home": lambda: page.home(parsed),
        "sheet": lambda: page.sheet(parsed),
        "day": lambda: page.day(parsed, "2026-05-09"),
        "job": lambda: page.job(parsed, "foliar_feed"),
        "help": lambda: page.help_page(parsed, "http://turf.example:8480"),
    }
    return made[name]().decode()


class _Outline(HTMLParser):
    """Elements in order with what is open around them; refuses a page whose elements do not close."""

    def __init__(self, text: str) -> None:
        super().__init__(convert_charrefs=True)
        self.open: list[str] = []
        self.found: list[tuple[str, dict[str, str | None]]] = []
        self.text: list[str] = []
        self.feed(text)
        assert self.open == []

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        self.found.append((tag, dict(attrs)))
        if tag not in VOID:
            self.open.append(tag)

    def handle_startendtag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        self.found.append((tag, dict(attrs)))

    def handle_endtag(self, tag: str) -> None:
        assert self.open, f"</{tag}> closes nothing"
        assert self.open.pop() == tag, f"</{tag}> closes another element"

    def handle_data(self, data: str) -> None:
        if not {"style", "script"} & set(self.open):
            self.text.append(data)


@pytest.mark.parametrize("name", PAGES)
def test_closes_every_element_and_uses_each_id_once(parsed: dict[str, Any], name: str) -> None:
    outline = _Outline(_drawn(parsed, name))
    ids = [attrs["id"] for _, attrs in outline.found if "id" in attrs]
    assert len(ids) == len(set(ids))
    for tag, attrs in outline.found:
        target = attrs.get("href") or ""
        if tag == "a" and target.startswith("#"):
            assert target[1:] in ids, target
    assert [tag for tag, _ in outline.found].count("h1") == 1
    assert [tag for tag, _ in outline.found].count("main") == 1


@pytest.mark.parametrize("name", PAGES)
def test_asks_nothing_of_any_other_host(parsed: dict[str, Any], name: str) -> None:
    text = _drawn(parsed, name)
    for tag, attrs in _Outline(text).found:
        for key in ("src", "href", "action", "srcset", "poster", "data"):
            value = attrs.get(key) or ""
            allowed = value.startswith(("/", "#", "data:")) or (
                tag == "a" and value == parsed["windows"]["forecast"]["credit_url"]
            )
            assert not value or allowed, (tag, key, value)
    assert "@import" not in text
    assert not re.search(r"url\((?!#)", text)


@pytest.mark.parametrize("name", PAGES)
def test_uses_no_word_we_keep_away_from(parsed: dict[str, Any], name: str) -> None:
    text = " ".join(_Outline(_drawn(parsed, name)).text)
    assert FORBIDDEN.findall(text) == []


@pytest.mark.parametrize("name", ["home", "day", "job", "sheet"])
def test_each_drawing_is_sound_and_has_a_name_for_readers(parsed: dict[str, Any], name: str) -> None:
    drawings = re.findall(r"<svg.*?</svg>(?:\s*</svg>)*", _drawn(parsed, name), re.DOTALL)
    assert drawings
    for drawing in drawings:
        root = ElementTree.fromstring(drawing)
        assert root.get("aria-label") or root.get("aria-hidden") == "true", drawing[:80]


def test_weighs_little(parsed: dict[str, Any]) -> None:
    for name in PAGES:
        assert len(gzip.compress(_drawn(parsed, name).encode(), 6)) <= 60_000, name


def test_marks_differ_by_shape(parsed: dict[str, Any]) -> None:
    text = _drawn(parsed, "home")
    legend = re.search(r'<ul class="legend".*?</ul>', text, re.DOTALL)
    assert legend is not None
    marks = re.findall(r'<svg class="mark"[^>]*aria-label="(\w+)">(.*?)</svg>', legend[0], re.DOTALL)
    assert [state for state, _ in marks] == ["steady", "narrow", "broken", "barred", "unread"]
    shapes = {re.sub(r'class="\w+"', "", shape).strip() for _, shape in marks}
    assert len(shapes) == 5


def test_the_first_screen_answers_the_three_questions(parsed: dict[str, Any]) -> None:
    text = _drawn(parsed, "home")
    first = text[: text.index('id="watch"')]
    assert parsed["now"]["headline"] in first
    spray = first[first.index("When to spray") : first.index("What threatens the seed")]
    # What is placed in the week comes first, so that the screen and the plan say the same.
    placed = next(row for row in parsed["week"]["work"] if row["kind"] == "spraying")
    assert placed["label"] in spray
    assert placed["surface"] in spray
    assert "The label comes first" in spray
    seed = first[first.index("What threatens the seed") : first.index("May I walk on it now")]
    assert "Act tonight: apron strip, rain from today 21:00" in seed
    walk = first[first.index("May I walk on it now") :]
    assert "green, collar" in walk
    assert "Bears feet" in walk


def test_every_ribbon_has_a_table_with_the_cause_of_each_stretch(parsed: dict[str, Any]) -> None:
    text = _drawn(parsed, "home")
    scale = Scale.days(date(2026, 5, 7), 7, _zone(parsed))
    told = blocks(parsed, scale)
    assert text.count('<summary class="draw">') == len(told)
    gusts = [
        piece.says
        for block in told
        if block["ribbon"]["job"] == "foliar_feed"
        for piece in block["told"]
        if "gusts carry drops away" in piece.says
    ]
    assert gusts
    for says in gusts:
        assert f"<td>{says}</td>" in text
        assert f"{says}</title>" in text


def test_a_stretch_that_is_not_read_looks_and_reads_so(parsed: dict[str, Any]) -> None:
    for ribbon in parsed["ribbons"]["ribbons"]:
        for run in ribbon["runs"]:
            run |= {"state": "unread", "need": "humidity", "says": "Not read: no humidity for these hours."}
    text = _drawn(parsed, "home")
    ribbons = re.findall(r'<svg class="ribbon".*?</svg>\s*</svg>', text, re.DOTALL)
    assert all("url(#p-unread)" in drawn and 'class="steady"' not in drawn for drawn in ribbons)


def test_an_unknown_figure_is_a_dash_never_nought(parsed: dict[str, Any]) -> None:
    for row in parsed["days"]["days"]:
        for key in ("growth_potential", "rain_wash_risk", "frost_risk", "rain_mm", "air_min_c"):
            row[key] = None
    for row in parsed["hours"]:
        row |= dict.fromkeys(("air_temp_c", "surface_temp_c", "rain_mm", "wind_2m_kmh", "gust_10m_ms"))
    text = _drawn(parsed, "home")
    card = re.search(r'<a href="/day/2026-05-08">.*?</li>', text, re.DOTALL)
    assert card is not None
    figures = re.findall(r"<dd>([^<]*)", card[0])
    assert [figures[at] for at in (0, 1, 2, 4)] == ["–", "–", "–", "– mm"]
    assert "<polyline" not in text


def test_text_from_the_config_cannot_write_the_page(parsed: dict[str, Any]) -> None:
    parsed["windows"]["site"]["name"] = "<script>alert(1)</script>"
    parsed["windows"]["forecast"]["notes"] = ["<img src=x>"]
    text = _drawn(parsed, "home")
    assert "<script>alert" not in text
    assert "<img" not in text


def test_alike_windows_are_told_once() -> None:
    base = {"job": "a", "start": "s", "end": "e", "state": "steady", "latest_start": "l", "chance": None}
    base |= {"limiting": {"says": "Holds."}, "next_start": None, "not_read": [], "tasks": []}
    rows = together(
        [
            base | {"surface": "green"},
            base | {"surface": "collar"},
            base | {"state": "narrow", "surface": "tee"},
            base | {"not_read": ["leaf length"], "surface": "bank"},
        ]
    )
    assert [row["surfaces"] for row in rows] == [["green", "collar"], ["tee"], ["bank"]]


@pytest.mark.parametrize(("day", "hours"), [("2026-03-29", 23), ("2026-10-25", 25), ("2026-05-07", 24)])
def test_a_day_of_23_or_25_hours_is_as_wide_as_it_is_long(
    day: str, hours: int, parsed: dict[str, Any]
) -> None:
    first = datetime.fromisoformat(day).date()
    scale = Scale.days(first, 2, _zone(parsed))
    ticks = scale.ticks()
    assert [tick["date"] for tick in ticks] == [first, first + timedelta(days=1)]
    assert ticks[1]["x"] == pytest.approx(100 * hours / (hours + 24), abs=0.01)


def test_the_policy_allows_the_script_on_the_page_and_no_other(parsed: dict[str, Any]) -> None:
    import base64
    from hashlib import sha256

    scripts = re.findall(r"<script>(.*?)</script>", _drawn(parsed, "home"), re.DOTALL)
    assert len(scripts) == 1
    tag = base64.b64encode(sha256(scripts[0].encode()).digest()).decode()
    assert f"script-src 'sha256-{tag}'" in page.CONTENT_POLICY
    assert "default-src 'none'" in page.CONTENT_POLICY


def test_days_and_jobs_that_are_not_there_are_refused(parsed: dict[str, Any]) -> None:
    with pytest.raises(KeyError):
        page.day(parsed, "2031-01-01")
    with pytest.raises(KeyError):
        page.job(parsed, "flying")


def _zone(parsed: dict[str, Any]) -> Any:
    from zoneinfo import ZoneInfo

    return ZoneInfo(parsed["windows"]["site"]["timezone"])


def test_what_cannot_be_read_never_looks_like_nothing_in_sight(parsed: dict[str, Any]) -> None:
    says = "Rain on seed is not read from Thu 12:00: no rain is told."
    quiet = {**parsed["warnings"], "warnings": [], "not_read": [{"kind": "wash", "from": None, "says": says}]}
    text = _drawn({**parsed, "warnings": quiet}, "home")
    assert "Nothing in sight" not in text
    assert "No rain in this forecast that washes it" not in text
    assert text.count(says) == 2
    still = _drawn({**parsed, "warnings": {**quiet, "not_read": []}}, "home")
    assert "Nothing in sight" in still


def _block(text: str, after: str, before: str) -> str:
    return text[text.index(after) : text.index(before)]


def test_spraying_is_answered_with_its_hour_of_the_week_its_reason_and_the_caution(
    parsed: dict[str, Any],
) -> None:
    sprays = [row for row in parsed["week"]["work"] if row["kind"] == "spraying"]
    spray = _block(_drawn(parsed, "home"), "When to spray", "What threatens the seed")
    assert len(sprays) >= 2
    for row in sprays[:2]:
        assert row["limiting"]["says"] in spray
        assert row["because"][1:] in spray
    assert spray.index("The label comes first") > spray.index(sprays[1]["limiting"]["says"])


def test_a_spray_that_finds_no_hour_says_why(parsed: dict[str, Any]) -> None:
    gone = [row for row in parsed["week"]["work"] if row["kind"] == "spraying"]
    parsed["week"]["work"] = [row for row in parsed["week"]["work"] if row["kind"] != "spraying"]
    parsed["week"]["left"] = [{**gone[0], "says": "no hour of the week holds while you are there"}]
    spray = _block(_drawn(parsed, "home"), "When to spray", "What threatens the seed")
    assert "no hour yet" in spray
    assert "No hour of the week holds while you are there." in spray
    parsed["week"]["left"] = []
    assert "No spray is due. Could be:" in _drawn(parsed, "home")


def test_wash_that_is_not_read_is_never_told_as_none(parsed: dict[str, Any]) -> None:
    says = "Wash is not read after Thu 12:00."
    parsed["warnings"] |= {"warnings": [], "not_read": [{"kind": "wash", "from": "x", "says": says}]}
    text = _drawn(parsed, "home")
    assert "No rain in this forecast that washes it" not in text
    assert "Nothing in sight" not in text
    assert text.count(says) >= 2


def test_a_stale_forecast_finds_nothing_is_not_told_as_nothing(parsed: dict[str, Any]) -> None:
    parsed["warnings"]["warnings"] = []
    for answer in parsed.values():
        if isinstance(answer, dict) and "forecast" in answer:
            answer["forecast"]["stale"] = True
    text = _drawn(parsed, "home")
    assert "Nothing in sight" not in text
    assert "No rain in this forecast that washes it" not in text
    assert "Not known: the forecast is too old." in text


def test_surfaces_share_a_block_only_where_all_that_is_said_is_the_same(parsed: dict[str, Any]) -> None:
    windows = parsed["windows"]["windows"]
    for block in blocks(parsed, Scale.days(date(2026, 5, 7), 7, _zone(parsed))):
        said = {
            tuple(
                (row["start"], row["limiting"]["says"], *row["not_read"])
                for row in windows
                if (row["job"], row["surface"]) == (block["ribbon"]["job"], surface)
            )
            for surface in block["surfaces"]
        }
        assert len(said) == 1, block["id"]


def test_an_unknown_age_and_issue_are_told_as_unknown(parsed: dict[str, Any]) -> None:
    for answer in parsed.values():
        if isinstance(answer, dict) and "forecast" in answer:
            answer["forecast"] |= {"issued_at": None, "fetched_at": None, "age_h": None, "stale": True}
    for name in PAGES:
        text = _drawn(parsed, name)
        told = " ".join(_Outline(text).text)
        assert not re.search("None(?! on record| is offered)", told), name
    assert "When it was issued is not told" in _drawn(parsed, "home")
    assert "This forecast is too old." in _drawn(parsed, "home")


def test_the_sheet_carries_the_weeks_order(parsed: dict[str, Any]) -> None:
    text = _drawn(parsed, "sheet")
    for row in parsed["week"]["work"]:
        assert f"<b>{row['start'][11:16]}</b> {row['label']}" in text
