"""One read of many sites in one answer: the same as each says alone, and no site's fault is another's."""

from __future__ import annotations

from collections.abc import Iterator
from typing import Any

import pytest
from fastapi.testclient import TestClient
from jsonschema import Draft202012Validator
from msgspec.structs import replace

from planner.reports.rows import Report
from planner.reports.workings import Workings
from planner.service import many as many_module
from planner.service.app import create_app
from planner.service.cache import ReportCache
from planner.service.proxies import behind
from planner.service.sites import Housed, house
from tests.service.conftest import Clock

READS = ("now", "warnings", "week", "due", "ground", "days", "windows", "ribbons")
KEYS = ("east", "new", "north", "south")


@pytest.fixture
def sites(clock: Clock, report: Report, workings: Workings) -> dict[str, Housed]:
    """Three sites with a pass, and one that waits for its first; in no order."""
    housed = {}
    for key in ("south", "north", "new", "east"):
        cache = ReportCache(clock)
        if key != "new":
            cache.put(replace(report, site=replace(report.site, key=key, name=f"{key} & green")), workings)
        housed[key] = Housed(key=key, name=f"{key} & green", app=create_app(cache, clock=clock), cache=cache)
    return housed


@pytest.fixture
def client(sites: dict[str, Housed], clock: Clock) -> Iterator[TestClient]:
    with TestClient(behind(house(sites, clock=clock), prefix="", trusted=("testclient",))) as made:
        yield made


def rows(client: TestClient, address: str) -> list[dict[str, Any]]:
    found = client.get(address)
    assert found.status_code == 200, found.text
    return list(found.json()["sites"])


@pytest.mark.parametrize("read", READS)
@pytest.mark.parametrize("prefix", ["", "/turf"])
def test_each_row_is_what_the_site_says_alone(client: TestClient, read: str, prefix: str) -> None:
    head = {"X-Forwarded-Prefix": prefix} if prefix else {}
    answer = client.get(f"/api/v1/sites/{read}", headers=head).json()
    assert answer["next"] is None
    assert [row["key"] for row in answer["sites"]] == list(KEYS)
    for row in answer["sites"]:
        alone = client.get(f"/sites/{row['key']}/api/v1/{read}", headers=head)
        assert row["status"] == alone.status_code
        assert row["name"] == f"{row['key']} & green"
        assert (row["answer"] or row["problem"]) == alone.json()
        assert (row["answer"] is None) == (row["key"] == "new")


def test_a_question_goes_on_to_each_site(client: TestClient) -> None:
    question = "job=spraying&day=tomorrow&mine=true"
    (row,) = rows(client, f"/api/v1/sites/windows?{question}&sites=north&most=3")
    assert row["answer"] == client.get(f"/sites/north/api/v1/windows?{question}").json()
    assert {one["kind"] for one in row["answer"]["windows"] + row["answer"]["barred"]} == {"spraying"}
    for read, asked in (("days", "surface=green"), ("ribbons", "job=rolling&surface=green")):
        (row,) = rows(client, f"/api/v1/sites/{read}?sites=north&{asked}")
        assert row["answer"] == client.get(f"/sites/north/api/v1/{read}?{asked}").json()


def test_what_one_site_cannot_answer_is_a_row_of_its_own(
    client: TestClient, sites: dict[str, Housed], monkeypatch: pytest.MonkeyPatch
) -> None:
    def broken() -> None:
        raise ZeroDivisionError

    monkeypatch.setattr(sites["south"].cache, "snapshot", broken)
    found = rows(client, "/api/v1/sites/windows?sites=south,nort,north,new&job=mowing")
    assert [(row["key"], row["status"]) for row in found] == [
        ("new", 503),
        ("nort", 404),
        ("north", 200),
        ("south", 500),
    ]
    assert "north" in found[1]["problem"]["detail"]
    assert all(row["problem"]["status"] == row["status"] for row in found if row["status"] != 200)
    assert {row["status"] for row in rows(client, "/api/v1/sites/windows?sites=north&job=moon")} == {404}


def test_pages_hold_every_site_once(client: TestClient, monkeypatch: pytest.MonkeyPatch) -> None:
    def all_of(question: str) -> list[list[str]]:
        found, after = [], ""
        while True:
            answer = client.get(f"/api/v1/sites/now?{question}{after}").json()
            found.append([row["key"] for row in answer["sites"]])
            if answer["next"] is None:
                return found
            after = f"&after={answer['next']}"

    assert all_of("most=3") == [["east", "new", "north"], ["south"]]
    assert all_of("most=1&sites=south,east,south") == [["east"], ["south"]]
    assert all_of("") == [list(KEYS)]
    monkeypatch.setattr(many_module, "LONGEST_ANSWER", 6000)
    assert all_of("") == [["east"], ["new", "north"], ["south"]]
    assert rows(client, "/api/v1/sites/now?after=zzz") == []


def test_it_is_not_sent_again_until_a_site_has_changed(
    client: TestClient, sites: dict[str, Housed], report: Report, workings: Workings
) -> None:
    first = client.get("/api/v1/sites/now", headers={"Accept-Encoding": "gzip"})
    assert first.headers["content-encoding"] == "gzip"
    known = {"If-None-Match": first.headers["etag"]}
    assert client.get("/api/v1/sites/now", headers=known).status_code == 304
    site = replace(report.site, key="new", name="new & green")
    sites["new"].cache.put(replace(report, site=site), workings)
    assert client.get("/api/v1/sites/now", headers=known).status_code == 200


@pytest.mark.parametrize(
    "question",
    ["most=0", "most=101", "sites=North", "sites=a,,b", "after=A", "job=mowing", "sites=a&sites=b"]
    + ["sites=" + ",".join(f"s{number}" for number in range(101))],
)
def test_what_cannot_be_asked_is_refused_as_a_whole(client: TestClient, question: str) -> None:
    answer = client.get(f"/api/v1/sites/now?{question}")
    assert answer.status_code == 422
    assert answer.headers["content-type"] == "application/problem+json"


def test_the_description_tells_what_is_answered(client: TestClient) -> None:
    described = client.get("/openapi.json").json()
    for read in READS:
        content = described["paths"][f"/api/v1/sites/{read}"]["get"]["responses"]["200"]["content"]
        schema = {**content["application/json"]["schema"], "components": described["components"]}
        answer = client.get(f"/api/v1/sites/{read}").json()
        assert [fault.message for fault in Draft202012Validator(schema).iter_errors(answer)] == []
        del answer["sites"][0]["answer"]
        answer["sites"][2]["answer"] = {"windows": 7}
        assert list(Draft202012Validator(schema).iter_errors(answer))
