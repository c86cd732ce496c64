"""The sign of code 0 and halves of a sign: refused in words at every edge, alike on both databases, and never kept."""

from __future__ import annotations

import json
from collections.abc import Callable, Iterator
from contextlib import closing
from functools import lru_cache
from pathlib import Path
from typing import Any
from uuid import uuid4

import pytest
from fastapi.testclient import TestClient
from msgspec.structs import replace

from planner.actions import record_reading, record_work
from planner.actions.notebook import import_notebook
from planner.actions.one_pass import computed
from planner.actions.sent_entry import BROKER, written
from planner.config.load import load
from planner.diary.observations import Observation
from planner.errors import ConfigError, InputError
from planner.forecast import RawForecast
from planner.forecast.recorded import read_file
from planner.service.app import create_app
from planner.service.cache import ReportCache
from planner.service.context import Context
from planner.service.forms import forms
from planner.service.writes import writes
from planner.store.store import Store
from tests.diary.test_writing_http import BEARER, MOW, NOW, TOKEN
from tests.made import DEMO, ROOT
from tests.store.test_diary import FOLIAR
from tests.store.test_outbox import tell

CONFIG = load(DEMO)
SIGNS = ("a\0b", "\0", "a\ud800b", "\udfff")
ODD = pytest.mark.parametrize("odd", SIGNS)
shown = lru_cache(maxsize=1)(
    lambda: computed(CONFIG, read_file(ROOT / "fixtures" / "demo" / "week.csv", fetched_at=NOW), now=NOW)
)


