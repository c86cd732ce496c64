"""The tank sheet and the diary as pages: amounts worked out, work written down once, and only with the token."""

from __future__ import annotations

import re
from collections.abc import Iterator
from dataclasses import replace
from urllib.parse import urlencode
from zoneinfo import ZoneInfo

import pytest
from fastapi.testclient import TestClient

from planner.config.load import load
from planner.diary.showing import entry_row
from planner.reports.shown_units import System
from planner.service.app import create_app
from planner.service.cache import ReportCache
from planner.service.context import Context
from planner.service.forms import forms
from planner.store.store import Store
from tests.service.conftest import ROOT, Clock

TOKEN = "long enough to be a secret"


@pytest.fixture
def store() -> Iterator[Store]:
    opened = Store.open("sqlite://")
    yield opened
    opened.close()


@pytest.fixture
def renewed() -> list[int]:
    return []


def _client(
    cache: ReportCache,
    clock: Clock,
    store: Store,
    renewed: list[int],
    token: str,
    peer: str,
    system: System = "metric",
) -> TestClient:
    config = load(ROOT / "config" / "demo.toml")
    config = replace(config, site=replace(config.site, units=system))
    context = Context(
        config=lambda: config,
        store=lambda: store,
        cache=cache,
        clock=clock,
        token=token,
        renew=lambda: renewed.append(1),
        sends=False,
    )
    app = create_app(cache, clock=clock)
    app.include_router(forms(context))
    return TestClient(app, client=(peer, 50000), base_url="http://localhost", follow_redirects=False)


@pytest.fixture
def client(cache: ReportCache, clock: Clock, store: Store, renewed: list[int]) -> TestClient:
    return _client(cache, clock, store, renewed, TOKEN, "127.0.0.1")


def _key(client: TestClient) -> str:
    found = re.search(r'name="key" value="([^"]+)"', client.get("/diary").text)
    assert found is not None
    return found[1]


def _post(client: TestClient, **fields: str) -> object:
    head = {"Content-Type": "application/x-www-form-urlencoded"}
    return client.post("/diary", content=urlencode(fields), headers=head)


def test_the_tank_sheet_says_what_is_needed_and_what_is_over(client: TestClient) -> None:
    found = client.get("/tank?job=foliar_feed&surface=green&litres=20")
    assert found.status_code == 200
    assert "16.3 L needed; 3.7 L over." in found.text
    assert "850 mL foliar 10-0-4" in found.text
    assert "The label and local law come first" in found.text
    assert found.headers["cache-control"] == "no-store"


def test_the_empty_tank_page_offers_only_jobs_that_have_a_material(client: TestClient) -> None:
    page = client.get("/tank").text
    assert '<option value="foliar_feed">' in page
    assert '<option value="mow_green">' not in page


@pytest.mark.parametrize(
    ("query", "says"),
    [
        ("job=flying", "There is no job"),
        ("job=foliar_feed&litres=much", "is not a number"),
        ("job=foliar_feed&surface=moon", "There is no surface"),
        ("job=foliar_feed&material=gold", "gold"),
        ("job=foliar_feed&litres=nan", "cannot be the litres"),
    ],
)
def test_faults_on_the_tank_page_are_told_on_it(client: TestClient, query: str, says: str) -> None:
    found = client.get(f"/tank?{query}")
    assert found.status_code == 400
    assert found.headers["content-type"].startswith("text/html")
    assert says in found.text


def test_work_is_written_down_once_however_often_the_form_is_sent(
    client: TestClient, store: Store, renewed: list[int]
) -> None:
    fields = {
        "key": _key(client),
        "token": TOKEN,
        "job": "foliar_feed",
        "surface": "green",
        "finished": "05:40",
        "material": "foliar 10-0-4",
        "amount": "0,85",
        "wind_2m_kmh": "6",
        "notes": "<b>even</b>",
    }
    first, second = _post(client, **fields), _post(client, **fields)
    assert first.status_code == second.status_code == 303
    assert first.headers["location"] == second.headers["location"]
    rows = store.entries()
    assert len(rows) == 1
    assert rows[0].entry.document["materials"][0]["amount"] == 0.85
    assert rows[0].entry.document["measured"]["wind_2m_kmh"] == 6
    assert renewed
    page = client.get(first.headers["location"]).text
    assert "Written down: foliar feed, green, today 04:55." in page
    assert "&lt;b&gt;even&lt;/b&gt;" in page
    assert "<b>even" not in page


