"""What the pages say and how they are drawn: readable without colour, script or anything from elsewhere."""

from __future__ import annotations

import gzip
import re
from collections.abc import Iterable
from datetime import date, datetime, timedelta
from html import escape, unescape
from html.parser import HTMLParser
from xml.etree import ElementTree
from zoneinfo import ZoneInfo

import pytest
from msgspec.structs import replace

from planner import page
from planner.page.layout import STYLE
from planner.page.ribbon import Scale
from planner.page.rows import blocks, together
from planner.reports.as_of import as_of
from planner.reports.headline import first_clause, headline
from planner.reports.rows import Report, WarningRow
from planner.reports.workings import Workings
from planner.terms import LABEL_CAUTION, STATE_WORDS
from planner.warnings import LEVELS
from tests.reports.made import demo_pass, left_row, not_read_row, window_row, with_forecast, with_week

PAGES = ("home", "sheet", "day", "job", "help")
FORBIDDEN = re.compile(
    r"safe to spray|\bok\b|no-go|\bgo/|traffic|\bgreen light|optimal|suitable|marginal|\bsmart\b|insight"
    r"|\balerts?\b|\btasks?\b|\bdose\b|!(?!doctype)",
    re.IGNORECASE,
)
VOID = {"meta", "link", "br", "input", "hr", "img"}


