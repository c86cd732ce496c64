"""The sentence of the day: today and tomorrow by the site's date, the week's order first, old forecasts said so."""

from __future__ import annotations

from datetime import datetime, timedelta
from typing import Any
from zoneinfo import ZoneInfo

import pytest

from planner.freshness import now_as_of
from planner.headline import headline, pressing
from tests.service.conftest import NOW, Answers, answers, briefing

__all__ = ["answers", "briefing"]

ZONE = ZoneInfo("Europe/London")


def row(job: str, start: str, end: str, *, kind: str = "spraying", surface: str = "bank", **more: Any) -> Any:
    made = {"job": job, "kind": kind, "label": job, "surface": surface, "state": "steady"}
    return made | {"start": f"2026-05-{start}+01:00", "end": f"2026-05-{end}+01:00"} | more


def window(job: str, start: str, end: str, **more: Any) -> Any:
    made = row(job, start, end, **more)
    return made | {"latest_start": made["end"]}


def test_all_of_tomorrow_counts_as_tomorrow() -> None:
    told = headline([window("mow", "08T14:00", "08T18:00", kind="mowing")], [], NOW, ZONE)
    assert told == "Mow on the bank tomorrow 14:00-18:00, start by 18:00."
    later = headline([window("mow", "09T01:00", "09T05:00", kind="mowing")], [], NOW, ZONE)
    assert later == "No job has a window today or tomorrow."


def test_the_weeks_order_comes_before_any_window() -> None:
    windows = [window("herbicide", "07T08:00", "07T12:00"), window("feed", "07T07:00", "07T12:00")]
    work = [
        row("mow", "07T09:00", "07T10:00", kind="mowing"),
        row("feed", "08T18:00", "08T18:45", surface="green", state="narrow"),
    ]
    told = headline(windows, [{"says": "Rain at nine: 3 mm."}], NOW, ZONE, {("herbicide", "bank")}, work)
    assert told == "Feed on the green tomorrow 18:00-18:45, only just; rain at nine."


def test_no_window_goes_against_what_is_placed_later_on_its_surface() -> None:
    windows = [window("herbicide", "07T08:00", "07T12:00"), window("fungicide", "07T08:00", "07T12:00")]
    work = [row("herbicide", "10T14:00", "10T14:45")]
    told = headline(windows, [], NOW, ZONE, {("herbicide", "bank"), ("fungicide", "bank")}, work)
    assert told == "Nothing is placed today or tomorrow; herbicide on the bank Sun 14:00."
    windows.append(window("feed", "07T09:00", "07T11:00", surface="green"))
    other = headline(windows, [], NOW, ZONE, {("feed", "green")}, work)
    assert other.startswith("Feed on the green 09:00-11:00")


def test_work_that_is_over_is_no_longer_told() -> None:
    work = [row("feed", "07T08:00", "07T08:45"), row("mow", "07T13:00", "07T14:00", kind="mowing")]
    assert headline([], [], NOW + timedelta(hours=4), ZONE, (), work) == "Mow on the bank 13:00-14:00."


def test_an_old_forecast_says_so_first() -> None:
    told = headline([window("feed", "07T09:00", "07T11:00")], [], NOW, ZONE, stale=True)
    assert told.startswith("Old forecast: feed on the bank")


def test_only_work_that_is_due_within_the_week_presses() -> None:
    rows = [
        {"job": "a", "surface": "s", "due_at": "2026-05-09T06:00:00+01:00", "state": "coming"},
        {"job": "b", "surface": "s", "due_at": "2026-06-09T06:00:00+01:00", "state": "coming"},
        {"job": "c", "surface": "s", "due_at": None, "state": "due"},
        {"job": "d", "surface": "s", "due_at": None, "state": "not known"},
    ]
    assert pressing(rows, NOW) == {("a", "s"), ("c", "s")}


@pytest.fixture
def parsed(answers: Answers) -> dict[str, Any]:
    import json

    return {name: json.loads(answers[name][1]) for name in ("now", "windows", "warnings", "due", "week")}


def aged(parsed: dict[str, Any], hours: float) -> dict[str, Any]:
    others = (parsed[name] for name in ("windows", "warnings", "due", "week"))
    return now_as_of(parsed["now"], NOW + timedelta(hours=hours), *others)


def test_the_demo_tells_what_its_week_places(parsed: dict[str, Any]) -> None:
    placed = [one for one in parsed["week"]["work"] if one["kind"] == "spraying"]
    assert placed[0]["label"] in parsed["now"]["headline"].lower()
    fresh = parsed["now"]["headline"]
    assert aged(parsed, 1)["headline"] == fresh


def test_a_stale_forecast_claims_nothing_that_it_does_not_know(parsed: dict[str, Any]) -> None:
    parsed["warnings"]["warnings"] = []
    flat = aged(parsed, 20)
    assert flat["stale"] is True
    assert flat["headline"].startswith("Old forecast: ")
    for key in ("wash_warning", "frost_warning", "frost", "rain_wash"):
        assert flat[key] is None, key
    states = {flat[key] for key in flat if key.endswith("_state")}
    assert states <= {"unread", None}


def test_a_warning_that_stands_is_kept_when_the_forecast_is_stale(parsed: dict[str, Any]) -> None:
    flat = aged(parsed, 12)
    assert flat["wash_warning"] is True
    assert flat["rain_wash"] is True


def test_a_kind_that_is_not_read_is_unknown_and_not_absent(parsed: dict[str, Any]) -> None:
    parsed["warnings"] |= {
        "warnings": [],
        "not_read": [{"kind": "wash", "from": "x", "says": "Wash is not read."}],
    }
    flat = aged(parsed, 1)
    assert flat["wash_warning"] is None
    assert flat["rain_wash"] is None
    assert flat["frost_warning"] is False


def test_the_age_is_told_from_the_fetch_where_the_issue_is_not(parsed: dict[str, Any]) -> None:
    parsed["now"]["issued_at"] = None
    parsed["now"]["fetched_at"] = NOW.isoformat()
    assert aged(parsed, 2)["forecast_age_h"] == 2.0


def test_figures_are_rounded(parsed: dict[str, Any]) -> None:
    for key, value in parsed["now"].items():
        if isinstance(value, float):
            assert len(f"{value!r}") <= 8, (key, value)


def test_times_across_a_clock_change_are_compared_as_moments() -> None:
    at = datetime.fromisoformat("2026-10-24T20:00:00+01:00")
    work = [
        {
            **row("feed", "07T08:00", "07T08:45"),
            "start": "2026-10-25T02:30:00+00:00",
            "end": "2026-10-25T03:00:00+00:00",
        },
        {
            **row("iron", "07T08:00", "07T08:45"),
            "start": "2026-10-25T02:15:00+01:00",
            "end": "2026-10-25T03:00:00+01:00",
        },
    ]
    assert headline([], [], at, ZONE, (), work).startswith("Iron on the bank tomorrow 01:15")
