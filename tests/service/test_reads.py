"""Every address: what it answers, ETag and 304, faults of the caller as problem documents."""

from __future__ import annotations

import csv
import gzip
import io
import json
from datetime import datetime

import pytest
from fastapi.testclient import TestClient

from planner.reports import answers
from planner.reports.answers import encode
from planner.reports.now import now as flat_now
from planner.reports.rows import Report

#: Each read beside the answer that the command of that name writes.
ANSWERS = {
    "days": answers.days,
    "windows": answers.windows,
    "warnings": answers.warnings,
    "hours": answers.hours,
    "now": flat_now,
    "ribbons": answers.ribbons,
    "ground": answers.ground,
    "week": answers.week,
    "due": answers.due,
}
JSON_READS = tuple(ANSWERS)
PAGES = ("/", "/sheet", "/help", "/docs", "/day/2026-05-09", "/day/today", "/job/foliar_feed")
STORED = tuple(f"/api/v1/{name}" for name in JSON_READS) + PAGES + ("/calendar.ics", "/metrics")


@pytest.mark.parametrize("path", STORED)
def test_answers_with_an_etag_and_304_to_who_has_it(client: TestClient, path: str) -> None:
    first = client.get(path, headers={"Accept-Encoding": "identity"})
    assert first.status_code == 200
    assert first.content
    tag = first.headers["etag"]
    for sent in (tag, f"W/{tag}", f'"other", {tag}', "*"):
        again = client.get(path, headers={"If-None-Match": sent, "Accept-Encoding": "identity"})
        assert again.status_code == 304
        assert again.content == b""
        assert again.headers["etag"] == tag
    assert client.get(path, headers={"If-None-Match": '"other"'}).status_code == 200


@pytest.mark.parametrize("name", JSON_READS)
def test_json_is_the_same_as_the_command_writes(client: TestClient, name: str, report: Report) -> None:
    found = client.get(f"/api/v1/{name}")
    assert found.headers["content-type"] == "application/json"
    assert found.content == encode(ANSWERS[name](report))


def test_squeezed_is_the_same_and_has_a_tag_of_its_own(client: TestClient) -> None:
    plain = client.get("/", headers={"Accept-Encoding": "identity"})
    with client.stream("GET", "/", headers={"Accept-Encoding": "gzip"}) as squeezed:
        raw = b"".join(squeezed.iter_raw())
        tag = squeezed.headers["etag"]
        assert squeezed.headers["content-encoding"] == "gzip"
        assert squeezed.headers["vary"] == "Accept-Encoding"
    assert gzip.decompress(raw) == plain.content
    assert tag != plain.headers["etag"]
    assert client.get("/", headers={"If-None-Match": tag, "Accept-Encoding": "gzip"}).status_code == 304


def test_hours_as_csv_are_the_hours(client: TestClient) -> None:
    rows = client.get("/api/v1/hours").json()
    table = client.get("/api/v1/hours?format=csv")
    assert table.headers["content-type"].startswith("text/csv")
    read = list(csv.DictReader(io.StringIO(table.text)))
    assert [row["time"] for row in read] == [row["time"] for row in rows]
    assert float(read[0]["air_temp_c"]) == rows[0]["air_temp_c"]


def test_windows_can_be_asked_for_one_job_kind_surface_and_day(client: TestClient) -> None:
    def ask(query: str) -> list[dict[str, str]]:
        return list(client.get(f"/api/v1/windows?{query}").json()["windows"])

    assert {row["job"] for row in ask("job=foliar_feed")} == {"foliar_feed"}
    assert {row["kind"] for row in ask("job=mowing")} == {"mowing"}
    assert {row["surface"] for row in ask("surface=east+bank")} == {"east bank"}
    assert {row["start"][:10] for row in ask("day=2026-05-10")} == {"2026-05-10"}
    assert {row["start"][:10] for row in ask("day=tomorrow")} == {"2026-05-08"}
    everything = client.get("/api/v1/windows").json()["windows"]
    assert ask("job=&surface=&day=") == everything


