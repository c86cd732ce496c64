"""Who asks too often is put off, alone, for a while; a keeper's house never is."""

from __future__ import annotations

from contextlib import ExitStack

import httpx
import pytest
from fastapi import FastAPI
from fastapi.testclient import TestClient

from planner.config.load import load
from planner.config.schema import ServicePart
from planner.service.edge import edge
from planner.service.rates import MOST_CLIENTS, Allowance, Streams, client_of
from planner.service.run import demo_app
from tests.made import DEMO, ROOT
from tests.reports.made import NOW

TOKEN = "a long secret"
MOW = {"job": "mow_green", "surface": "green", "started": "04:00", "finished": "05:00"}


class Ticks:
    """A clock that stands until it is moved."""

    now = 1000.0

    def __call__(self) -> float:
        return self.now


@pytest.fixture
def ticks() -> Ticks:
    return Ticks()


@pytest.fixture(scope="module")
def demo() -> FastAPI:
    return demo_app(load(DEMO), ROOT / "fixtures" / "demo" / "week.csv", NOW, TOKEN)


def client(demo: FastAPI, ticks: Ticks, host: str = "192.0.2.7", **service: int) -> TestClient:
    made = edge(demo, ServicePart(**service), listens="0.0.0.0", ticks=ticks)  # type: ignore[arg-type]
    return TestClient(made, client=(host, 50000), base_url="http://nas.lan")


def test_an_allowance_fills_again_by_the_minute(ticks: Ticks) -> None:
    allowed = Allowance(6, ticks)
    assert [allowed.take("a") for _ in range(6)] == [0.0] * 6
    assert allowed.take("a") == pytest.approx(10.0)
    assert allowed.take("b") == 0.0
    ticks.now += 10.0
    assert allowed.take("a") == 0.0
    assert allowed.take("a") > 0.0
    ticks.now += 60.0
    assert [allowed.take("a") for _ in range(7)].count(0.0) == 6


def test_what_costs_more_than_all_is_still_to_be_had(ticks: Ticks) -> None:
    allowed = Allowance(6, ticks)
    assert allowed.take("a", 10) == 0.0
    assert allowed.take("a", 10) == pytest.approx(60.0)
    assert Allowance(0, ticks).take("a", 10**6) == 0.0


def test_many_clients_fill_no_memory(ticks: Ticks) -> None:
    allowed = Allowance(6, ticks, most=100)
    for _ in range(6):
        allowed.take("busy")
    for number in range(5000):
        allowed.take(f"10.0.{number // 250}.{number % 250}")
        assert len(allowed) <= 100
    # Who has asked most is remembered longest.
    assert allowed.take("busy") > 0.0
    assert MOST_CLIENTS < 10_000


@pytest.mark.parametrize(
    ("host", "counted"),
    [
        ("192.0.2.7", "192.0.2.7"),
        ("2001:db8:1:2:3:4:5:6", "2001:db8:1:2::/64"),
        ("2001:db8:1:2::9", "2001:db8:1:2::/64"),
        ("::ffff:192.0.2.7", "192.0.2.7"),
        ("fe80::1%eth0", "fe80::/64"),
        ("x:" + "y" * 1000, "x:" + "y" * 62),
    ],
)
def test_a_client_is_an_address_or_the_network_of_a_household(host: str, counted: str) -> None:
    assert client_of({"type": "http", "client": (host, 1)}) == counted


def test_too_many_reads_are_put_off_and_others_are_not(demo: FastAPI, ticks: Ticks) -> None:
    app = edge(demo, ServicePart(reads_per_minute=5), listens="0.0.0.0", ticks=ticks)
    one, other = (
        TestClient(app, client=(host, 50000), base_url="http://nas.lan")
        for host in ("192.0.2.7", "192.0.2.8")
    )
    assert [one.get("/api/v1/now").status_code for _ in range(6)] == [200] * 5 + [429]
    refused = one.get("/")
    assert refused.status_code == 429
    assert refused.headers["content-type"] == "application/problem+json"
    assert other.get("/api/v1/now").status_code == 200
    ticks.now += float(refused.headers["retry-after"])
    assert one.get("/api/v1/now").status_code == 200


