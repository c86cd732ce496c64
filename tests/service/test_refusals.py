"""What is refused: a page for whoever opens a page or sends a form, a problem document for programs."""

from __future__ import annotations

import pytest
from fastapi import FastAPI
from fastapi.testclient import TestClient

from planner.config.load import load
from planner.config.schema import ServicePart
from planner.service.edge import edge
from planner.service.limits import LONGEST_BODY
from planner.service.problems import PROBLEM
from planner.service.run import demo_app
from tests.made import DEMO
from tests.service.conftest import NOW, ROOT

#: What a browser sends when it opens an address, and when it sends a form.
BROWSER = {"Accept": "text/html,application/xhtml+xml,application/xml;q=0.9,*/*;q=0.8"}
TOKEN = "long"


@pytest.fixture(scope="module")
def demo() -> FastAPI:
    return demo_app(load(DEMO), ROOT / "fixtures" / "demo" / "week.csv", NOW, TOKEN)


def client(app: FastAPI, *, has_several: bool = False, **limits: int) -> TestClient:
    made = edge(app, ServicePart(**limits), listens="127.0.0.1", has_several=has_several)
    return TestClient(made, base_url="http://localhost", follow_redirects=False)


@pytest.mark.parametrize(
    ("has_several", "files"), [(False, "of the site file"), (True, "of every site file")]
)
def test_another_name_is_refused_on_a_page(demo: FastAPI, has_several: bool, files: str) -> None:
    made = client(demo, has_several=has_several)
    answer = made.get("/", headers={**BROWSER, "Host": "green.example.com"})
    assert (answer.status_code, answer.headers["content-type"]) == (421, "text/html; charset=utf-8")
    assert f"write it into hosts under [service] {files}" in answer.text
    assert "default-src 'none'" in answer.headers["content-security-policy"]
    assert answer.headers["cache-control"] == "no-store"
    hostile = made.get("/", headers={**BROWSER, "Host": "<b>x</b>"})
    assert (hostile.status_code, "<b>" in hostile.text) == (400, False)


def test_a_form_that_comes_too_often_says_to_go_back_wait_and_send_again(demo: FastAPI) -> None:
    made = client(demo, writes_per_minute=1)
    made.post("/diary", data={"job": "x"}, headers=BROWSER)
    answer = made.post("/diary", data={"job": "x"}, headers=BROWSER)
    assert (answer.status_code, answer.headers["content-type"]) == (429, "text/html; charset=utf-8")
    wait = answer.headers["retry-after"]
    assert "Too many writes from this address." in answer.text
    assert f"Go back to it with the browser, wait {wait} s, and send it again." in answer.text


def test_a_page_that_is_read_too_often_says_how_long_to_wait(demo: FastAPI) -> None:
    made = client(demo, reads_per_minute=1)
    made.get("/", headers=BROWSER)
    answer = made.get("/", headers=BROWSER)
    assert (answer.status_code, answer.headers["content-type"]) == (429, "text/html; charset=utf-8")
    assert f"Wait {answer.headers['retry-after']} s." in answer.text
    assert "form" not in answer.text.rpartition("</style>")[2]


def test_a_form_beyond_all_measure_is_refused_on_a_page(demo: FastAPI) -> None:
    answer = client(demo).post("/diary", data={"notes": "x" * LONGEST_BODY}, headers=BROWSER)
    assert (answer.status_code, answer.headers["content-type"]) == (413, "text/html; charset=utf-8")
    assert "The body is longer" in answer.text


@pytest.mark.parametrize(
    ("path", "status"), [("/nowhere", 404), ("/calendar.ics?alarm=x", 422), ("/diary/leave", 405)]
)
def test_what_the_routes_refuse_is_a_page_too(demo: FastAPI, path: str, status: int) -> None:
    answer = client(demo).get(path, headers=BROWSER)
    assert (answer.status_code, answer.headers["content-type"]) == (status, "text/html; charset=utf-8")


def test_programs_and_their_addresses_get_problem_documents(demo: FastAPI) -> None:
    made = client(demo)
    for path, head in (("/api/v1/diary", BROWSER), ("/api/v1/now?x=1", BROWSER), ("/nowhere", {})):
        assert made.get(path, headers=head).headers["content-type"] == PROBLEM, path
    for path, head in (("/", {}), ("/api/v1/now", BROWSER)):
        answer = made.get(path, headers={**head, "Host": "green.example.com"})
        assert (answer.status_code, answer.headers["content-type"]) == (421, PROBLEM), path
