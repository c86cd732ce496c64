"""Each piece to paste is parsed as the program it is for would, and followed to a live answer."""

from __future__ import annotations

import json
import re
import shlex
from collections.abc import Iterator
from html import unescape
from typing import Any

import icalendar
import pytest
import yaml
from fastapi.testclient import TestClient
from jinja2.sandbox import SandboxedEnvironment
from prometheus_client.parser import text_string_to_metric_families

from planner.service.app import create_app
from planner.service.cache import ReportCache
from tests.service.conftest import Clock

BASE = "http://turf.example:8480"


@pytest.fixture
def client(cache: ReportCache, clock: Clock) -> Iterator[TestClient]:
    with TestClient(create_app(cache, clock=clock), base_url=BASE) as made:
        yield made


@pytest.fixture
def pieces(client: TestClient) -> dict[str, str]:
    """The pieces as they stand on the page."""
    page = client.get("/help").text
    found = re.findall(r'<pre [^>]*id="piece-(\w+)"><code>(.*?)</code></pre>', page, re.DOTALL)
    return {name: unescape(text) for name, text in found}


def test_all_pieces_are_there_with_the_address_of_the_asker(pieces: dict[str, str]) -> None:
    assert set(pieces) == {"rest", "calendar", "openhab", "hours", "csv", "prometheus", "shell"}
    assert all("turf.example:8480" in text for text in pieces.values())


def test_rest_sensors_read_their_values(client: TestClient, pieces: dict[str, str]) -> None:
    for resource in yaml.safe_load(pieces["rest"])["rest"]:
        answer = client.get(resource["resource"])
        assert answer.status_code == 200
        state = answer.json()
        hub = SandboxedEnvironment()
        entities = [*resource["sensor"], *resource["binary_sensor"]]
        assert len({one["unique_id"] for one in entities}) == len(entities)
        for one in entities:
            key = re.fullmatch(r"\{\{ value_json\.(\w+) \}\}", one["value_template"])
            assert key is not None
            assert key[1] in state
            shown = hub.from_string(one["value_template"]).render(value_json=state)
            assert shown == str(state[key[1]])
            assert len(shown) <= 255
            for attribute in one.get("json_attributes", []):
                assert attribute in state, attribute
        for one in resource["binary_sensor"]:
            shown = hub.from_string(one["value_template"]).render(value_json=state)
            assert shown in ("True", "False"), one["name"]


def test_calendar_addresses_answer_a_calendar(client: TestClient, pieces: dict[str, str]) -> None:
    thing = re.search(r'url="([^"]+)"', pieces["openhab"])
    assert thing is not None
    for url in (pieces["calendar"].strip(), thing[1]):
        answer = client.get(url)
        assert answer.headers["content-type"].startswith("text/calendar")
        assert icalendar.Calendar.from_ical(answer.content).walk("VEVENT")


def test_the_query_of_the_hours_selects_columns_that_are_there(
    client: TestClient, pieces: dict[str, str]
) -> None:
    query: dict[str, Any] = json.loads(pieces["hours"])
    rows = client.get(query["url"]).json()
    assert isinstance(rows, list)
    for column in query["columns"]:
        assert column["selector"] in rows[0]
    assert rows[0]["time"].endswith("Z")


def test_the_table_is_a_table(client: TestClient, pieces: dict[str, str]) -> None:
    answer = client.get(pieces["csv"].strip())
    assert answer.text.startswith("time,air_temp_c,")


def test_the_scrape_finds_gauges(client: TestClient, pieces: dict[str, str]) -> None:
    scrape = yaml.safe_load(pieces["prometheus"])["scrape_configs"][0]
    target = scrape["static_configs"][0]["targets"][0]
    answer = client.get(f"{scrape['scheme']}://{target}{scrape.get('metrics_path', '/metrics')}")
    names = {family.name for family in text_string_to_metric_families(answer.text)}
    assert "haysel_forecast_age_hours" in names


def test_the_line_for_the_shell_prints_the_headline(
    client: TestClient,
    pieces: dict[str, str],
    capsys: pytest.CaptureFixture[str],
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    import io
    import sys

    words = shlex.split(pieces["shell"])
    assert words[:2] == ["curl", "-s"]
    answer = client.get(words[2])
    assert words[3:6] == ["|", "python3", "-c"]
    monkeypatch.setattr(sys, "stdin", io.StringIO(answer.text))
    exec(words[6], {})
    assert capsys.readouterr().out.strip() == answer.json()["headline"]


def test_an_address_behind_a_proxy_path_and_a_hostile_host_are_written_as_text(client: TestClient) -> None:
    page = client.get("/help", headers={"Host": 'x"><script>alert(1)</script>'})
    assert "<script>alert" not in page.text