def test_too_many_writes_are_put_off_and_reads_are_not(demo: FastAPI, ticks: Ticks) -> None:
    made = client(demo, ticks, writes_per_minute=3)
    head = {"Authorization": f"Bearer {TOKEN}"}
    codes = [
        made.post("/api/v1/diary", json={**MOW, "job": "no"}, headers=head).status_code for _ in range(4)
    ]
    assert codes == [404, 404, 404, 429]
    assert made.post("/diary", data={"job": "x"}).status_code == 429
    assert made.get("/api/v1/now").status_code == 200


@pytest.mark.parametrize("by_form", [False, True])
def test_wrong_tokens_are_counted_and_then_the_right_one_is_put_off_too(
    demo: FastAPI, ticks: Ticks, by_form: bool
) -> None:
    """Else whoever tries would learn from the answer that it was right."""
    made = client(demo, ticks, wrong_tokens_per_minute=3)

    def tried(token: str) -> httpx.Response:
        made.cookies.clear()
        if by_form:
            return made.post("/diary", data={"job": "x", "token": token})
        return made.get("/api/v1/diary", headers={"Authorization": f"Bearer {token}"})

    right = 400 if by_form else 200
    assert tried(TOKEN).status_code == right
    assert [tried(f"guess {number}").status_code for number in range(4)] == [401, 401, 401, 429]
    put_off = tried(TOKEN)
    assert put_off.status_code == 429
    # What needs no token is read all the same, also by who sends one, as a proxy that asks for a password does.
    for head in ({}, {"Authorization": "Basic a2VlcGVyOnR1cmY="}):
        for path in ("/api/v1/now", "/", "/diary", "/calendar.ics"):
            assert made.get(path, headers=head).status_code == 200
    ticks.now += float(put_off.headers["retry-after"])
    assert tried(TOKEN).status_code == right


def test_who_sends_no_token_tries_none(demo: FastAPI, ticks: Ticks) -> None:
    made = client(demo, ticks, wrong_tokens_per_minute=1)
    assert {made.get("/api/v1/diary").status_code for _ in range(5)} == {401}
    assert made.get("/api/v1/diary", headers={"Authorization": f"Bearer {TOKEN}"}).status_code == 200


def test_a_keepers_house_is_never_put_off(ticks: Ticks) -> None:
    """All behind one address: a hub that asks for thirty figures every ten seconds, a scraper, twelve screens that are
    drawn anew together, and a keeper who writes twenty entries in a minute.
    """
    app, head = FastAPI(), {"Authorization": f"Bearer {TOKEN}"}
    app.add_api_route("/any", lambda: "here", methods=["GET", "POST"])
    made = client(app, ticks)
    codes = set()
    for second in range(0, 300, 10):
        ticks.now += 10.0
        codes |= {made.get("/any").status_code for _ in range(31)}
        if second % 60 == 0:
            codes |= {made.get("/any").status_code for _ in range(12)}
            codes |= {made.post("/any", headers=head).status_code for _ in range(20)}
    assert codes == {200}


def test_streams_are_counted_for_each_client_and_in_all() -> None:
    streams = Streams(3, 2)
    with ExitStack() as held:
        for client_ in ("a", "a"):
            streams.require_room(client_)
            held.enter_context(streams.held(client_))
        with pytest.raises(Exception, match="at this address") as found:
            streams.require_room("a")
        assert found.value.status_code == 429  # type: ignore[attr-defined]
        streams.require_room("b")
        held.enter_context(streams.held("b"))
        with pytest.raises(Exception, match="listen already") as found:
            streams.require_room("c")
        assert found.value.status_code == 503  # type: ignore[attr-defined]
        assert found.value.headers == {"Retry-After": "60"}  # type: ignore[attr-defined]
    assert streams.open_now == 0
    streams.require_room("a")
