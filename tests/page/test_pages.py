"""What the pages say and how they are drawn: readable without colour, script or anything from elsewhere."""

from __future__ import annotations

import gzip
import re
from collections.abc import Iterable
from datetime import date, datetime, timedelta
from html import unescape
from html.parser import HTMLParser
from xml.etree import ElementTree
from zoneinfo import ZoneInfo

import pytest
from msgspec.structs import replace

from planner import page
from planner.page.layout import STYLE
from planner.page.ribbon import Scale
from planner.page.rows import blocks, together
from planner.reports.as_of import as_of, holds_until
from planner.reports.rows import Report, WarningRow
from planner.reports.workings import Workings
from planner.terms import LABEL_CAUTION, STATE_WORDS
from planner.warnings import LEVELS
from tests.reports.made import demo_pass, left_row, not_read_row, window_row, with_forecast, with_week

PAGES = ("home", "ground", "sheet", "day", "job", "help")
FORBIDDEN = re.compile(
    r"safe to spray|\bok\b|no-go|\bgo/|traffic|\bgreen light|optimal|suitable|marginal|\bsmart\b|insight"
    r"|\balerts?\b|\btasks?\b|\bdose\b|!(?!doctype)",
    re.IGNORECASE,
)
VOID = {"meta", "link", "br", "input", "hr", "img"}


def _drawn(report: Report, name: str) -> str:
    made = {
        "home": lambda: page.home(report, demo_pass()[1]),
        "ground": lambda: page.ground(report),
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
        if not {"style", "script", "pre"} & set(self.open):
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


def test_the_graver_a_warning_the_heavier_its_bracket(report: Report) -> None:
    style = re.sub(r"\s*([{:;}])\s*", r"\1", STYLE)
    widths = [float(re.search(rf"\.k-{level}{{stroke-width:([\d.]+)", style)[1]) for level in LEVELS]  # type: ignore[index]
    assert widths == sorted(widths)
    assert len(set(widths)) == len(LEVELS)
    # The mildest is broken as well, so that weight alone does not tell it from the next.
    assert re.search(r"\.k-note{[^}]*stroke-dasharray", style)
    drawn = re.findall(r'class="bracket k-(\w+)"', _drawn(report, "home"))
    assert {row.level for row in report.warnings} <= set(drawn) <= set(LEVELS)


def test_the_head_says_the_moment_and_the_age(report: Report) -> None:
    """The pass is of Thursday 06:00; read at two on Friday the page is one of Friday."""
    later = as_of(report, report.made_at + timedelta(hours=20))
    assert "Thu 06:00, forecast 0 min old" in _drawn(report, "home")
    assert "Fri 02:00, forecast 20 h old" in _drawn(later, "home")
    assert "today Thu 7" in _drawn(report, "home")
    assert "today, Fri 8 May" in _drawn(later, "home")


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
    for name, look in (("day", "mark"), ("home", "sign")):
        legend = re.search(r'<ul class="legend".*?</ul>', _drawn(report, name), re.DOTALL)
        assert legend is not None
        words = " ".join(_Outline(legend[0]).text)
        assert all(state in words for state in STATE_WORDS.values())
        marks = re.findall(rf'<svg class="{look}"[^>]*>(.*?)</svg>', legend[0], re.DOTALL)
        # Without its colour.
        shapes = {re.sub(r'class="(?!bracket)[\w -]+"', "", shape).strip() for shape in marks}
        assert len(shapes) == len(marks) >= 5


def test_the_page_weighs_and_counts_little(report: Report) -> None:
    text = _drawn(report, "home")
    assert len(_Outline(text).found) <= 3000


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
    row = re.search(r'<a href="./day/2026-05-08">.*?</tr>', text, re.DOTALL)
    assert row is not None
    shown = re.findall(r'<td class="n">([^<]*)', row[0])
    assert [one.partition(" (")[0] for one in shown] == ["–", "–", "– to –", "–", "–", "–", "–"]
    for look in ("rain", "line", "thin"):
        assert f'<path class="{look}"' not in text
    assert text.count("not read</text>") == 6


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
    assert says in text
    assert says in page.ground(_warned(report, not_read=[says])).decode()
    still = _drawn(_warned(report), "home")
    assert "Nothing in sight" in still


def test_the_caution_stands_beside_the_work_it_binds(report: Report) -> None:
    text = _drawn(report, "home")
    assert text.index(LABEL_CAUTION) < text.index('id="picture"')
    unlabelled = replace(report, ribbons=tuple(replace(row, has_label=False) for row in report.ribbons))
    assert LABEL_CAUTION not in _drawn(unlabelled, "home")


def test_work_without_an_hour_says_why(report: Report) -> None:
    kept = [row for row in report.week.work if row.kind != "spraying"]
    left = left_row("foliar_feed", "no hour of the week holds while you are there", surface="green")
    text = _drawn(with_week(report, work=kept, left=[left]), "home")
    assert "no hour of the week holds while you are there." in text


def test_every_ordered_hour_has_its_reason_in_the_table(report: Report) -> None:
    text = unescape(_drawn(report, "home"))
    tables = text[text.index('id="tables"') :]
    assert len(report.week.work) > 4
    for row in report.week.work:
        assert row.limiting is not None
        assert row.limiting.says in tables
        assert row.because[1:] in tables


def test_a_stale_forecast_finds_nothing_is_not_told_as_nothing(report: Report) -> None:
    text = _drawn(with_forecast(_warned(report), stale=True), "home")
    assert "Nothing in sight" not in text
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


def test_a_page_knows_how_long_it_holds_and_has_the_words_for_when_nothing_newer_comes(
    report: Report,
) -> None:
    for name in ("home", "sheet", "ground"):
        text = _drawn(report, name)
        found = re.search(r'data-holds="(\d+)"', text)
        assert found is not None
        assert int(found[1]) == (holds_until(report) - report.as_of).total_seconds()
        assert re.search(r'<p class="stale" id="old" role="alert" hidden><strong>This page is old', text)