def test_days_and_ribbons_of_one_surface(client: TestClient) -> None:
    days = client.get("/api/v1/days?surface=green").json()["days"]
    assert {row["surface"] for row in days} == {"green"}
    ribbons = client.get("/api/v1/ribbons?job=spraying&surface=green").json()["ribbons"]
    assert {(row["kind"], row["surface"]) for row in ribbons} == {("spraying", "green")}


def test_explain_tells_every_need(client: TestClient) -> None:
    found = client.get(
        "/api/v1/explain", params={"job": "foliar_feed", "time": "13:00", "surface": "green"}
    ).json()
    assert found["state"] in ("barred", "broken")
    assert found["limiting"]["need"] in {row["need"] for row in found["needs"]}
    assert {row["need"] for row in found["needs"]} > {"wind", "delta_t", "rain_after"}


@pytest.mark.parametrize(
    ("path", "status", "part"),
    [
        ("/api/v1/windows?job=foliar_fed", 404, 'Did you mean "foliar_feed"?'),
        ("/api/v1/windows?surface=moon", 404, 'no surface "moon"'),
        ("/api/v1/windows?day=someday", 400, '"someday" is not a day'),
        ("/api/v1/windows?day=2026-13-40", 400, "is not a day"),
        ("/api/v1/days?surface=gren", 404, 'Did you mean "green"?'),
        ("/api/v1/ribbons?job=nothing", 404, "Known:"),
        ("/api/v1/hours?format=xml", 422, "format"),
        ("/api/v1/explain?job=foliar_feed", 422, "time"),
        ("/api/v1/explain?job=foliar_feed&time=noon", 400, '"noon" is not a time'),
        ("/api/v1/explain?job=foliar_feed&time=2031-01-01T00:00Z", 404, "outside the hours"),
        ("/api/v1/explain?job=foliar_feed&time=25:99", 400, "is not a time"),
        ("/api/v1/explain?job=mow_green&time=09:00&surface=collar", 404, "is not done on collar"),
        ("/api/v1/nothing", 404, "Not Found"),
        ("/day/2026-06-30", 404, "2026-06-30"),
        ("/day/never", 400, "is not a day"),
        ("/job/flying", 404, 'no job "flying"'),
    ],
)
def test_faults_of_the_caller_are_problem_documents(
    client: TestClient, path: str, status: int, part: str
) -> None:
    found = client.get(path)
    assert found.status_code == status
    assert found.headers["content-type"] == "application/problem+json"
    problem = found.json()
    assert problem["status"] == status
    assert set(problem) == {"type", "title", "status", "detail", "code"}
    assert part in problem["detail"]


@pytest.mark.parametrize("path", ["/job/flying", "/day/2026-06-30"])
def test_a_browser_gets_its_fault_as_a_page(client: TestClient, path: str) -> None:
    found = client.get(path, headers={"Accept": "text/html,*/*"})
    assert found.status_code == 404
    assert found.headers["content-type"].startswith("text/html")
    assert "Known:" in found.text


@pytest.mark.parametrize("path", STORED)
def test_before_the_first_pass_every_read_says_so(bare: TestClient, path: str) -> None:
    found = bare.get(path)
    if path in ("/docs",):
        assert found.status_code == 200
        return
    assert found.status_code == 503
    assert int(found.headers["retry-after"]) > 0
    assert "first pass is not finished" in found.text


@pytest.mark.parametrize("method", ["POST", "PUT", "DELETE", "PATCH"])
def test_reads_take_no_writes(client: TestClient, method: str) -> None:
    found = client.request(method, "/api/v1/windows")
    assert found.status_code == 405
    assert found.headers["content-type"] == "application/problem+json"


def test_now_is_flat_short_and_small(client: TestClient) -> None:
    found = client.get("/api/v1/now")
    assert len(found.content) < 8000
    flat = found.json()
    for key, value in flat.items():
        assert value is None or isinstance(value, str | int | float | bool), key
        assert len(str(value)) <= 255, key
    for needed in ("stale", "issued_at", "headline", "next_job", "frost", "rain_wash", "warnings_count"):
        assert needed in flat
    assert flat["stale"] is False
    assert flat["rain_wash"] is True
    # The demo's file does not tell when it was issued; when it was fetched is always there.
    assert flat["issued_at"] is None
    assert datetime.fromisoformat(flat["fetched_at"]).tzinfo is not None


