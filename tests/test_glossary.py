"""One name for one thing: what people and programs see is held against docs/glossary.md."""

from __future__ import annotations

import re
from collections.abc import Iterator
from datetime import datetime
from functools import cache
from html import unescape
from typing import Any

import click
import pytest
from fastapi.testclient import TestClient

from planner.cli.commands import COMMANDS, haysel
from planner.config.load import load
from planner.indices import INDICES
from planner.service.run import demo_app
from planner.warnings.life import TITLES
from tests.made import DEMO, ROOT

PAGE = (ROOT / "docs" / "glossary.md").read_text(encoding="utf-8")


def rows() -> list[list[str]]:
    """The cells of every row of the glossary's tables."""
    found = [
        [cell.strip() for cell in line.strip("|").split("|")] for line in PAGE.splitlines() if "|" in line
    ]
    return [cells for cells in found if len(cells) == 4 and cells[0] not in ("term", "---")]


TERMS = {term.strip().lower() for cells in rows() for term in cells[0].split(",")}
BANNED = sorted({word.strip().lower() for cells in rows() for word in cells[3].split(",")} - {""})


def test_a_term_stands_once_and_none_is_banned() -> None:
    terms = [term.strip().lower() for cells in rows() for term in cells[0].split(",")]
    assert sorted(terms) == sorted(set(terms))
    assert TERMS.isdisjoint(BANNED)
    assert len(TERMS) > 40


@cache
def client() -> TestClient:
    now = datetime.fromisoformat("2026-05-07T06:00:00+01:00")
    return TestClient(demo_app(load(DEMO), ROOT / "fixtures" / "demo" / "week.csv", now, "secret"))


def helps(command: click.Command, name: str = "haysel") -> Iterator[tuple[str, str]]:
    """Help texts of a command and all below it."""
    yield name, command.help or ""
    for parameter in command.params:
        yield f"{name} {parameter.name}", getattr(parameter, "help", None) or ""
    if isinstance(command, click.Group):
        context = click.Context(command)
        for each in command.list_commands(context):
            found = command.get_command(context, each)
            assert found is not None
            yield from helps(found, f"{name} {each}")


def rules_texts() -> Iterator[tuple[str, str]]:
    for job in load(DEMO).jobs:
        yield job.name, job.label
        for need in job.needs:
            yield f"{job.name}.{need.id}", need.label
    for index in INDICES:
        yield index.name, index.says
    yield from TITLES.items()


def api_texts() -> Iterator[tuple[str, str]]:
    def walk(where: str, value: Any) -> Iterator[tuple[str, str]]:
        if isinstance(value, dict):
            for key, part in value.items():
                if key in ("summary", "description", "title") and isinstance(part, str):
                    yield where, part
                yield from walk(f"{where}/{key}", part)
        elif isinstance(value, list):
            for part in value:
                yield from walk(where, part)

    document = client().get("/openapi.json").json()
    schemas = {k: v for k, v in document["components"]["schemas"].items() if "ValidationError" not in k}
    yield from walk("", {"paths": document["paths"], "schemas": schemas})
    for name, schema in schemas.items():
        for key in schema.get("properties", {}):
            yield name, key.replace("_", " ")


PAGES = ("/", "/sheet", "/day/2026-05-09", "/job/foliar_feed", "/help", "/tank", "/diary")


def page_text(path: str) -> str:
    html = client().get(path).text
    body = re.sub(r"<(style|script|pre)[^>]*>.*?</\1>", " ", html, flags=re.DOTALL)
    return unescape(re.sub(r"<[^>]+>", " ", body))


def headings(path: str) -> list[str]:
    html = client().get(path).text
    found = re.findall(r"<(?:h1|h2|th|dt)\b[^>]*>(.*?)</(?:h1|h2|th|dt)>", html, flags=re.DOTALL)
    return [unescape(re.sub(r"<[^>]+>", " ", text)).strip() for text in found]


def banned_in(text: str) -> list[str]:
    return [word for word in BANNED if re.search(rf"\b{re.escape(word)}\b", text.lower())]


@pytest.mark.parametrize(
    "source", [lambda: helps(haysel), rules_texts, api_texts], ids=["help", "rules", "api"]
)
def test_no_banned_word_is_shown(source: Any) -> None:
    wrong = {(where, *banned_in(text)) for where, text in source() if banned_in(text)}
    assert wrong == set()


@pytest.mark.parametrize("path", PAGES)
def test_no_banned_word_stands_on_a_page(path: str) -> None:
    assert banned_in(page_text(path)) == []


def test_every_address_and_command_is_a_term() -> None:
    #: Doors, not things: they are named for what they do.
    doors = {"explain", "events", "health", "docs", "help", "openapi.json", "materials", "mix"}
    document = client().get("/openapi.json").json()
    for path in document["paths"]:
        name = path.removeprefix("/api/v1/").strip("/").split("/")[0].removesuffix(".ics")
        assert name in doors or _is_term(name), path
    verbs = {"demo", "init", "check", "refresh", "explain", "hindcast", "calibrate", "serve", "mix", "verify"}
    for command in COMMANDS:
        assert command in verbs or _is_term(command), command


def _is_term(name: str) -> bool:
    plain = {name, name.removesuffix("s"), {"now": "next", "week": "week's order"}.get(name, name)}
    return bool(plain & TERMS)


@pytest.mark.parametrize("path", PAGES)
def test_the_first_heading_of_a_page_is_a_term_or_a_name(path: str) -> None:
    """Sections are headed by terms; names of jobs, surfaces, days and dashboards are the keeper's own."""
    words = {"first light", "cautions", "weather", "write down", "last four weeks", "amounts", "hour by hour"}
    words |= {
        "needs",
        "figures by surface",
        "all answers",
        "mqtt",
        "prometheus",
        "openhab",
        "grafana",
        "shell",
    }
    html = client().get(path).text
    found = re.findall(r"<h2\b[^>]*>(.*?)</h2>", html, flags=re.DOTALL)
    labels = {job.label for job in load(DEMO).jobs}
    for text in (unescape(re.sub(r"<[^>]+>", " ", one)).strip().lower().replace("’", "'") for one in found):
        known = any(re.search(rf"\b{re.escape(term)}(?:s|es)?\b", text) for term in TERMS | words)
        assert known or any(label in text for label in labels), (path, text)
