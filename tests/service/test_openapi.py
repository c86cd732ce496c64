"""The description of the service: every answer has a schema, and real answers keep to it."""

from __future__ import annotations

import re
from collections.abc import Iterator
from functools import cache as kept
from typing import Any

import pytest
from fastapi import FastAPI
from fastapi.testclient import TestClient
from jsonschema import Draft202012Validator

from planner.config.load import load
from planner.service.app import create_app
from planner.service.cache import ReportCache
from planner.service.context import Context
from planner.service.forms import forms
from planner.service.writes import writes
from planner.store.store import Store
from tests.made import DEMO
from tests.reports.made import NOW, demo_pass

TOKEN = "long enough to be a secret"
BEARER = {"Authorization": f"Bearer {TOKEN}"}
MOW = {"job": "mow_green", "surface": "green", "started": "04:00", "finished": "05:00"}
WATER = {"surface": "green", "water_mm": 4, "at": "04:00"}

#: For each read the questions it is asked; an operation that is not here fails the test below.
ASKED: dict[str, tuple[str, ...]] = {
    "/api/v1/days": ("", "?surface=green"),
    "/api/v1/windows": ("", "?job=spraying&day=tomorrow", "?surface=collar"),
    "/api/v1/warnings": ("",),
    "/api/v1/hours": ("", "?format=csv"),
    "/api/v1/now": ("",),
    "/api/v1/ribbons": ("", "?job=foliar_feed&surface=green"),
    "/api/v1/week": ("",),
    "/api/v1/ground": ("",),
    "/api/v1/due": ("",),
    "/api/v1/explain": ("?job=foliar_feed&time=13:00", "?job=mow_green&time=tomorrow+09:00&surface=green"),
    "/api/v1/mix": ("?job=foliar_feed&litres=20",),
    "/api/v1/materials": ("",),
    "/api/v1/outbox": ("",),
    "/api/v1/diary": ("", "?withdrawn=true", "?format=csv&withdrawn=true"),
    "/api/v1/diary/sheet": ("", "?surface=green"),
    "/api/v1/observations": ("", "?surface=green", "?withdrawn=true"),
    "/health": ("",),
    "/calendar.ics": ("",),
    "/metrics": ("",),
}
#: Reads whose answer never ends, or that name an entry: asked in tests of their own.
APART = {"/api/v1/events", "/api/v1/diary/{uuid}"}


@kept
def _app() -> tuple[FastAPI, Store]:
    config, store = load(DEMO), Store.open("sqlite://")
    cache = ReportCache(lambda: NOW)
    cache.put(*demo_pass())
    context = Context(
        config=lambda: config,
        store=lambda: store,
        cache=cache,
        clock=lambda: NOW,
        token=TOKEN,
        renew=lambda: None,
        sends=False,
    )
    app = create_app(cache, clock=lambda: NOW)
    app.include_router(writes(context))
    app.include_router(forms(context))
    return app, store


@pytest.fixture(scope="module")
def client() -> Iterator[TestClient]:
    with TestClient(_app()[0], client=("127.0.0.1", 50000), base_url="http://localhost") as made:
        # An entry with and one without materials, and one that is withdrawn.
        spray = {"job": "foliar_feed", "surface": "green", "finished": "05:30"}
        spray_made = made.post("/api/v1/diary", json={**spray, "materials": []}, headers=BEARER)
        assert spray_made.status_code == 201, spray_made.text
        place = made.post("/api/v1/diary", json=MOW, headers=BEARER).headers["location"]
        assert made.delete(f"{place}?reason=twice", headers=BEARER).status_code == 200
        for told in (WATER, {"wind_2m_kmh": 9, "at": "05:40"}):
            assert made.post("/api/v1/observations", json=told, headers=BEARER).status_code == 201
        yield made


@kept
def _described() -> dict[str, Any]:
    found: dict[str, Any] = _app()[0].openapi()
    return found


def _operations() -> list[tuple[str, str]]:
    return [(path, method) for path, methods in _described()["paths"].items() for method in methods]


def _good(path: str, method: str) -> dict[str, Any]:
    """The 2xx answers of an operation."""
    answers = _described()["paths"][path][method]["responses"]
    return {code: answer for code, answer in answers.items() if code.startswith("2")}


def _validator(schema: dict[str, Any]) -> Draft202012Validator:
    Draft202012Validator.check_schema(schema)
    return Draft202012Validator({**schema, "components": _described()["components"]})


def _says_something(schema: dict[str, Any]) -> bool:
    """Whether a schema rules anything out: an empty one is none."""
    return bool({"$ref", "type", "anyOf", "oneOf", "allOf", "enum", "const"} & set(schema))


@pytest.mark.parametrize(("path", "method"), _operations())
def test_every_operation_has_a_schema_for_each_good_answer(path: str, method: str) -> None:
    good = _good(path, method)
    assert good, "no good answer is described"
    for code, answer in good.items():
        if code == "204":
            continue
        assert answer.get("content"), (code, "no content is described")
        for kind, content in answer["content"].items():
            # A stream is described by its items (OpenAPI 3.2).
            assert _says_something(content.get("schema") or content.get("itemSchema", {})), (code, kind)


def test_every_read_is_asked_here() -> None:
    reads = {path for path, method in _operations() if method == "get"}
    assert reads == set(ASKED) | APART


