"""Behind a proxy: every link holds under a prefix, and only a trusted proxy is believed."""

from __future__ import annotations

import re
from dataclasses import replace
from functools import cache
from urllib.parse import urljoin, urlsplit

import pytest
from fastapi import FastAPI
from fastapi.testclient import TestClient
from pydantic import ValidationError

from planner.config.schema import ServicePart
from planner.service.proxies import behind
from planner.service.run import demo_app
from tests.made import ROOT, config
from tests.reports.made import NOW

PAGES = ("/", "/sheet", "/day/2026-05-07", "/job/mow_green", "/tank", "/diary", "/help", "/docs")
TRUSTED = ("testclient",)


@cache
def _app() -> FastAPI:
    return demo_app(config(), ROOT / "fixtures" / "demo" / "week.csv", NOW, "secret")


def _client(prefix: str = "", trusted: tuple[str, ...] = TRUSTED) -> TestClient:
    return TestClient(behind(_app(), prefix=prefix, trusted=trusted), base_url="http://turf.lan")


@pytest.mark.parametrize("page", PAGES)
@pytest.mark.parametrize("outside", ["/", "/turf/", "/api/hassio_ingress/a-b_c/"])
def test_every_link_of_a_page_leads_to_an_answer_under_any_prefix(page: str, outside: str) -> None:
    # The proxy takes its prefix off, as most do; the browser sees the address with it.
    client = _client()
    sent = {} if outside == "/" else {"X-Forwarded-Prefix": outside.rstrip("/")}
    shown = client.get(page, headers=sent)
    assert shown.status_code == 200
    seen_at = "http://turf.lan" + outside.rstrip("/") + page
    links = set(re.findall(r'(?:href|action)="([^"#]+)', shown.text))
    ours = {urljoin(seen_at, link) for link in links if not re.match(r"(data|https?):", link)}
    assert len(ours) > 4
    for address in ours:
        path = urlsplit(address).path
        assert path.startswith(outside), address
        if re.search(r"/(events|explain|hours|mix)$", path) or "{" in path or path.endswith("/diary/reading"):
            continue
        inner = "/" + path.removeprefix(outside)
        assert client.get(inner, headers=sent).status_code in {200, 401, 422}, address


def test_prefix_by_setting_holds_whether_the_proxy_takes_it_off_or_not() -> None:
    client = _client("/turf")
    for path in ("/api/v1/now", "/turf/api/v1/now"):
        assert client.get(path).status_code == 200
    assert "http://turf.lan/turf/api/v1/now" in client.get("/turf/help").text


def test_prefix_of_a_stranger_is_not_believed() -> None:
    client = _client(trusted=("10.0.0.9",))
    assert "/turf/" not in client.get("/help", headers={"X-Forwarded-Prefix": "/turf"}).text


@pytest.mark.parametrize("prefix", ["/../x", "//evil.lan", "/a b", "/<b>", "turf", "/x/.."])
def test_prefix_that_leads_elsewhere_is_not_believed(prefix: str) -> None:
    shown = _client().get("/help", headers={"X-Forwarded-Prefix": prefix}).text
    assert "http://turf.lan/api/v1/now" in shown


def test_written_entry_names_its_address_with_the_prefix() -> None:
    client = _client("/turf")
    entry = {"job": "mow_green", "surface": "green", "finished": "2026-05-06T09:00:00+01:00"}
    made = client.post("/api/v1/diary", json=entry, headers={"Authorization": "Bearer secret"})
    assert made.status_code == 201
    assert made.headers["Location"].startswith("/turf/api/v1/diary/")
    assert client.get(made.headers["Location"], headers={"Authorization": "Bearer secret"}).status_code == 200


def test_other_pages_read_only_where_the_site_file_says_so() -> None:
    found = config()
    service = found.service.model_copy(update={"read_from": ("https://hub.lan",)})
    app = demo_app(replace(found, service=service), ROOT / "fixtures" / "demo" / "week.csv", NOW)
    named = TestClient(app).get("/api/v1/now", headers={"Origin": "https://hub.lan"})
    assert named.headers["access-control-allow-origin"] == "https://hub.lan"
    other = TestClient(app).get("/api/v1/now", headers={"Origin": "https://elsewhere.lan"})
    assert "access-control-allow-origin" not in other.headers
    plain = _client().get("/api/v1/now", headers={"Origin": "https://hub.lan"})
    assert "access-control-allow-origin" not in plain.headers


@pytest.mark.parametrize(("prefix", "page"), [("/d", "/day/2026-05-07"), ("/j", "/job/mow_green")])
def test_prefix_that_begins_like_a_page_is_no_part_of_it(prefix: str, page: str) -> None:
    shown = _client(prefix).get(page).text
    assert 'href="../sheet"' in shown
    tank = _client(prefix).get("/tank").text
    assert 'href="./sheet"' in tank


def test_proxy_in_a_trusted_network_is_believed() -> None:
    inside, outside = (
        TestClient(behind(_app(), prefix="", trusted=("10.0.0.0/8",)), client=(host, 50000))
        for host in ("10.1.2.3", "11.1.2.3")
    )
    sent = {"X-Forwarded-Prefix": "/turf"}
    assert "/turf/api/v1/now" in inside.get("/help", headers=sent).text
    assert "/turf/" not in outside.get("/help", headers=sent).text


def test_the_diary_is_never_read_by_a_page_of_another_origin() -> None:
    found = config()
    service = found.service.model_copy(update={"read_from": ("https://hub.lan",)})
    app = demo_app(replace(found, service=service), ROOT / "fixtures" / "demo" / "week.csv", NOW)
    client = TestClient(app, client=("127.0.0.1", 50000), base_url="http://localhost")
    for path in ("/api/v1/diary", "/api/v1/observations", "/diary"):
        answer = client.get(path, headers={"Origin": "https://hub.lan"})
        assert answer.status_code == 200
        assert "access-control-allow-origin" not in answer.headers


@pytest.mark.parametrize(
    "change",
    [
        {"trusted_proxies": ["*"]},
        {"trusted_proxies": ["proxy.lan"]},
        {"read_from": ["*"]},
        {"prefix": "/../x"},
        {"prefix": "turf"},
    ],
)
def test_what_would_trust_everybody_is_refused(change: dict[str, object]) -> None:
    with pytest.raises(ValidationError):
        ServicePart(**change)  # type: ignore[arg-type]
