"""Each piece to paste is parsed as the program it is for would, and followed to a live answer."""

from __future__ import annotations

import json
import re
import shlex
from collections.abc import Iterator
from hashlib import md5
from html import unescape
from typing import Any

import icalendar
import pytest
import yaml
from fastapi.testclient import TestClient
from jinja2.sandbox import SandboxedEnvironment
from prometheus_client.parser import text_string_to_metric_families

from planner.config.load import load
from planner.page.details import snippets
from planner.reports.rows import SiteRow
from planner.service.app import create_app
from planner.service.cache import ReportCache
from planner.service.run import demo_app
from tests.made import DEMO
from tests.service.conftest import NOW, ROOT, Clock

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
    names = {"rest", "command", "calendar", "openhab", "hours", "gauges", "csv", "prometheus", "shell"}
    assert set(pieces) == names
    # What a scraper has collected is asked of it, not of us.
    assert all("turf.example:8480" in text for name, text in pieces.items() if name != "gauges")


class Secrets(yaml.SafeLoader):
    """Reads YAML as the hub does: a secret stands in a file of its own."""


Secrets.add_constructor("!secret", lambda loader, node: f"secret {node.value}")


def hub_environment() -> SandboxedEnvironment:
    hub = SandboxedEnvironment()
    hub.filters["to_json"] = json.dumps
    hub.globals |= {"md5": lambda text: md5(text.encode()).hexdigest(), "now": lambda: NOW}
    return hub


def nothing(client: TestClient) -> dict[str, Any]:
    """An answer in which nothing is known."""
    return dict.fromkeys(client.get("/api/v1/now").json())


def test_rest_sensors_read_their_values_and_nothing_is_read_as_off(
    client: TestClient, pieces: dict[str, str]
) -> None:
    hub = hub_environment()
    (resource,) = yaml.safe_load(pieces["rest"])["rest"]
    state, null = client.get(resource["resource"]).json(), nothing(client)
    fault = {"type": "about:blank", "status": 503}
    entities = [*resource["sensor"], *resource["binary_sensor"]]
    assert len({one["unique_id"] for one in entities}) == len(entities) > 10
    for one in entities:
        key = re.search(r"get\('(\w+)'\)", one["availability"])
        assert key is not None
        assert key[1] in state
        assert key[1] in one["value_template"]
        for attribute in one.get("json_attributes", []):
            assert attribute in state, attribute
        shown = hub.from_string(one["value_template"]).render(value_json=state)
        assert len(shown) <= 255
        value, is_there = state[key[1]], hub.from_string(one["availability"])
        assert is_there.render(value_json=state) == str(value is not None)
        # Unavailable where it is null, or where there is no answer, and the template still renders.
        for empty in (null, fault):
            assert is_there.render(value_json=empty) == "False", one["name"]
        assert hub.from_string(one["value_template"]).render(value_json=null) is not None
        if one.get("unit_of_measurement") == "%":
            assert float(shown) == pytest.approx(100 * value, abs=0.1)
        elif value is not None:
            assert shown == str(value)
    for one in resource["binary_sensor"]:
        shown = hub.from_string(one["value_template"]).render(value_json=state)
        assert shown in ("True", "False"), one["name"]


def test_the_command_writes_an_entry_once(pieces: dict[str, str]) -> None:
    command = yaml.load(pieces["command"], Secrets)["rest_command"]["turf_done"]  # noqa: S506
    hub = hub_environment()
    asked = {"job": "mow_green", "surface": "green"}
    headers = {name: hub.from_string(text).render(asked) for name, text in command["headers"].items()}
    assert headers["Authorization"] == "secret turf_write"
    headers |= {"Authorization": "Bearer long", "Content-Type": command["content_type"]}
    service = TestClient(
        demo_app(load(DEMO), ROOT / "fixtures" / "demo" / "week.csv", NOW, "long"), base_url=BASE
    )
    body = hub.from_string(command["payload"]).render(asked)
    sent = [
        service.request(command["method"], command["url"], headers=headers, content=body) for _ in range(2)
    ]
    assert [one.status_code for one in sent] == [201, 201], sent[0].text
    assert len({one.json()["uuid"] for one in sent}) == 1


def test_calendar_addresses_answer_a_calendar(client: TestClient, pieces: dict[str, str]) -> None:
    thing = re.search(r'url="([^"]+)"', pieces["openhab"])
    assert thing is not None
    for url in (pieces["calendar"].strip(), thing[1]):
        answer = client.get(url)
        assert answer.headers["content-type"].startswith("text/calendar")
        assert icalendar.Calendar.from_ical(answer.content).walk("VEVENT")


def test_the_panel_of_the_hours_selects_columns_that_are_there(
    client: TestClient, pieces: dict[str, str]
) -> None:
    panel: dict[str, Any] = json.loads(pieces["hours"])
    (query,) = panel["targets"]
    rows = client.get(query["url"]).json()
    assert isinstance(rows, list)
    for column in query["columns"]:
        assert column["selector"] in rows[0]
    assert rows[0]["time"].endswith("Z")


def test_the_panel_of_the_gauges_asks_for_gauges_that_are_there(
    client: TestClient, pieces: dict[str, str]
) -> None:
    families = {one.name: one for one in text_string_to_metric_families(client.get("/metrics").text)}
    for query in json.loads(pieces["gauges"])["targets"]:
        labels = families[query["expr"]].samples[0].labels
        assert set(re.findall(r"\{\{(\w+)\}\}", query["legendFormat"])) <= set(labels)


def test_the_table_is_a_table(client: TestClient, pieces: dict[str, str]) -> None:
    answer = client.get(pieces["csv"].strip())
    assert answer.text.startswith("time,air_temp_c,")


def test_the_scrape_finds_gauges(client: TestClient, pieces: dict[str, str]) -> None:
    scrape = yaml.safe_load(pieces["prometheus"])["scrape_configs"][0]
    target = scrape["static_configs"][0]["targets"][0]
    answer = client.get(f"{scrape['scheme']}://{target}{scrape.get('metrics_path', '/metrics')}")
    names = {family.name for family in text_string_to_metric_families(answer.text)}
    assert "haysel_forecast_age_seconds" in names


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


def test_two_sites_on_one_hub_have_no_id_name_or_command_in_common() -> None:
    def pasted(key: str, name: str) -> dict[str, set[str]]:
        texts = {one.name: one.text for one in snippets(BASE, SiteRow(key=key, name=name, timezone="UTC"))}
        (resource,) = yaml.safe_load(texts["rest"])["rest"]
        entities = [*resource["sensor"], *resource["binary_sensor"]]
        return {
            "ids": {one["unique_id"] for one in entities},
            "names": {one["name"] for one in entities},
            "commands": set(yaml.load(texts["command"], Secrets)["rest_command"]),  # noqa: S506
            "scrapes": {one["job_name"] for one in yaml.safe_load(texts["prometheus"])["scrape_configs"]},
            "calendars": {texts["openhab"].split()[1]},
        }

    north, south, alone = pasted("north", 'The "North"'), pasted("south", "South"), pasted("main", "Vale")
    for sort, found in north.items():
        assert not found & (south[sort] | alone[sort]), sort
    # Who is alone keeps what the hub knows already.
    assert "haysel_headline" in alone["ids"]
    assert "Turf headline" in alone["names"]


def test_an_address_behind_a_proxy_path_and_a_hostile_host_are_written_as_text(client: TestClient) -> None:
    page = client.get("/help", headers={"Host": 'x"><script>alert(1)</script>'})
    assert "<script>alert" not in page.text
