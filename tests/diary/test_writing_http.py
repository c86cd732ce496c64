"""The diary over HTTP: token, keys, history, faults in words; and the reads that go with it."""

from __future__ import annotations

import socket
from collections.abc import Iterator
from datetime import UTC, datetime
from uuid import uuid4

import pytest
from fastapi.testclient import TestClient

from planner.actions.one_pass import computed
from planner.config.load import load
from planner.forecast.recorded import read_file
from planner.service.app import create_app
from planner.service.cache import ReportCache
from planner.service.context import Context
from planner.service.writes import writes
from planner.store.store import Store
from tests.made import DEMO, ROOT

NOW = datetime(2026, 5, 7, 5, tzinfo=UTC)
TOKEN = "a long secret"
BEARER = {"Authorization": f"Bearer {TOKEN}"}
MOW = {"job": "mow_green", "surface": "green", "started": "04:00", "finished": "05:00"}


def client(
    token: str = TOKEN, host: str = "127.0.0.1", renewed: list[int] | None = None
) -> Iterator[TestClient]:
    config = load(DEMO)
    cache = ReportCache(lambda: NOW)
    cache.put(*computed(config, read_file(ROOT / "fixtures" / "demo" / "week.csv", fetched_at=NOW), now=NOW))
    store = Store.open("sqlite://")
    context = Context(
        config=lambda: config,
        store=lambda: store,
        cache=cache,
        clock=lambda: NOW,
        token=token,
        renew=lambda: None if renewed is None else renewed.append(1),
        sends=False,
    )
    app = create_app(cache, clock=lambda: NOW)
    app.include_router(writes(context))
    with TestClient(app, client=(host, 50000), base_url="http://localhost") as opened:
        yield opened
    store.close()


@pytest.fixture
def http() -> Iterator[TestClient]:
    yield from client()


def test_written_read_changed_and_withdrawn(http):
    made = http.post("/api/v1/diary", json=MOW, headers=BEARER)
    assert made.status_code == 201, made.text
    place = made.headers["location"]
    changed = http.patch(f"{place}?reason=forgot", json={"notes": "wet"}, headers=BEARER)
    assert (changed.json()["revision"], changed.json()["notes"]) == (2, "wet")
    whole = http.put(place, json={**MOW, "notes": "dry"}, headers=BEARER)
    assert whole.json()["revision"] == 3
    history = http.get(place).json()
    assert [row["notes"] for row in history["history"]] == ["", "wet"]
    assert http.delete(f"{place}?reason=twice", headers=BEARER).json()["withdrawn"]
    assert http.get("/api/v1/diary").json() == {"entries": []}
    assert len(http.get("/api/v1/diary?withdrawn=true").json()["entries"]) == 1
    assert http.get(place).status_code == 404
    gone = http.get(f"{place}?withdrawn=true").json()
    assert (gone["withdrawn"], gone["reason"], len(gone["history"])) == (True, "twice", 3)
    late = http.patch(f"{place}?reason=late", json={"notes": "x"}, headers=BEARER)
    assert (late.status_code, "was withdrawn" in late.json()["detail"]) == (409, True)
    assert http.get("/api/v1/diary?format=csv&withdrawn=true").headers["content-type"].startswith("text/csv")


def test_the_same_key_writes_once(http):
    key = {"Idempotency-Key": str(uuid4()), **BEARER}
    first = http.post("/api/v1/diary", json=MOW, headers=key)
    second = http.post("/api/v1/diary", json=MOW, headers=key)
    assert first.json() == second.json()
    other = http.post("/api/v1/diary", json={**MOW, "notes": "x"}, headers=key)
    assert other.status_code == 409
    assert len(http.get("/api/v1/diary").json()["entries"]) == 1


@pytest.mark.parametrize("header", [{}, {"Authorization": "Bearer wrong"}, {"Authorization": TOKEN}])
@pytest.mark.parametrize("method", ["post", "put", "patch", "delete"])
def test_no_write_without_the_token(http, method, header):
    place = "/api/v1/diary" if method == "post" else f"/api/v1/diary/{uuid4()}?reason=x"
    body = {} if method == "delete" else {"json": MOW}
    answer = getattr(http, method)(place, headers=header, **body)
    assert answer.status_code == 401
    assert answer.headers["content-type"] == "application/problem+json"


