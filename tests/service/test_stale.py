"""A forecast that has grown old says so wherever it is read; what is over is no longer offered."""

from __future__ import annotations

from datetime import datetime, timedelta

import pytest
from fastapi.testclient import TestClient
from msgspec.structs import replace

from planner.reports.now import now as flat_now
from planner.reports.rows import Report
from planner.reports.workings import Workings
from planner.service.cache import ReportCache
from tests.service.conftest import NOW, Clock

WITH_HEAD = ("days", "windows", "warnings", "ribbons", "ground", "week", "due")


def test_every_answer_says_stale_once_the_clock_passes_stale_at(
    client: TestClient, clock: Clock, report: Report
) -> None:
    clock.now = report.forecast.stale_at
    for name in WITH_HEAD:
        head = client.get(f"/api/v1/{name}").json()["forecast"]
        assert head["stale"] is True, name
        assert head["age_h"] == pytest.approx(6.0), name
    flat = client.get("/api/v1/now").json()
    assert flat["stale"] is True
    assert flat["forecast_age_h"] == pytest.approx(6.0)
    explained = client.get("/api/v1/explain?job=foliar_feed&time=13:00").json()
    assert explained["forecast"]["stale"] is True
    assert "haysel_forecast_stale 1.0" in client.get("/metrics").text
    assert "(old forecast)" in client.get("/calendar.ics").text
    assert client.get("/health").json()["forecast_stale"] is True
    for path in ("/", "/sheet", "/day/2026-05-09", "/job/foliar_feed", "/help"):
        assert "Forecast 6 h old: too old." in client.get(path).text, path


def test_a_minute_before_nothing_says_stale(client: TestClient, clock: Clock, report: Report) -> None:
    clock.now = report.forecast.stale_at - timedelta(minutes=1)
    for name in WITH_HEAD:
        assert client.get(f"/api/v1/{name}").json()["forecast"]["stale"] is False, name
    assert client.get("/api/v1/now").json()["stale"] is False
    assert "too old." not in client.get("/").text


def test_a_stale_report_says_its_age_anew_each_minute(
    client: TestClient, clock: Clock, report: Report
) -> None:
    clock.now = report.forecast.stale_at
    first = client.get("/").headers["etag"]
    clock.forward(seconds=30)
    assert client.get("/").headers["etag"] == first
    clock.forward(hours=20)
    assert "Forecast 26 h old: too old." in client.get("/").text
    assert client.get("/api/v1/now").json()["forecast_age_h"] == pytest.approx(26.01, abs=0.01)


def test_a_stale_forecast_without_a_warning_leaves_frost_unknown(
    cache: ReportCache, clock: Clock, report: Report, workings: Workings
) -> None:
    cache.put(replace(report, warnings=()), workings)
    clock.now = report.forecast.stale_at
    aged = flat_now(cache.snapshot().report)
    assert aged["frost"] is None
    assert aged["rain_wash"] is None
    assert set(aged) == set(flat_now(report))


def test_a_window_is_offered_to_its_last_start_and_not_after(client: TestClient, clock: Clock) -> None:
    rows = client.get("/api/v1/windows").json()["windows"]
    first = min(rows, key=lambda row: datetime.fromisoformat(row["latest_start"]))
    key = (first["job"], first["surface"], first["start"])

    def offered() -> bool:
        now = client.get("/api/v1/windows").json()["windows"]
        return key in {(row["job"], row["surface"], row["start"]) for row in now}

    clock.now = datetime.fromisoformat(first["latest_start"])
    assert offered()
    clock.forward(seconds=1)
    assert not offered()
    assert client.get("/api/v1/windows").json()["forecast"]["stale"] is False


def test_the_flat_object_moves_on_to_the_next_work_and_the_next_window(
    client: TestClient, clock: Clock
) -> None:
    rows = client.get("/api/v1/windows").json()["windows"]
    work = client.get("/api/v1/week").json()["work"]
    clock.now = NOW + timedelta(hours=5, minutes=30)
    coming = [row for row in work if datetime.fromisoformat(row["end"]) > clock.now]
    first = min(coming, key=lambda row: datetime.fromisoformat(row["start"]))
    spray = min(
        (row for row in coming if row["kind"] == "spraying"),
        key=lambda row: datetime.fromisoformat(row["start"]),
    )
    assert first != min(work, key=lambda row: datetime.fromisoformat(row["start"]))
    flat = client.get("/api/v1/now").json()
    assert (flat["next_job"], flat["next_start"]) == (first["job"], first["start"])
    assert (flat["spraying_next_job"], flat["spraying_next_start"]) == (spray["job"], spray["start"])
    left = [row for row in rows if datetime.fromisoformat(row["latest_start"]) >= clock.now]
    sprays = [row for row in left if row["kind"] == "spraying"]
    soonest = min(datetime.fromisoformat(row["start"]) for row in sprays)
    assert datetime.fromisoformat(flat["any_spraying_next_start"]) == soonest
    assert flat["any_next_start"] <= flat["any_spraying_next_start"]


def test_a_warning_that_is_over_is_no_longer_shown(client: TestClient, clock: Clock) -> None:
    wash = client.get("/api/v1/warnings").json()["warnings"][0]
    assert wash["kind"] == "wash"
    clock.now = datetime.fromisoformat(wash["ends"]) + timedelta(seconds=2)
    left = client.get("/api/v1/warnings").json()["warnings"]
    assert left
    assert "wash" not in [row["kind"] for row in left]
    flat = client.get("/api/v1/now").json()
    assert flat["rain_wash"] is None
    assert flat["warnings_count"] == len(left)
    assert f'id="{wash["id"]}"' not in client.get("/").text


def test_who_listens_is_told_when_an_answer_turns_and_not_before(
    cache: ReportCache, clock: Clock, report: Report
) -> None:
    told: list[bool] = []
    cache.listen(lambda: told.append(cache.snapshot().report.forecast.stale))
    cache.turn()
    assert told == []
    clock.now = report.forecast.stale_at - timedelta(seconds=1)
    # Read by somebody else meanwhile: that is no telling.
    cache.snapshot()
    cache.turn()
    cache.turn()
    assert told == [False]
    assert cache.turns_in_s(30) == pytest.approx(1, abs=0.1)
    clock.now = report.forecast.stale_at
    assert cache.turns_in_s(30) < 0.1
    cache.turn()
    assert told == [False, True]
    # A stale report tells its age, which turns each minute.
    assert cache.turns_in_s(600) == pytest.approx(60, abs=0.1)
    cache.clear()
    cache.turn()
    assert cache.turns_in_s(30) == 30
    assert told == [False, True]