@pytest.fixture
def http(store: Store) -> Iterator[TestClient]:
    cache = ReportCache(lambda: NOW)
    cache.put(*shown())
    context = Context(
        config=lambda: CONFIG,
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
    # A fault of our own is to be seen as one, and not as an answer.
    with TestClient(app, client=("127.0.0.1", 50000), base_url="http://localhost") as opened:
        yield opened


def nothing_is_kept(store: Store) -> bool:
    return not store.entries(with_withdrawn=True) and not store.observations(with_withdrawn=True)


def test_no_body_with_one_is_kept_whatever_field_it_stands_in(http: TestClient, store: Store) -> None:
    for odd in SIGNS:
        for place, body in bodies(odd):
            answer = http.post(f"/api/v1/{place}", content=json.dumps(body), headers=BEARER)
            assert answer.status_code in (400, 422), (body, answer.text)
            assert answer.json()["detail"]
    assert nothing_is_kept(store)


def bodies(odd: str) -> list[tuple[str, object]]:
    """Entries and readings with it in one place or another."""
    reading = {"surface": "green", "water_mm": 3.0}
    return [
        *(
            ("diary", {**MOW, name: odd})
            for name in ("job", "surface", "notes", "operator", "started", "kind")
        ),
        ("diary", {**MOW, odd: 1}),
        ("diary", {**MOW, "materials": [{"name": odd}]}),
        ("diary", {**MOW, "materials": [{"name": "urea", "unit": odd}]}),
        ("diary", {**MOW, "measured": {odd: 1}}),
        ("diary", [odd]),
        ("diary", odd),
        *(("observations", {**reading, name: odd}) for name in ("surface", "note", "at", "job")),
        ("observations", {**reading, odd: 1}),
        ("observations", [odd]),
    ]


def test_no_address_with_one_is_a_fault_of_ours(http: TestClient, store: Store) -> None:
    made = http.post("/api/v1/diary", json=MOW, headers=BEARER).json()["uuid"]
    # What is no UTF-8 comes as the mark for it, which is a sign.
    for odd in ("%00", "a%00b", "%ED%A0%80", "%FF"):
        for method, address in asked(odd, made):
            body = {"content": "{}"} if method == "patch" else {}
            answer = http.request(method, f"/api/v1/{address}", headers=BEARER, **body)  # type: ignore[arg-type]
            assert answer.status_code < 500, (address, answer.text)
        changed = {"headers": BEARER, "json": {"notes": f"wet {odd}"}}
        answer = http.patch(f"/api/v1/diary/{made}?reason={odd}", **changed)  # type: ignore[arg-type]
        assert answer.status_code == (422 if "%00" in odd else 200), answer.text
        assert "\0" not in json.dumps(http.get(f"/api/v1/diary/{made}").json())


def asked(odd: str, made: str) -> list[tuple[str, str]]:
    """Addresses with it in one place or another."""
    return [
        ("get", f"diary?job={odd}"),
        ("get", f"diary?surface={odd}"),
        ("get", f"diary?since={odd}"),
        ("get", f"diary/{odd}"),
        ("get", f"observations?surface={odd}"),
        ("get", f"diary/sheet?surface={odd}"),
        ("get", f"mix?job={odd}"),
        ("get", f"mix?job=foliar_feed&material={odd}&product={odd}"),
        ("delete", f"diary/{odd}?reason=x"),
        ("delete", f"diary/{made}?reason={odd.replace('a', '').replace('b', '')}%00"),
        ("delete", f"observations/{odd}?reason=x"),
        ("patch", f"diary/{made}?{odd}=x"),
    ]


def test_a_form_with_one_is_shown_again_with_why(http: TestClient, store: Store) -> None:
    of_form = {"Content-Type": "application/x-www-form-urlencoded"}
    for place, whole, names in (
        ("diary", "job=mow_green&surface=green", ("notes", "job")),
        ("diary/reading", "surface=green&water_mm=3", ("note", "surface")),
    ):
        for name in names:
            kept = "&".join(part for part in whole.split("&") if not part.startswith(f"{name}="))
            form = f"key={uuid4()}&token={TOKEN.replace(' ', '+')}&{kept}&{name}=a%00b"
            answer = http.post(f"/{place}", content=form, headers=of_form)
            assert answer.status_code == 400, answer.text
            assert "a sign that is none" in answer.text
    assert nothing_is_kept(store)


@ODD
def test_a_message_of_the_broker_with_one_is_answered_with_why(store: Store, odd: str) -> None:
    for entry in ({**MOW, "notes": odd}, {**MOW, "job": odd}, {**MOW, odd: 1}):
        order = json.dumps({"key": "a", "entry": entry}).encode()
        answer = written(order, False, CONFIG, store, NOW, token=TOKEN, rule=BROKER)
        assert not answer["written"]
        assert "a sign that is none" in answer["says"]
    assert nothing_is_kept(store)
    # A key is made into one of ours, whatever is in it.
    order = json.dumps({"key": odd, "entry": {"job": "mow_green", "surface": "green"}}).encode()
    assert written(order, False, CONFIG, store, NOW, token=TOKEN, rule=BROKER)["written"]


def test_a_notebook_with_one_is_refused_by_its_line(store: Store, tmp_path: Path) -> None:
    head = "date,job,surface,notes,operator,material\n"
    good = "2026-04-20,mow_green,green,dry,Ida,\n"
    for number, cells in enumerate(
        ("mow\0,green,,,", "mow_green,green,a\0b,,", "mow_green,green,,\0,", "foliar_feed,green,,,u\0")
    ):
        file = tmp_path / f"{number}.csv"
        file.write_text(head + good + f"2026-04-21,{cells}\n", encoding="utf-8")
        with pytest.raises(ConfigError, match="line 3"):
            import_notebook(file, CONFIG, store, NOW)
    (tmp_path / "head.csv").write_text(head.replace("notes", "no\0tes") + good, encoding="utf-8")
    with pytest.raises(ConfigError, match="line 1"):
        import_notebook(tmp_path / "head.csv", CONFIG, store, NOW)
    (tmp_path / "half.csv").write_bytes(
        (head + good).encode() + b"2026-04-21,mow_green,green,\xed\xa0\x80,,\n"
    )
    with pytest.raises(InputError, match="not UTF-8"):
        import_notebook(tmp_path / "half.csv", CONFIG, store, NOW)
    assert nothing_is_kept(store)


@ODD
def test_the_store_itself_refuses_one_alike_in_either_database(store: Store, odd: str) -> None:
    kept = store.add_entry(FOLIAR, NOW)
    reading = Observation(surface="green", at=NOW, figures={"water_mm": 1.0}, note=odd)
    acts: list[Callable[[], Any]] = [
        lambda: store.edit_entry(kept.uuid, FOLIAR, NOW, reason=odd),
        lambda: store.withdraw_entry(kept.uuid, NOW, reason=f"x{odd}"),
        lambda: store.add_observation(reading, NOW),
        lambda: store.entries(job=odd),
        lambda: store.observations(surface=odd),
        lambda: store.claim("pass", odd, 60, NOW),
        lambda: store.keep_pass(NOW, {odd: b""}, schema=1),
        lambda: store.keep_pass(NOW, {}, schema=1, outbox=[replace(tell(), output=odd)]),
        lambda: store.last_forecast(odd),
        lambda: record_work.add({**MOW, "notes": odd}, CONFIG, store, NOW),
        lambda: record_reading.add({"surface": "green", "water_mm": 1.0, "note": odd}, CONFIG, store, NOW),
    ]
    for act in acts:
        with pytest.raises(InputError, match="a sign that is none"):
            act()
    assert store.history(kept.uuid) == (kept,)
    assert store.newest_pass() is None


@ODD
def test_words_of_others_are_kept_as_far_as_they_can_be(store: Store, odd: str) -> None:
    """What a weather service or an output says is no fault of the keeper, and ends no pass and no sending."""
    store.keep_forecast("one", RawForecast(raw=b"{}", url="", fetched_at=NOW, notes=(f"it says {odd}",)))
    got = store.last_forecast("one")
    assert got is not None
    assert got.notes == (f"it says {odd}",)
    store.renew_forecast(got.id, RawForecast(raw=b"{}", url="", fetched_at=NOW, notes=(odd,)))
    store.keep_pass(NOW, {}, schema=1, outbox=[tell(), tell(output="hook")])
    for due in store.take_due(NOW, 60, limit=5):
        if due.output == "mail":
            store.mark_failed(due.id, None, f"the server said {odd}")
        else:
            store.mark_unsure(due.id, f"the server said {odd}")
    assert {one.state for one in store.outbox_counts()} == {"given up", "unsure"}
    assert all("\ufffd" in one.note for one in store.outbox_counts())


def test_a_file_of_the_site_with_one_is_a_fault_with_its_line(tmp_path: Path) -> None:
    for file in (ROOT / "config").glob("*.toml"):
        (tmp_path / file.name).write_text(file.read_text())
    site = tmp_path / "demo.toml"
    whole = site.read_text()
    for old, new in (('why = "', 'why = "\\u0000'), ("[store]\n", '[store]\n"u\\U00000000" = 1\n')):
        assert old in whole
        site.write_text(whole.replace(old, new, 1))
        with pytest.raises(ConfigError, match=r"line \d+: .*the sign with code 0") as caught:
            load(site)
        assert "\0" not in str(caught.value)
    site.write_text(whole)
    rules = tmp_path / "rules.toml"
    rules.write_text(rules.read_text().replace('label = "', 'label = "\\u0000', 1))
    with pytest.raises(ConfigError, match="the sign with code 0"):
        load(site)
    # The backslash itself may be written out.
    rules.write_text(rules.read_text().replace("\\u0000", "\\\\u0000"))
    load(site)


def test_a_store_with_one_from_elsewhere_is_still_read(sqlite_url: str) -> None:
    """SQLite keeps what another program wrote; nothing of ours stumbles over it."""
    with closing(Store.open(sqlite_url)) as store:
        kept = store.add_entry(FOLIAR, NOW)
        with store._writing() as connection:
            connection.exec_driver_sql(
                "insert into entries (site, uuid, revision, key, job, kind, surface, started_at, finished_at, "
                "operator, notes, document, written_at, withdrawn, reason) select site, uuid, 2, 'k', job, kind, "
                "surface, started_at, finished_at, operator, notes, document, written_at, withdrawn, char(97, 0) "
                "from entries"
            )
        assert [one.reason for one in store.history(kept.uuid)] == ["", "a\0"]
