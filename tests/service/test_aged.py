"""Stored answers hours after their pass: nothing that is over is offered, and nothing drops out unsaid."""

from __future__ import annotations

import json
from datetime import datetime, timedelta
from typing import Any

import pytest

from planner.freshness import as_of
from planner.service.shelf import Shelf
from tests.service.conftest import NOW, Answers, Clock


def _read(answers: Answers, name: str) -> dict[str, Any]:
    found: dict[str, Any] = json.loads(answers[name][1])
    return found


def _pairs(found: dict[str, Any]) -> set[tuple[str, str]]:
    return {(row["job"], row["surface"]) for row in [*found["windows"], *found["barred"]]}


@pytest.mark.parametrize("hours", [3, 9, 12.5, 30, 60, 150])
def test_every_job_stays_in_one_of_the_two_lists(answers: Answers, hours: float) -> None:
    now = NOW + timedelta(hours=hours)
    fresh = _read(answers, "windows")
    aged = as_of(_read(answers, "windows"), now)
    assert _pairs(aged) == _pairs(fresh)
    for row in aged["windows"]:
        assert datetime.fromisoformat(row["latest_start"]) >= now
    for row in aged["barred"]:
        told = row["next_window"]
        assert told is None or datetime.fromisoformat(told) > now
        assert {"job", "label", "kind", "surface", "because", "hours_unread"} <= set(row)


def test_a_job_whose_windows_have_passed_says_so(answers: Answers) -> None:
    aged = as_of(_read(answers, "windows"), NOW + timedelta(days=30))
    assert aged["windows"] == []
    shown = {row["because"]["says"] for row in aged["barred"] if row["next_window"] is None}
    assert "Its windows in this answer have passed; the next pass looks for others." in shown


def _row(start: str, latest: str) -> dict[str, Any]:
    return {
        "job": "roll",
        "label": "roll",
        "kind": "mowing",
        "surface": "g",
        "start": start,
        "latest_start": latest,
    }


def _barred(start: str) -> dict[str, Any]:
    because = {"need": "wind", "says": "Wind.", "hours_lost": 9, "also": []}
    return {**_row(start, start), "next_window": start, "because": because, "hours_unread": 0}


def test_a_barred_job_moves_on_with_its_windows() -> None:
    def aged(at: str) -> dict[str, Any]:
        answer = {
            "forecast": {
                "issued_at": None,
                "fetched_at": "2026-05-07T05:00:00Z",
                "stale": False,
                "stale_at": "2026-05-20T05:00:00Z",
            },
            "windows": [
                _row("2026-05-11T08:00:00+01:00", "2026-05-11T09:00:00+01:00"),
                _row("2026-05-09T08:00:00+01:00", "2026-05-09T10:00:00+01:00"),
            ],
            "barred": [_barred("2026-05-09T08:00:00+01:00")],
        }
        return as_of(answer, datetime.fromisoformat(at))

    assert aged("2026-05-08T08:00:00+01:00")["barred"][0]["next_window"] == "2026-05-09T08:00:00+01:00"
    assert aged("2026-05-09T08:30:00+01:00")["barred"] == []
    later = aged("2026-05-09T11:00:00+01:00")
    assert later["barred"][0]["next_window"] == "2026-05-11T08:00:00+01:00"
    assert later["barred"][0]["because"]["need"] == "wind"
    assert later["forecast"]["age_h"] == 53.0
    (gone,) = aged("2026-05-11T10:00:00+01:00")["barred"]
    assert gone["next_window"] is None


def test_work_whose_hour_has_passed_is_without_one(answers: Answers) -> None:
    fresh = _read(answers, "week")
    first = fresh["work"][0]
    running = as_of(_read(answers, "week"), datetime.fromisoformat(first["start"]) + timedelta(minutes=10))
    assert running["work"][0]["job"] == first["job"]
    now = datetime.fromisoformat(first["end"])
    aged = as_of(_read(answers, "week"), now)
    assert all(datetime.fromisoformat(row["end"]) > now for row in aged["work"])
    passed = aged["left"][0]
    assert (passed["job"], passed["surface"]) == (first["job"], first["surface"])
    assert "has passed: write it down if it is done" in passed["says"]
    assert "has passed since this was laid out" in aged["says"]
    assert len(aged["work"]) + len(aged["left"]) == len(fresh["work"]) + len(fresh["left"])


def test_the_shelf_moves_on_when_an_hour_of_the_week_has_passed(
    shelf: Shelf, clock: Clock, answers: Answers
) -> None:
    ends = min(datetime.fromisoformat(row["end"]) for row in _read(answers, "week")["work"])
    clock.now = ends + timedelta(seconds=2)
    assert all(datetime.fromisoformat(row["end"]) > clock.now for row in shelf.parsed("week")["work"])