def test_the_description_types_every_parameter(client: TestClient) -> None:
    found = client.get("/openapi.json").json()
    for path, methods in found["paths"].items():
        for operation in methods.values():
            assert operation["summary"], path
            for parameter in operation.get("parameters", []):
                schema = parameter["schema"]
                assert "type" in schema or all("type" in part for part in schema["anyOf"]), path
                assert parameter["description"], (path, parameter["name"])
    assert "application/problem+json" in json.dumps(found["paths"]["/api/v1/explain"])


def test_windows_and_calendar_are_of_every_job_or_of_the_keepers(client, report):
    """Programs get every row unless they ask for less; a calendar is for people and shows the keeper's jobs."""
    mine = set(report.keeper_jobs)
    every = {row["job"] for row in client.get("/api/v1/windows").json()["windows"]}
    assert every > mine
    own = client.get("/api/v1/windows", params={"mine": "true"}).json()
    assert {row["job"] for row in (*own["windows"], *own["barred"])} == mine
    named = client.get("/api/v1/windows", params={"mine": "true", "job": "top_dressing"}).json()
    assert {row["job"] for row in named["windows"]} == {"top_dressing"}
    plain, whole = client.get("/calendar.ics"), client.get("/calendar.ics", params={"all": "true"})
    assert "CATEGORIES:watering" not in plain.text
    assert "CATEGORIES:watering" in whole.text
    assert plain.headers["etag"] != whole.headers["etag"]
    assert client.get("/calendar.ics", params={"all": "perhaps"}).status_code == 422


def test_a_parameter_that_nobody_reads_is_refused_with_the_nearest_name(client: TestClient) -> None:
    found = client.get("/api/v1/windows?jobb=spraying")
    assert found.status_code == 422
    assert 'no parameter "jobb". Did you mean "job"?' in found.json()["detail"]
    assert client.get("/api/v1/now?x=1").status_code == 422
    assert client.get("/calendar.ics?jobs=1").status_code == 422
    twice = client.get("/api/v1/windows?job=spraying&job=mowing")
    assert twice.status_code == 422
    assert "more than once" in twice.json()["detail"]


def test_a_date_outside_the_forecast_is_told(client: TestClient) -> None:
    found = client.get("/api/v1/windows?day=2099-01-01")
    assert found.status_code == 404
    assert "2026-05-07" in found.json()["detail"]


@pytest.mark.parametrize(
    "path", ["/", "/api/v1/now", "/api/v1/windows?job=spraying", "/calendar.ics", "/none"]
)
def test_head_is_the_head_of_get(client: TestClient, path: str) -> None:
    whole, head = client.get(path), client.head(path)
    assert head.status_code == whole.status_code
    assert head.content == b""
    for name in ("content-type", "etag", "content-length"):
        assert head.headers.get(name) == whole.headers.get(name)


def test_what_may_not_be_done_names_what_may(client: TestClient) -> None:
    found = client.post("/api/v1/now")
    assert found.status_code == 405
    assert found.headers["allow"] == "GET, HEAD"


@pytest.mark.parametrize(
    ("path", "module", "name"),
    [
        ("/api/v1/windows?job=spraying", "planner.reports.answers", "windows"),
        ("/api/v1/days?surface=green", "planner.reports.answers", "days"),
        ("/api/v1/ribbons?surface=green", "planner.reports.answers", "ribbons"),
        ("/api/v1/explain?job=mow_green&time=09:00", "planner.service.routes", "explain_hour"),
    ],
)
def test_a_filtered_read_is_worked_out_beside_the_answering_of_others(
    client: TestClient, monkeypatch: pytest.MonkeyPatch, path: str, module: str, name: str
) -> None:
    import asyncio
    import importlib

    holder, beside = importlib.import_module(module), []
    draws = getattr(holder, name)

    def noted(*args: object, **named: object) -> object:
        try:
            asyncio.get_running_loop()
        except RuntimeError:
            beside.append(True)
        return draws(*args, **named)

    monkeypatch.setattr(holder, name, noted)
    assert client.get(path).status_code == 200
    assert beside == [True]