@pytest.mark.parametrize(
    ("change", "status", "says"),
    [
        ({"token": "wrong"}, 401, "not the token"),
        ({"token": ""}, 401, "not the token"),
        ({"key": "none"}, 400, "lost its key"),
        ({"job": "flying"}, 400, "flying"),
        ({"finished": "someday"}, 400, "is not a time"),
        ({"water_l": "a lot"}, 400, "is not a number"),
        # A litre or a thousand of them: who is not asked back finds the wrong one in the record.
        ({"water_l": "1,000"}, 400, "may be read in two ways"),
        ({"water_l": "-1,0000"}, 400, "may be read in two ways"),
        ({"cover_pct": "140"}, 400, "cover_pct"),
        ({"finished": "tomorrow 07:00"}, 400, ""),
    ],
)
def test_what_cannot_be_written_is_told_and_the_form_stays_filled_in(
    client: TestClient, store: Store, change: dict[str, str], status: int, says: str
) -> None:
    fields = {
        "key": _key(client),
        "token": TOKEN,
        "job": "mow_green",
        "surface": "green",
        "notes": "kept words",
    }
    found = _post(client, **(fields | change))
    assert found.status_code == status
    assert says in found.text
    assert "kept words" in found.text
    assert TOKEN not in found.text
    assert store.entries() == ()


def test_a_form_sent_again_with_other_words_is_refused(client: TestClient, store: Store) -> None:
    fields = {
        "key": _key(client),
        "token": TOKEN,
        "job": "mow_green",
        "surface": "green",
        "finished": "05:00",
    }
    assert _post(client, **fields).status_code == 303
    assert _post(client, **(fields | {"notes": "other"})).status_code == 409
    assert len(store.entries()) == 1


def test_a_form_that_is_too_long_is_not_read(client: TestClient, store: Store) -> None:
    found = _post(client, key=_key(client), token=TOKEN, job="mow_green", surface="green", notes="x" * 70_000)
    assert found.status_code == 413
    assert store.entries() == ()


def test_without_a_token_set_nothing_can_be_written(
    cache: ReportCache, clock: Clock, store: Store, renewed: list[int]
) -> None:
    client = _client(cache, clock, store, renewed, "", "127.0.0.1")
    page = client.get("/diary").text
    assert "no token is set" in page
    assert "<form" not in page
    assert _post(client, token="", job="mow_green", surface="green").status_code == 403
    assert store.entries() == ()


def test_from_another_machine_the_entries_are_not_shown(
    cache: ReportCache, clock: Clock, store: Store, renewed: list[int], client: TestClient
) -> None:
    fields = {"key": _key(client), "token": TOKEN, "job": "mow_green", "surface": "green", "operator": "Ada"}
    _post(client, **fields, finished="05:00")
    assert "mow green" in client.get("/diary").text
    away = _client(cache, clock, store, renewed, TOKEN, "192.0.2.7").get("/diary").text
    assert "From another machine it is read with the token" in away
    assert "<td>mow green</td>" not in away


def test_a_reading_is_told_by_form(client: TestClient, store: Store, renewed: list[int]) -> None:
    text = client.get("/diary").text
    found = re.search(r'action="./diary/reading"><input type="hidden" name="key" value="([^"]+)"', text)
    assert found is not None
    sent = {"key": found[1], "token": TOKEN, "surface": "green", "at": "05:00", "water_mm": "4,5"}
    head = {"Content-Type": "application/x-www-form-urlencoded"}
    wrong = client.post("/diary/reading", content=urlencode({**sent, "token": "x"}), headers=head)
    assert (wrong.status_code, "4,5" in wrong.text, store.observations()) == (401, True, ())
    place = client.post("/diary/reading", content=urlencode(sent), headers=head)
    assert (place.status_code, renewed) == (303, [1])
    shown = client.get(place.headers["location"]).text
    assert "The reading is kept." in shown
    assert "water given 4.5 mm" in shown
    (told,) = store.observations()
    assert told.observation.figures == {"water_mm": 4.5}