@pytest.mark.parametrize(
    ("path", "question"), [(path, question) for path, questions in ASKED.items() for question in questions]
)
def test_a_real_answer_keeps_to_its_schema(client: TestClient, path: str, question: str) -> None:
    found = client.get(f"{path}{question}")
    assert found.status_code == 200, found.text
    content = _good(path, "get")["200"]["content"]
    kind = found.headers["content-type"].partition(";")[0]
    assert kind in content
    answer = found.json() if kind == "application/json" else found.text
    found_faults = _validator(content[kind]["schema"]).iter_errors(answer)
    assert [f"{fault.json_path}: {fault.message[:200]}" for fault in found_faults] == []


def test_an_entry_keeps_to_its_schema_however_it_is_asked_for(client: TestClient) -> None:
    made = client.post("/api/v1/diary", json={**MOW, "finished": "05:10"}, headers=BEARER)
    place, path = made.headers["location"], "/api/v1/diary/{uuid}"
    answers = [
        ("/api/v1/diary", "post", "201", made),
        (path, "put", "200", client.put(place, json={**MOW, "finished": "05:20"}, headers=BEARER)),
        (path, "patch", "200", client.patch(f"{place}?reason=x", json={"notes": "wet"}, headers=BEARER)),
        (path, "get", "200", client.get(place)),
        (path, "delete", "200", client.delete(f"{place}?reason=x", headers=BEARER)),
    ]
    for where, method, code, answer in answers:
        assert str(answer.status_code) == code, answer.text
        schema = _good(where, method)[code]["content"]["application/json"]["schema"]
        faults = [fault.message for fault in _validator(schema).iter_errors(answer.json())]
        assert faults == [], (method, where)


def test_a_reading_keeps_to_its_schema_told_and_withdrawn(client: TestClient) -> None:
    path = "/api/v1/observations"
    told = client.post(path, json=WATER, headers=BEARER)
    air = {"surface": "green", "wind_2m_kmh": 9, "job": "foliar_feed"}
    judged = client.post(path, json=air, headers=BEARER)
    assert judged.json()["verdict"]["state"] == "unread", "no forecast is kept"
    gone = client.delete(f"{path}/{told.json()['uuid']}?reason=twice", headers=BEARER)
    for where, method, code, answer in (
        (path, "post", "201", told),
        (path, "post", "201", judged),
        (f"{path}/{{uuid}}", "delete", "200", gone),
    ):
        assert str(answer.status_code) == code, answer.text
        schema = _good(where, method)[code]["content"]["application/json"]["schema"]
        assert [fault.message for fault in _validator(schema).iter_errors(answer.json())] == []
    body = _described()["paths"][path]["post"]["requestBody"]["content"]["application/json"]["schema"]
    assert not list(_validator(body).iter_errors(WATER))
    assert list(_validator(body).iter_errors({**WATER, "water_mm": 400}))


def test_a_fault_keeps_to_the_schema_of_problems(client: TestClient) -> None:
    for path, question, code in (
        ("/api/v1/windows", "?job=moon", "404"),
        ("/api/v1/windows", "?day=someday", "400"),
        ("/api/v1/explain", "?job=foliar_feed", "422"),
    ):
        found = client.get(f"{path}{question}")
        assert str(found.status_code) == code
        content = _described()["paths"][path]["get"]["responses"][code]["content"]
        schema = content["application/problem+json"]["schema"]
        assert list(_validator(schema).iter_errors(found.json())) == []


def test_a_schema_refuses_an_answer_that_is_spoilt(client: TestClient) -> None:
    """The checks above can fail: a figure in place of a time, and a row without its state."""
    answer = client.get("/api/v1/windows").json()
    schema = _good("/api/v1/windows", "get")["200"]["content"]["application/json"]["schema"]
    assert not list(_validator(schema).iter_errors(answer))
    answer["windows"][0]["start"] = 7
    del answer["windows"][1]["state"]
    assert len(list(_validator(schema).iter_errors(answer))) == 2


#: What the machine does stands in UTC; all else, the keeper's time, on the site's clock.
IN_UTC = {
    *("made_at", "as_of", "issued_at", "fetched_at", "stale_at", "until", "written_at", "last_good_pass"),
    "hour",
}


def _times(answer: object, name: str = "") -> Iterator[tuple[str, str]]:
    """Every text that is a moment, with the key it stands under."""
    if isinstance(answer, dict):
        for key, value in answer.items():
            yield from _times(value, key)
    elif isinstance(answer, list):
        for value in answer:
            yield from _times(value, name)
    elif isinstance(answer, str) and re.match(r"\d{4}-\d\d-\d\dT", answer):
        yield name, answer


@pytest.mark.parametrize("path", sorted(set(ASKED) - {"/calendar.ics", "/metrics"}))
def test_times_are_written_in_one_style(client: TestClient, path: str) -> None:
    """On the site's clock, and in UTC with a Z where the machine's own acts are told and for the rows of hours;
    the flat object has no other than the site's."""
    machine = set() if path == "/api/v1/now" else IN_UTC | ({"time"} if path == "/api/v1/hours" else set())
    for name, text in _times(client.get(f"{path}{ASKED[path][0]}").json()):
        assert text.endswith("Z" if name in machine else "+01:00"), (name, text)