def _drawn(report: Report, name: str) -> str:
    made = {
        "home": lambda: page.home(report),
        "sheet": lambda: page.week_sheet(report),
        "day": lambda: page.day(report, "2026-05-09"),
        "job": lambda: page.job(report, demo_pass()[1], "foliar_feed"),
        "help": lambda: page.help_page(report, "http://turf.example:8480"),
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
def test_closes_every_element_and_uses_each_id_once(report: Report, name: str) -> None:
    outline = _Outline(_drawn(report, name))
    ids = [attrs["id"] for _, attrs in outline.found if "id" in attrs]
    assert len(ids) == len(set(ids))
    for tag, attrs in outline.found:
        target = attrs.get("href") or ""
        if tag == "a" and target.startswith("#"):
            assert target[1:] in ids, target
    assert [tag for tag, _ in outline.found].count("h1") == 1
    assert [tag for tag, _ in outline.found].count("main") == 1


@pytest.mark.parametrize("name", PAGES)
def test_asks_nothing_of_any_other_host(report: Report, name: str) -> None:
    text = _drawn(report, name)
    for tag, attrs in _Outline(text).found:
        for key in ("src", "href", "action", "srcset", "poster", "data"):
            value = attrs.get(key) or ""
            allowed = value.startswith(("./", "../", "#", "data:")) or (
                tag == "a" and value == report.forecast.credit_url
            )
            assert not value or allowed, (tag, key, value)
    assert "@import" not in text
    assert not re.search(r"url\((?!#)", text)


@pytest.mark.parametrize("bar", [r"\.warn\.level-{}{{border-left-width:", r"\.step\.level-{}{{width:"])
def test_the_graver_a_warning_the_wider_its_bar(report: Report, bar: str) -> None:
    style = re.sub(r"\s*([{:;}])\s*", r"\1", STYLE)
    widths = [re.findall(bar.format(level) + r"(\d+)px", style) for level in LEVELS[1:]]
    # The mildest level has the width of the bar itself, below 4 px.
    assert [len(found) for found in widths] == [1, 1]
    assert 4 < int(widths[0][0]) < int(widths[1][0])
    drawn = re.findall(r'class="(?:warn|step) ([\w-]+)"', _drawn(report, "home"))
    assert {f"level-{row.level}" for row in report.warnings} <= set(drawn)
    assert set(drawn) <= {f"level-{level}" for level in LEVELS}


def test_the_day_at_the_head_is_the_day_that_today_means(report: Report) -> None:
    """The pass is of Thursday 06:00; read at two on Friday the page is one of Friday."""
    later = as_of(report, report.made_at + timedelta(hours=20))
    assert "Thursday 7 May; pass made today 06:00" in _drawn(report, "home")
    assert "Friday 8 May; pass made Thu 7 May 06:00" in _drawn(later, "home")


@pytest.mark.parametrize("name", PAGES)
def test_uses_no_word_we_keep_away_from(report: Report, name: str) -> None:
    text = " ".join(_Outline(_drawn(report, name)).text)
    assert FORBIDDEN.findall(text) == []


@pytest.mark.parametrize("name", ["home", "day", "job", "sheet"])
def test_each_drawing_is_sound_and_has_a_name_for_readers(report: Report, name: str) -> None:
    drawings = re.findall(r"<svg.*?</svg>(?:\s*</svg>)*", _drawn(report, name), re.DOTALL)
    assert drawings
    for drawing in drawings:
        root = ElementTree.fromstring(drawing)
        assert root.get("aria-label") or root.get("aria-hidden") == "true", drawing[:80]


def test_weighs_little(report: Report) -> None:
    for name in PAGES:
        assert len(gzip.compress(_drawn(report, name).encode(), 6)) <= 60_000, name


def test_marks_differ_by_shape(report: Report) -> None:
    text = _drawn(report, "home")
    legend = re.search(r'<ul class="legend".*?</ul>', text, re.DOTALL)
    assert legend is not None
    marks = re.findall(r'<svg class="mark"[^>]*aria-label="([\w ]+)">(.*?)</svg>', legend[0], re.DOTALL)
    assert [state for state, _ in marks] == list(STATE_WORDS.values())
    shapes = {re.sub(r'class="\w+"', "", shape).strip() for _, shape in marks}
    assert len(shapes) == 5


def test_the_first_screen_answers_the_three_questions(report: Report) -> None:
    text = _drawn(report, "home")
    first = text[: text.index('id="watch"')]
    assert headline(report) in unescape(first)
    spray = first[first.index("When to spray") :]
    # What is placed in the week comes first, so that the screen and the plan say the same.
    placed = next(row for row in report.week.work if row.kind == "spraying")
    assert placed.label in spray
    assert placed.surface in spray
    assert LABEL_CAUTION in spray
    seed = first[first.index("What threatens") : first.index("May I walk on it now")]
    assert "Care: apron strip, rain from today 21:00" in seed
    for row in report.warnings:
        if row.kind != "wash":
            assert first_clause(row.says) in unescape(seed)
    walk = first[first.index("May I walk on it now") : first.index("When to spray")]
    assert "green, collar" in walk
    assert "Firm underfoot" in walk


def test_every_ribbon_has_a_table_with_the_cause_of_each_stretch(report: Report) -> None:
    text = _drawn(report, "home")
    scale = Scale.days(date(2026, 5, 7), 7, _zone(report))
    found = blocks(report, scale)
    assert text.count('<summary class="draw">') == len(found)
    causes = [
        piece.says
        for block in found
        if block.ribbon.job == "foliar_feed"
        for piece in block.listed
        if piece.says.startswith("Not now: ")
    ]
    assert causes
    for says in map(escape, causes):
        assert f"<td>{says}</td>" in text
        assert f"{says}</title>" in text


def test_a_stretch_that_is_not_read_looks_and_reads_so(report: Report) -> None:
    says = "Not known: humidity is missing at that hour."
    report = replace(
        report,
        ribbons=tuple(
            replace(
                ribbon,
                runs=tuple(replace(run, state="unread", need="humidity", says=says) for run in ribbon.runs),
            )
            for ribbon in report.ribbons
        ),
    )
    text = _drawn(report, "home")
    ribbons = re.findall(r'<svg class="ribbon".*?</svg>\s*</svg>', text, re.DOTALL)
    assert ribbons
    assert all("url(#p-unread)" in drawn and 'class="steady"' not in drawn for drawn in ribbons)


def test_an_unknown_figure_is_a_dash_never_nought(report: Report) -> None:
    figures = ("growth_potential", "rain_wash_risk", "frost_risk", "rain_mm", "air_min_c")
    unknown = ("air_temp_c", "surface_temp_c", "grass_temp_c", "rain_mm", "wind_2m_kmh", "gust_10m_ms")
    count = report.hours.count
    report = replace(
        report,
        days=tuple(replace(row, **dict.fromkeys(figures)) for row in report.days),
        hours=replace(report.hours, columns=report.hours.columns | dict.fromkeys(unknown, (None,) * count)),
    )
    text = _drawn(report, "home")
    card = re.search(r'<a href="./day/2026-05-08">.*?</li>', text, re.DOTALL)
    assert card is not None
    shown = re.findall(r"<dd>([^<]*)", card[0])
    assert [shown[at] for at in (0, 1, 2, 4)] == ["–", "–", "–", "– mm"]
    assert "<polyline" not in text


def test_text_from_the_config_cannot_write_the_page(report: Report) -> None:
    report = replace(report, site=replace(report.site, name="<script>alert(1)</script>"))
    report = with_forecast(report, notes=("<img src=x>",))
    text = _drawn(report, "home")
    assert "<script>alert" not in text
    assert "<img" not in text


def test_alike_windows_are_told_once() -> None:
    base = window_row("a", "07T08:00", "07T10:00", says="Holds.")
    groups = together(
        [
            replace(base, surface="green"),
            replace(base, surface="collar"),
            replace(base, state="narrow", surface="tee"),
            replace(base, not_read=("leaf length",), surface="bank"),
        ]
    )
    assert [group.surfaces for group in groups] == [["green", "collar"], ["tee"], ["bank"]]


@pytest.mark.parametrize(("day", "hours"), [("2026-03-29", 23), ("2026-10-25", 25), ("2026-05-07", 24)])
def test_a_day_of_23_or_25_hours_is_as_wide_as_it_is_long(day: str, hours: int, report: Report) -> None:
    first = datetime.fromisoformat(day).date()
    scale = Scale.days(first, 2, _zone(report))
    ticks = scale.ticks()
    assert [tick.date for tick in ticks] == [first, first + timedelta(days=1)]
    assert ticks[1].x == pytest.approx(100 * hours / (hours + 24), abs=0.01)


def test_the_policy_allows_the_script_on_the_page_and_no_other(report: Report) -> None:
    import base64
    from hashlib import sha256

    scripts = re.findall(r"<script>(.*?)</script>", _drawn(report, "home"), re.DOTALL)
    assert len(scripts) == 1
    tag = base64.b64encode(sha256(scripts[0].encode()).digest()).decode()
    assert f"script-src 'sha256-{tag}'" in page.CONTENT_POLICY
    assert "default-src 'none'" in page.CONTENT_POLICY


def test_days_and_jobs_that_are_not_there_are_refused(report: Report, workings: Workings) -> None:
    with pytest.raises(KeyError, match="2031-01-01"):
        page.day(report, "2031-01-01")
    with pytest.raises(KeyError, match="flying"):
        page.job(report, workings, "flying")


def _zone(report: Report) -> ZoneInfo:
    return ZoneInfo(report.site.timezone)


def _warned(report: Report, warnings: Iterable[WarningRow] = (), not_read: Iterable[str] = ()) -> Report:
    """The report with other warnings, and the wash not read for the reasons named."""
    rows = tuple(not_read_row("wash", says) for says in not_read)
    return replace(report, warnings=tuple(warnings), not_read=rows)


def test_what_cannot_be_read_never_looks_like_nothing_in_sight(report: Report) -> None:
    says = "Rain on seed is not read from Thu 12:00: no rain is told."
    text = _drawn(_warned(report, not_read=[says]), "home")
    assert "Nothing in sight" not in text
    assert "No rain in this forecast that washes it" not in text
    assert text.count(says) == 2
    still = _drawn(_warned(report), "home")
    assert "Nothing in sight" in still


def _block(text: str, after: str, before: str) -> str:
    return text[text.index(after) : text.index(before)]


def test_spraying_is_answered_with_its_hour_of_the_week_its_reason_and_the_caution(report: Report) -> None:
    sprays = [row for row in report.week.work if row.kind == "spraying"]
    spray = _block(_drawn(report, "home"), "When to spray", 'id="watch"')
    assert len(sprays) >= 2
    for row in sprays[:2]:
        assert row.limiting is not None
        assert row.limiting.says in spray
        assert row.because[1:] in spray
    assert spray.index(LABEL_CAUTION) > spray.index(str(sprays[1].limiting and sprays[1].limiting.says))


def test_a_spray_that_finds_no_hour_says_why(report: Report) -> None:
    kept = [row for row in report.week.work if row.kind != "spraying"]
    left = left_row("foliar_feed", "no hour of the week holds while you are there", surface="green")
    spray = _block(_drawn(with_week(report, work=kept, left=[left]), "home"), "When to spray", 'id="watch"')
    assert "no hour yet" in spray
    assert "No hour of the week holds while you are there." in spray
    assert "No spray is due. Could be:" in _drawn(with_week(report, work=kept, left=[]), "home")


def test_wash_that_is_not_read_is_never_told_as_none(report: Report) -> None:
    says = "Wash is not read after Thu 12:00."
    text = _drawn(_warned(report, not_read=[says]), "home")
    assert "No rain in this forecast that washes it" not in text
    assert "Nothing in sight" not in text
    assert text.count(says) >= 2


def test_a_stale_forecast_finds_nothing_is_not_told_as_nothing(report: Report) -> None:
    text = _drawn(with_forecast(_warned(report), stale=True), "home")
    assert "Nothing in sight" not in text
    assert "No rain in this forecast that washes it" not in text
    assert "Not known: the forecast is too old." in text


def test_surfaces_share_a_block_only_where_all_that_is_said_is_the_same(report: Report) -> None:
    found = blocks(report, Scale.days(date(2026, 5, 7), 7, _zone(report)))
    assert any(len(block.surfaces) > 1 for block in found)
    for block in found:
        said = {
            tuple(
                (row.start, row.limiting.says, *row.not_read)
                for row in report.windows
                if (row.job, row.surface) == (block.ribbon.job, surface)
            )
            for surface in block.surfaces
        }
        assert len(said) == 1, block.id


def test_an_unknown_age_and_issue_are_told_as_unknown(report: Report) -> None:
    report = with_forecast(report, issued_at=None, fetched_at=None, age_h=None, stale=True)
    for name in PAGES:
        text = _drawn(report, name)
        words = " ".join(_Outline(text).text)
        assert not re.search("None(?! on record| is offered)", words), name
    assert "When it was issued is not known" in _drawn(report, "home")
    assert "This forecast is too old." in _drawn(report, "home")


def test_the_sheet_carries_the_weeks_order(report: Report) -> None:
    text = _drawn(report, "sheet")
    assert report.week.work
    for row in report.week.work:
        assert f"<b>{row.start:%H:%M}</b> {row.label}" in text