def test_the_token_is_asked_once_and_kept_over_a_fault(
    cache: ReportCache, clock: Clock, store: Store, renewed: list[int]
) -> None:
    away = _client(cache, clock, store, renewed, TOKEN, "192.0.2.7")
    assert 'type="password"' in away.get("/diary").text
    fault = _post(away, key=_key(away), token=TOKEN, job="mow_green", surface="green", finished="99:99")
    assert fault.status_code == 400
    assert 'type="password"' not in fault.text
    cookie = fault.headers["set-cookie"]
    assert TOKEN not in cookie
    assert {"HttpOnly", "SameSite=strict", "Path=/"} <= {part.strip() for part in cookie.split(";")}
    # The cookie alone is enough now, to write and to read.
    assert _post(away, key=_key(away), job="mow_green", surface="green", operator="Ada").status_code == 303
    assert "Mow green" in away.get("/diary").text or "mow green" in away.get("/diary").text
    left = away.post("/diary/leave")
    assert left.headers["location"] == "../diary"
    assert 'type="password"' in away.get("/diary").text
    assert _post(away, key=_key(away), job="mow_green", surface="green").status_code == 401


def test_another_token_or_a_made_up_cookie_is_not_known(
    cache: ReportCache, clock: Clock, store: Store, renewed: list[int]
) -> None:
    first = _client(cache, clock, store, renewed, TOKEN, "192.0.2.7")
    _post(first, key=_key(first), token=TOKEN, job="mow_green", surface="green")
    other = _client(cache, clock, store, renewed, "another token that is long", "192.0.2.7")
    other.cookies.update(first.cookies)
    assert _post(other, key=_key(other), job="mow_green", surface="green").status_code == 401
    none_set = _client(cache, clock, store, renewed, "", "192.0.2.7")
    none_set.cookies.update(first.cookies)
    assert _post(none_set, key="x", job="mow_green", surface="green").status_code == 403


@pytest.mark.parametrize(
    "head",
    [{"Origin": "http://localhost:9999"}, {"Origin": "https://evil.lan"}, {"Sec-Fetch-Site": "same-site"}],
)
def test_a_page_of_another_origin_cannot_write_by_the_cookie(
    client: TestClient, head: dict[str, str]
) -> None:
    _post(client, key=_key(client), token=TOKEN, job="mow_green", surface="green")
    body = urlencode({"key": _key(client), "job": "mow_green", "surface": "green"})
    kind = {"Content-Type": "application/x-www-form-urlencoded"}
    assert client.post("/diary", content=body, headers=kind | head).status_code == 401
    own = {"Origin": "http://localhost", "Sec-Fetch-Site": "same-origin"}
    assert client.post("/diary", content=body, headers=kind | own).status_code == 303


def test_a_browser_is_forgotten_after_half_a_year(client: TestClient, clock: Clock) -> None:
    _post(client, key=_key(client), token=TOKEN, job="mow_green", surface="green")
    clock.forward(days=170)
    assert 'type="password"' not in client.get("/diary").text
    clock.forward(days=20)
    assert 'type="password"' in client.get("/diary").text


def test_figures_are_taken_in_the_units_of_the_site(
    cache: ReportCache, clock: Clock, store: Store, renewed: list[int]
) -> None:
    """0.5 in is 12.7 mm, 10 mph 16.09 km/h, 59 °F 15 °C (NIST SP 811, appendix B.8)."""
    client = _client(cache, clock, store, renewed, TOKEN, "127.0.0.1", "imperial")
    sent = {"key": _key(client), "token": TOKEN, "job": "mow_green", "surface": "green", "finished": "05:10"}
    sent |= {"cut_height_mm": "0.5", "wind_2m_kmh": "10", "air_temp_c": "59"}
    assert client.post("/diary", content=urlencode(sent)).status_code == 303
    entry = entry_row(store.entries()[0], ZoneInfo("Europe/London"))
    assert entry["cut_height_mm"] == pytest.approx(12.7)
    assert entry["measured"]["wind_2m_kmh"] == pytest.approx(16.093, abs=0.001)
    assert entry["measured"]["air_temp_c"] == pytest.approx(15.0)


def test_work_is_written_down_before_there_is_any_forecast(
    clock: Clock, store: Store, renewed: list[int]
) -> None:
    cache = ReportCache(clock)
    cache.explain_by(lambda: "open-meteo does not answer: no route to host.")
    client = _client(cache, clock, store, renewed, TOKEN, "127.0.0.1")
    page = client.get("/diary")
    assert page.status_code == 200
    assert "no forecast yet" in page.text
    assert "no route to host" in page.text
    assert client.get("/tank").status_code == 200
    morning = client.get("/")
    assert (morning.status_code, "no route to host" in morning.text) == (503, True)
    sent = {"key": _key(client), "token": TOKEN, "job": "mow_green", "surface": "green", "finished": "05:10"}
    assert client.post("/diary", content=urlencode(sent)).status_code == 303
    assert len(store.entries()) == 1
