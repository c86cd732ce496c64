"""An entry that comes as a message: written once, under the rule of the site file, and every refusal answered."""

from __future__ import annotations

import json
from datetime import timedelta
from typing import Any
from uuid import UUID, uuid4

import pytest

from planner.actions import record_work
from planner.actions.sent_entry import BROKER, OFF, TOKEN, written
from planner.config.load import load
from planner.store.store import Store
from tests.made import DEMO
from tests.reports.made import NOW

CONFIG = load(DEMO)
ENTRY = {"job": "mow_green", "surface": "green"}
SECRET = "a long secret of the keeper"


def send(store: Store, order: object, *, rule: str = BROKER, retained: bool = False, **given: Any) -> Any:
    payload = order if isinstance(order, bytes) else json.dumps(order).encode()
    now, token = given.get("now", NOW), given.get("token", SECRET)
    return written(payload, retained, CONFIG, store, now, token=token, rule=rule)


def test_it_is_the_entry_that_a_write_over_http_makes(store: Store) -> None:
    key = str(uuid4())
    answer = send(store, {"key": key, "entry": ENTRY})
    assert answer == {
        "key": key,
        "written": True,
        "uuid": key,
        "says": "Written: mow_green, green, Thu 7 May 05:15.",
    }
    (mine,) = store.entries()
    other = Store.open("sqlite://")
    theirs = record_work.add(ENTRY, CONFIG, other, NOW)
    assert mine.entry == theirs.entry
    other.close()


@pytest.mark.parametrize("key", ["mow 2026-05-07T06:00", "0b6f9a52-6f0e-4a53-9a36-3f1de4b7f6a1"])
def test_the_same_key_is_one_entry_however_often_it_comes(store: Store, key: str) -> None:
    order = {"key": key, "entry": ENTRY}
    first = send(store, order)
    # A broker may hand over a message twice, later too; the entry stays as it was written first.
    again = send(store, order, now=NOW + timedelta(minutes=20))
    assert first == again
    assert UUID(first["uuid"])
    assert len(store.entries()) == 1
    other = send(store, {"key": key, "entry": {"job": "rolling", "surface": "green"}})
    assert not other["written"]
    assert "key" in other["says"]
    assert send(store, {"key": f"{uuid4()}", "entry": ENTRY}, now=NOW + timedelta(hours=5))["written"]
    assert len(store.entries()) == 2


@pytest.mark.parametrize(
    ("order", "given", "says"),
    [
        ({"key": "a", "entry": ENTRY}, {"rule": OFF}, "is off"),
        ({"key": "a", "entry": ENTRY, "token": SECRET}, {"rule": OFF}, "is off"),
        ({"key": "a", "entry": ENTRY}, {"rule": TOKEN}, "needs token"),
        ({"key": "a", "entry": ENTRY, "token": "guess"}, {"rule": TOKEN}, "needs token"),
        ({"key": "a", "entry": ENTRY, "token": [SECRET]}, {"rule": TOKEN}, "needs token"),
        ({"key": "a", "entry": ENTRY, "token": "\ud800"}, {"rule": TOKEN}, "needs token"),
        ({"key": "a", "entry": ENTRY, "token": ""}, {"rule": TOKEN, "token": ""}, "no write token"),
        ({"key": "a", "entry": ENTRY}, {"retained": True}, "without retain"),
        ({"entry": ENTRY}, {}, "key is missing"),
        ({"key": "", "entry": ENTRY}, {}, "key is missing"),
        ({"key": 7, "entry": ENTRY}, {}, "key is missing"),
        ({"key": "x" * 201, "entry": ENTRY}, {}, "key is missing"),
        ({"key": "a"}, {}, "entry is missing"),
        ({"key": "a", "entry": "mow_green"}, {}, "entry is missing"),
        ({"key": "a", "entry": ENTRY, "reason": "x"}, {}, "reason is not a part"),
        ({"key": "a", "entry": {"job": "mow_gren", "surface": "green"}}, {}, "mow_green"),
        ({"key": "a", "entry": {"job": "mow_green", "surface": "moon"}}, {}, "moon"),
        ({"key": "a", "entry": {**ENTRY, "started": "2026-05-09 10:00"}}, {}, "still to come"),
        ({"key": "a\ud800", "entry": {**ENTRY, "notes": "\0"}}, {}, "a sign that is none"),
        ([1], {}, "not a JSON object"),
        (b"{", {}, "not JSON"),
        (b"\xff\xfe", {}, "not JSON"),
        (b"[" * 60_000, {}, "not JSON"),
        (b"x" * 70_000, {}, "longer than"),
        (b'{"key":"a","entry":' + b"[" * 400 + b"]" * 400 + b"}", {}, "nested too deep"),
        ({"key": "a", "entry": {**ENTRY, "job": SECRET}}, {}, "elsewhere than in token"),
        ({"key": f"mow {SECRET}", "entry": ENTRY}, {}, "elsewhere than in token"),
        ({"key": "a", "entry": ENTRY, SECRET: 1}, {}, "elsewhere than in token"),
        ({"key": "a", "entry": {**ENTRY, "notes": f"by {SECRET}!"}}, {}, "elsewhere than in token"),
        ({"key": "a", "entry": {**ENTRY, "materials": [{"name": SECRET}]}}, {}, "elsewhere than in token"),
    ],
)
def test_what_is_refused_is_answered_with_the_reason(
    store: Store, order: object, given: dict[str, Any], says: str
) -> None:
    answer = send(store, order, **given)
    assert answer["written"] is False
    assert answer["uuid"] is None
    assert says in answer["says"]
    assert SECRET not in json.dumps(answer)
    assert store.entries() == ()


def test_with_the_token_it_is_written(store: Store) -> None:
    answer = send(store, {"key": "a", "entry": ENTRY, "token": SECRET}, rule=TOKEN)
    assert answer["written"]
    assert SECRET not in json.dumps(answer)


def test_a_whole_entry_is_not_too_deep_and_a_short_token_no_secret(store: Store) -> None:
    entry = {
        "job": "foliar_feed",
        "surface": "green",
        "materials": [{"name": "iron", "amount": 1.0}],
        "notes": "mow",
    }
    answer = send(store, {"key": "a", "entry": entry}, token="mow")
    assert "nested" not in answer["says"]
    assert "token" not in answer["says"]


def test_a_fault_of_our_own_is_answered_and_logged(
    store: Store, monkeypatch: pytest.MonkeyPatch, caplog: pytest.LogCaptureFixture
) -> None:
    def broken(*_: object, **__: object) -> None:
        raise ZeroDivisionError("by nought")

    monkeypatch.setattr(record_work, "add", broken)
    answer = send(store, {"key": "a", "entry": ENTRY})
    assert (answer["written"], answer["key"]) == (False, "a")
    assert "fault of our own" in answer["says"]
    assert "by nought" not in answer["says"]
    assert "ZeroDivisionError" in caplog.text