def test_without_a_token_set_nothing_can_be_written():
    for opened in client(token=""):
        for header in ({}, {"Authorization": "Bearer "}, BEARER):
            answer = opened.post("/api/v1/diary", json=MOW, headers=header)
            assert answer.status_code == 403
            assert "HAYSEL_TOKEN" in answer.json()["detail"]


def test_from_another_machine_the_diary_is_read_with_the_token_only():
    for opened in client(host="192.0.2.7"):
        assert opened.get("/api/v1/diary").status_code == 401
        assert opened.get("/api/v1/diary", headers=BEARER).status_code == 200


@pytest.mark.parametrize(
    ("body", "status", "says"),
    [
        ({**MOW, "job": "mow_gren"}, 404, "mow_green"),
        ({**MOW, "surface": "moon"}, 404, "no surface"),
        ({**MOW, "job": "seaweed", "kind": "nonsense"}, 409, "Known: aerating"),
        ({**MOW, "job": "seaweed", "kind": "spraying"}, 409, "foliar_feed"),
        ({**MOW, "colour": "green"}, 400, "not a field"),
        ({**MOW, "water_l": -1}, 400, "water_l"),
        ({**MOW, "water_l": False}, 400, "water_l"),
        ({**MOW, "tackifier": 1}, 400, "tackifier"),
        ({**MOW, "notes": "\x00"}, 400, "a sign that is none"),
        ({**MOW, "target": "\ud800"}, 400, "a sign that is none"),
        ({**MOW, "started": "later"}, 400, "not a time"),
        ({**MOW, "started": "tomorrow 04:00", "finished": ""}, 409, "still to come"),
        ({**MOW, "finished": "03:00"}, 409, "before it starts"),
        ({**MOW, "notes": "x" * 10_001}, 400, "notes"),
        ({**MOW, "materials": [{"name": "urea"}] * 41}, 400, "materials"),
        ([MOW], 422, ""),
        ({}, 400, "job"),
    ],
)
def test_a_fault_is_told_and_never_a_500(http, body, status, says):
    import json

    answer = http.post(
        "/api/v1/diary", content=json.dumps(body), headers={**BEARER, "Content-Type": "application/json"}
    )
    assert answer.status_code == status, answer.text
    assert says in answer.json()["detail"]


def test_bad_keys_and_unknown_entries(http):
    bad = http.post("/api/v1/diary", json=MOW, headers={"Idempotency-Key": "one", **BEARER})
    assert bad.status_code == 400
    assert http.get(f"/api/v1/diary/{uuid4()}").status_code == 404
    assert http.get("/api/v1/diary?since=someday").status_code == 400


def test_a_write_renews_the_pass():
    renewed: list[int] = []
    for opened in client(renewed=renewed):
        opened.post("/api/v1/diary", json=MOW, headers=BEARER)
        assert renewed == [1]


def test_reads_that_go_with_it(http):
    mix = http.get("/api/v1/mix?job=foliar_feed&litres=20").json()
    assert mix["says"] == "16.3 L needed; 3.7 L over."
    assert http.get("/api/v1/mix?job=foliar_feed&litres=nan").status_code == 422
    assert http.get("/api/v1/mix?job=mow_green").status_code == 404
    names = [one["name"] for one in http.get("/api/v1/materials").json()["materials"]]
    assert "foliar 10-0-4" in names
    assert http.get("/api/v1/outbox").json() == {"outbox": []}
    due = http.get("/api/v1/due")
    assert {row["job"] for row in due.json()["due"]} >= {"foliar_feed"}
    assert http.get("/api/v1/due", headers={"If-None-Match": due.headers["etag"]}).status_code == 304
    assert http.get("/api/v1/diary/sheet").json() == {"sheets": []}


