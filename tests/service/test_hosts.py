"""Only names that are the service's own are answered: a page elsewhere cannot have its own name lead here."""

from __future__ import annotations

import pytest
from fastapi import FastAPI, Request
from fastapi.testclient import TestClient

from planner.config.schema import ServicePart
from planner.service.edge import edge
from planner.service.hosts import _own_names
from tests.service.serving import said, served

app = FastAPI()


@app.get("/")
@app.get("/api/v1/now")
@app.post("/api/v1/diary")
async def base(request: Request) -> str:
    return str(request.base_url)


def asked(
    host: str, listens: str = "127.0.0.1", *, client: str = "192.0.2.7", head: dict[str, str] | None = None
) -> int:
    service = ServicePart(hosts=("turf.example.org",))
    made = TestClient(
        edge(app, service, listens=listens), client=(client, 50000), base_url="http://localhost"
    )
    return made.get("/", headers={"Host": host, **(head or {})}).status_code


OWN = [
    "localhost",
    "localhost:8480",
    "LOCALHOST.",
    "127.0.0.1:8480",
    "[::1]:8480",
    "a.localhost",
    "turf.example.org",
]
OF_THE_HOUSE = [
    *("192.168.1.20:8480", "[fd00::5]", "nas", "nas.local", "nas.lan:8480", "turf.home.arpa"),
    *("turf.intranet", "nas.speedport.ip", "nas.corp:8480"),
]
ELSEWHERE = [
    "evil.example.com",
    "localhost.evil.com",
    "127.0.0.1.evil.com",
    "turf.example.org.evil.com",
    "nas.lan.com",
    # Ends that are somebody's, who may give names in them.
    *("nas.fritz.box", "nas.box", "nas.speedport.ip.evil.com", "evil.ts.net"),
]


@pytest.mark.parametrize("host", [*OWN, *sorted(_own_names())])
@pytest.mark.parametrize("listens", ["127.0.0.1", "0.0.0.0", "::1"])
def test_its_own_names_are_answered(host: str, listens: str) -> None:
    assert asked(host, listens) == 200


@pytest.mark.parametrize("host", OF_THE_HOUSE)
def test_names_of_the_house_are_answered_where_the_house_reaches_it(host: str) -> None:
    assert asked(host, "0.0.0.0") == 200
    assert asked(host, "127.0.0.1") == 421


@pytest.mark.parametrize("host", [*OF_THE_HOUSE, *OWN])
def test_names_of_the_house_are_answered_where_a_trusted_proxy_asks(host: str) -> None:
    assert asked(host, client="127.0.0.1") == 200
    assert asked("127.0.0.1:8480", client="127.0.0.1", head={"X-Forwarded-Host": host}) == 200


@pytest.mark.parametrize("host", ELSEWHERE)
def test_another_name_is_refused_from_a_trusted_proxy_too(host: str) -> None:
    assert asked(host, client="127.0.0.1") == 421


def test_an_address_of_either_sort_may_be_listed() -> None:
    service = ServicePart(hosts=("2001:db8:0::5", "192.0.2.5"))
    made = TestClient(edge(app, service, listens="127.0.0.1"), client=("192.0.2.7", 1))
    for host, status in (
        ("[2001:DB8::5]:8480", 200),
        ("192.0.2.5", 200),
        ("[2001:db8::6]", 421),
        ("192.0.2.6", 421),
    ):
        assert made.get("/", headers={"Host": host}).status_code == status, host
    for wrong in ("[::1]", "turf.example.org:8480", "a b"):
        with pytest.raises(ValueError, match="pattern"):
            ServicePart(hosts=(wrong,))


@pytest.mark.parametrize("host", ELSEWHERE)
@pytest.mark.parametrize("listens", ["127.0.0.1", "0.0.0.0", "192.168.1.20"])
def test_another_name_is_refused_whatever_is_asked(host: str, listens: str) -> None:
    assert asked(host, listens) == 421
    assert asked(host, listens, head={"X-Forwarded-Host": "localhost"}) == 421
    made = TestClient(edge(app, ServicePart(), listens=listens), base_url="http://localhost")
    for method, path in (("GET", "/api/v1/now"), ("POST", "/api/v1/diary")):
        answer = made.request(method, path, headers={"Host": host})
        assert (answer.status_code, answer.json()["status"]) == (421, 421)
        assert "hosts" in answer.json()["detail"]


@pytest.mark.parametrize("host", ["", "a b", "a/b", "[::1", "a:b", "user@localhost", "x" * 300, "."])
def test_what_is_no_name_is_refused(host: str) -> None:
    assert asked(host, "0.0.0.0") == 400


@pytest.mark.parametrize(
    ("lines", "status"),
    [
        (b"GET / HTTP/1.1\r\nConnection: close\r\n\r\n", b"400"),
        (b"GET / HTTP/1.1\r\nHost: localhost\r\nHost: localhost\r\nConnection: close\r\n\r\n", b"400"),
        (b"GET / HTTP/1.0\r\n\r\n", b"200"),
        (b"GET / HTTP/1.0\r\nHost: evil.com\r\n\r\n", b"421"),
    ],
)
def test_a_request_names_one_host(lines: bytes, status: bytes) -> None:
    with served(edge(app, ServicePart(), listens="127.0.0.1")) as port:
        assert said(port, lines).split(b" ")[1] == status


def test_the_name_a_proxy_was_asked_for_counts_where_the_proxy_is_trusted() -> None:
    forwarded = {"X-Forwarded-Host": "turf.example.org"}
    service = ServicePart(hosts=("turf.example.org",), trusted_proxies=("10.0.0.0/8",))
    behind = TestClient(
        edge(app, service, listens="127.0.0.1"), client=("10.0.0.9", 50000), base_url="http://127.0.0.1:8480"
    )
    assert behind.get("/", headers=forwarded).json() == "http://turf.example.org/"
    elsewhere = {"X-Forwarded-Host": "turf.example.org, evil.example.com"}
    assert behind.get("/", headers=elsewhere).status_code == 421
    stranger = TestClient(
        edge(app, service, listens="127.0.0.1"), client=("11.0.0.9", 50000), base_url="http://127.0.0.1:8480"
    )
    assert stranger.get("/", headers=forwarded).json() == "http://127.0.0.1:8480/"


def test_what_it_listens_on_is_one_of_its_names() -> None:
    assert asked("turf.example.net", "turf.example.net") == 200
    assert asked("turf.example.net", "0.0.0.0") == 421
