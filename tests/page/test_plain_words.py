"""Pages, board and messages keep to one style: signs of units, dates, ranges, no raw names, no words given up."""

from __future__ import annotations

import re
from html import unescape

import pytest
from click.testing import CliRunner

from planner.actions.messages import outgoing
from planner.cli.commands import haysel
from planner.outputs.calendar import Asked, calendar
from planner.page.details import day, job
from planner.page.home import home
from planner.page.week_sheet import week_sheet
from planner.reports.headline import headline
from planner.reports.now import now
from planner.terms import LABEL_CAUTION
from tests.made import DEMO, ROOT, config
from tests.reports.made import demo, demo_assessment, demo_pass

COMPUTED = (
    *("--config", str(DEMO), "--now", "2026-05-07T06:00"),
    *("--forecast", str(ROOT / "fixtures" / "demo" / "week.csv")),
)
#: Commands that print for people.
COMMANDS = (
    ("demo",),
    ("windows", *COMPUTED),
    ("windows", "spraying", "--day", "tomorrow", *COMPUTED),
    ("warnings", *COMPUTED),
    ("days", *COMPUTED),
    ("week", *COMPUTED),
    ("explain", "systemic_herbicide", "09:00", *COMPUTED),
    ("explain", "oversowing", "tomorrow 09:00", *COMPUTED),
    ("mix", "foliar_feed", "--config", str(DEMO)),
)
WRONG = {
    "degrees without their sign": re.compile(r"\d C\b|\bdegC\b"),
    "square metres without their sign": re.compile(r"(?<![\w/])(g/|MJ/)?m2\b"),
    "a raw name": re.compile(r"\b[a-z]+_[a-z_]+\b"),
    "a date with a nought": re.compile(r"\b(Mon|Tue|Wed|Thu|Fri|Sat|Sun) 0\d(?!:)"),
    "a range of hours with a hyphen": re.compile(r"\d\d:\d\d-\d\d:\d\d"),
    "the dust of a sum": re.compile(r"\d\.\d{5}|\de-\d\d"),
    "every 1 days": re.compile(r"(?<![\d.])1 days\b"),
    "a word given up": re.compile(
        r"kinder|tightest|\bHolds\b|lost to it|at the nearest|miss by|\bheed\b|stood down|[Bb]ears feet|crossways|"
        r"no skin for it|air takes|not once|mixed-integer|How surely|\bNot read\b|barred until|nothing presses",
    ),
}
#: Names of columns in a source line or of a file are what they are.
ALLOWED = re.compile(r"rules_file|\bhaysel_\w+")


def wrong_in(text: str) -> set[tuple[str, str]]:
    found = set()
    for name, pattern in WRONG.items():
        for match in pattern.finditer(ALLOWED.sub("", text)):
            found.add((name, text[max(0, match.start() - 30) : match.end() + 30].replace("\n", " ")))
    return found


def text_of(html: bytes) -> str:
    body = re.sub(r"<(style|script|pre|code)[^>]*>.*?</\1>", " ", html.decode(), flags=re.DOTALL)
    titles = re.findall(r'aria-label="([^"]*)"', body)
    return unescape(" ".join([re.sub(r"<[^>]+>", " ", body), *titles]))


def pages():
    report, workings = demo_pass()
    yield "home", home(report)
    yield "sheet", week_sheet(report)
    yield "day", day(report, "2026-05-09")
    for name in dict.fromkeys(row.job for row in report.ribbons):
        yield name, job(report, workings, name)


@pytest.mark.parametrize(
    ("name", "html"), tuple(pages()), ids=lambda value: value if isinstance(value, str) else ""
)
def test_every_page_keeps_the_style(name, html):
    assert wrong_in(text_of(html)) == set()


@pytest.mark.parametrize("words", COMMANDS, ids=lambda words: " ".join(words[:2]))
def test_every_command_keeps_the_style(words):
    answer = CliRunner().invoke(haysel, list(words))
    assert answer.exit_code == 0, answer.output
    assert wrong_in(answer.output) == set()


def test_messages_headline_and_calendar_keep_the_style():
    report, life = demo(), demo_assessment().life
    assert life is not None
    for row in outgoing(life.news, ["log"], report.made_at, config().site):
        assert wrong_in(f"{row.body['title']}\n{row.body['body']}") == set()
    assert wrong_in(headline(report)) == set()
    feed = calendar(report).decode().replace("\r\n ", "")
    said = "\n".join(re.findall(r"^(?:SUMMARY|DESCRIPTION)[^:]*:(.*)$", feed, re.MULTILINE))
    assert wrong_in(said) == set()


def test_wherever_labelled_work_is_named_its_line_of_caution_stands():
    # The law of the place on plant protection: label, licence, buffer, re-entry; the words are ours.
    report = demo()
    first = next(row for row in report.ribbons if row.has_label)
    feed = calendar(report, asked=Asked(every=True)).decode()
    feed = feed.replace("\r\n ", "").replace("\\, ", ", ").replace("\\; ", "; ")
    events = [
        part
        for part in feed.split("BEGIN:VEVENT")
        if f"{first.label}\\, {first.surface}" in part or f"{first.label}, {first.surface}" in part
    ]
    assert events
    assert all(LABEL_CAUTION in part for part in events)
    assert LABEL_CAUTION in text_of(home(report))
    assert now(report)["spray_caution"] == LABEL_CAUTION
    week = CliRunner().invoke(haysel, ["week", *COMPUTED]).output
    assert LABEL_CAUTION in " ".join(week.split())


def test_the_long_cautions_stand_once_on_a_page():
    for _, html in pages():
        text = text_of(html)
        assert text.count("Wear what the label asks") <= 1