def test_a_reading_is_told_once_listed_and_withdrawn(http):
    key = {"Idempotency-Key": str(uuid4()), **BEARER}
    water = {"surface": "green", "water_mm": 4, "at": "04:00"}
    told = http.post("/api/v1/observations", json=water, headers=key)
    assert told.status_code == 201, told.text
    assert http.post("/api/v1/observations", json=water, headers=key).json() == told.json()
    assert http.post("/api/v1/observations", json={**water, "water_mm": 5}, headers=key).status_code == 409
    row = {name: value for name, value in told.json().items() if name != "verdict"}
    assert http.get("/api/v1/observations").json() == {"observations": [row]}
    assert http.get("/api/v1/observations?since=tomorrow").json() == {"observations": []}
    place = f"/api/v1/observations/{told.json()['uuid']}?reason=twice"
    assert http.delete(place).status_code == 401
    assert http.delete(place, headers=BEARER).json()["withdrawn"]
    assert http.get("/api/v1/observations").json() == {"observations": []}
    assert len(http.get("/api/v1/observations?withdrawn=true").json()["observations"]) == 1


def test_a_reading_needs_the_token_renews_the_pass_and_tells_faults():
    renewed: list[int] = []
    for opened in client(renewed=renewed):
        water = {"surface": "green", "water_mm": 4}
        assert opened.post("/api/v1/observations", json=water).status_code == 401
        assert renewed == []
        assert opened.post("/api/v1/observations", json=water, headers=BEARER).status_code == 201
        assert renewed == [1]
        for wrong, status, says in (
            ({"water_mm": 4}, 409, "one surface"),
            ({"watermm": 4}, 400, "water_mm"),
            ({}, 409, "no figure"),
            ({"wind_2m_kmh": False}, 400, "wind_2m_kmh"),
        ):
            answer = opened.post("/api/v1/observations", json=wrong, headers=BEARER)
            assert (answer.status_code, says in answer.json()["detail"]) == (status, True), answer.text
    for opened in client(host="192.0.2.7"):
        assert opened.get("/api/v1/observations").status_code == 401


def test_the_same_key_with_another_time_is_refused(http):
    for body in (
        {"job": "mow_green", "surface": "green", "started": "03:00"},
        {"job": "mow_green", "surface": "green", "finished": "03:00"},
        {**MOW, "started": "03:00", "finished": "03:30"},
    ):
        key = {"Idempotency-Key": str(uuid4()), **BEARER}
        first = http.post("/api/v1/diary", json=body, headers=key)
        assert first.status_code == 201, first.text
        assert http.post("/api/v1/diary", json=body, headers=key).json() == first.json()
        name = "started" if "started" in body else "finished"
        other = http.post("/api/v1/diary", json={**body, name: "02:10"}, headers=key)
        assert other.status_code == 409, body


def test_a_change_meant_for_a_revision_that_no_longer_holds_is_refused(http):
    made = http.post("/api/v1/diary", json=MOW, headers=BEARER)
    place, tag = made.headers["location"], made.headers["etag"]
    assert http.get(place).headers["etag"] == tag
    meant = {**BEARER, "If-Match": tag}
    changed = http.patch(f"{place}?reason=wet", json={"notes": "wet"}, headers=meant)
    assert (changed.status_code, changed.headers["etag"]) == (200, http.get(place).headers["etag"])
    late = http.patch(f"{place}?reason=dry", json={"notes": "dry"}, headers=meant)
    assert (late.status_code, "revision 2" in late.json()["detail"]) == (412, True)
    assert http.put(place, json=MOW, headers=meant).status_code == 412
    assert http.delete(f"{place}?reason=x", headers=meant).status_code == 412
    assert http.get(place).json()["notes"] == "wet"
    for header in (changed.headers["etag"], "*"):
        meant = BEARER | {"If-Match": header}
        answer = http.patch(f"{place}?reason={len(header)}", json={"notes": header}, headers=meant)
        assert answer.status_code == 200


def test_two_changes_of_different_fields_at_once_are_both_kept(tmp_path):
    """Each reads the entry before either has written."""
    from threading import Barrier, Thread

    from planner.actions import record_work
    from planner.config.load import load
    from planner.store.store import Store
    from tests.made import DEMO

    config, store = load(DEMO), Store.open(str(tmp_path / "store.db"))
    made = record_work.add(MOW, config, store, NOW)
    changes = ({"notes": "wet"}, {"target": "level"}, {"cut_height_mm": 5.0}, {"outcome": "held"})
    both, faults = Barrier(len(changes)), []
    history = store.history

    def read_together(uuid):
        found = history(uuid)
        if found[-1].revision == 1:
            both.wait(30)
        return found

    object.__setattr__(store, "history", read_together)

    def change(fields):
        try:
            record_work.edit(made.uuid, fields, config, store, NOW, reason="late")
        except Exception as fault:
            faults.append(fault)

    threads = [Thread(target=change, args=(fields,)) for fields in changes]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join(60)
    assert faults == []
    last = history(made.uuid)[-1].entry
    assert (last.notes, last.document["target"]) == ("wet", "level")
    assert (last.document["cut_height_mm"], last.document["outcome"]) == (5.0, "held")
    store.close()


@pytest.mark.parametrize("told", [True, False])
def test_a_body_that_is_too_long_is_refused_before_it_is_kept(http, told):
    def parts():
        for _ in range(40):
            yield b" " * 65_536

    content = b" " * 1_000_001 if told else parts()
    answer = http.post("/api/v1/diary", content=content, headers={"Content-Type": "application/json"})
    assert answer.status_code == 413
    assert answer.headers["content-type"] == "application/problem+json"


def test_a_store_that_is_away_is_told_as_such(http, monkeypatch):
    from planner.store.records import StoreError
    from planner.store.store import Store

    def locked(*_, **__):
        raise StoreError("The store is locked.")

    monkeypatch.setattr(Store, "add_entry", locked)
    monkeypatch.setattr(Store, "entries", locked)
    for answer in (http.post("/api/v1/diary", json=MOW, headers=BEARER), http.get("/api/v1/diary")):
        assert (answer.status_code, answer.headers["retry-after"]) == (503, "60")


def test_a_text_that_a_spreadsheet_would_work_out_is_a_text_there(http):
    for notes in ("=1+1", "+1", "-1", "@x", "\t=1"):
        http.post("/api/v1/diary", json={**MOW, "notes": notes}, headers=BEARER)
    lines = http.get("/api/v1/diary?format=csv").text
    for notes in ("=1+1", "+1", "-1", "@x", "\t=1"):
        assert f",'{notes}," in lines


@pytest.mark.parametrize(
    ("name", "status"),
    [
        ("127.0.0.1:8480", 200),
        ("localhost", 200),
        ("[::1]:8480", 200),
        ("haysel.localhost", 200),
        (socket.gethostname(), 200),
        (f"{socket.gethostname()}.local:8480", 200),
        # A proxy passes on the name under which it knows us, or was asked.
        ("shed.lan", 401),
        ("haysel", 401),
        ("192.0.2.9:8480", 401),
        ("rebound.example.com", 401),
        ("turf.example.org:8480", 401),
    ],
)
def test_a_name_of_elsewhere_that_leads_here_does_not_open_the_diary(http, name, status):
    """As a page of another name does that has it lead to this machine, or a proxy that does not say for whom."""
    for path in ("/api/v1/diary", "/api/v1/observations", "/api/v1/diary/sheet"):
        assert http.get(path, headers={"Host": name}).status_code == status
        assert http.get(path, headers={"Host": name, **BEARER}).status_code == 200


@pytest.mark.parametrize("header", ["X-Forwarded-For", "Forwarded", "X-Real-IP", "Via"])
def test_a_proxy_that_says_for_whom_it_asks_does_not_open_the_diary(http, header):
    assert http.get("/api/v1/diary").status_code == 200
    assert http.get("/api/v1/diary", headers={header: "192.0.2.9"}).status_code == 401


def test_a_key_that_is_none_is_refused_also_where_nothing_would_change(http):
    place = http.post("/api/v1/diary", json=MOW, headers=BEARER).headers["location"]
    assert http.patch(place, json={"notes": "wet"}, headers=BEARER).json()["revision"] == 2
    spoilt = {**BEARER, "Idempotency-Key": "no uuid"}
    assert http.patch(place, json={}, headers=spoilt).status_code == 400
    assert http.delete(f"{place}?reason=twice", headers=BEARER).status_code == 200
    assert http.delete(f"{place}?reason=twice", headers=spoilt).status_code == 400
