"""An answer that can be read and is no forecast to work with takes no good one's place, and the fault says why."""

from __future__ import annotations

from datetime import datetime, timedelta
from typing import Any

import httpx
import pytest
import respx

from planner.forecast import RawForecast, Request, fetch

from .payloads import NOW, open_meteo, raw

SITE = Request(latitude_deg=52.5, longitude_deg=13.4, elevation_m=38)
ASKED = "https://api.open-meteo.com/v1/forecast"
HOUR = NOW.replace(minute=0)
KEPT = RawForecast(raw=raw(open_meteo(96, start=HOUR)), url=ASKED, fetched_at=NOW - timedelta(hours=1))


def _whole(**changed: Any) -> dict[str, Any]:
    return {**open_meteo(72, start=HOUR - timedelta(hours=6)), **changed}


def _hours(hours: int, start: datetime) -> dict[str, Any]:
    return open_meteo(hours, start=start)


def _mixed() -> dict[str, Any]:
    answer = _whole()
    times = answer["hourly"]["time"]
    times[20], times[21] = times[21], times[20]
    return answer


def _still(value: float) -> dict[str, Any]:
    answer = _whole()
    for name, values in answer["hourly"].items():
        if name != "time":
            answer["hourly"][name] = [value] * len(values)
    return answer


BAD: dict[str, tuple[dict[str, Any], str]] = {
    "it starts tomorrow": (_hours(72, HOUR + timedelta(days=1)), "begins only at"),
    "it starts in 17 days": (_hours(72, HOUR + timedelta(days=17)), "begins only at"),
    "one hour is left": (_hours(26, HOUR - timedelta(hours=24)), "holds 1 whole hours"),
    "hours are out of order": (_mixed(), "out of order"),
    "Sydney for Berlin": (_whole(latitude=-33.87, longitude=151.21), "km from the site"),
    "a mountain for the plain": (_whole(elevation=3500.0), "height of 3,500 m"),
    "all zeros": (_still(0.0), "the same figure in every hour"),
    "all one": (_still(1.0), "the same figure in every hour"),
}


def _fetched(answer: dict[str, Any], last: dict[str, RawForecast]) -> Any:
    with respx.mock:
        respx.get(url__startswith=ASKED).mock(return_value=httpx.Response(200, content=raw(answer)))
        return fetch(SITE, ("open-meteo",), last=last, now=NOW)


@pytest.mark.parametrize(("answer", "says"), BAD.values(), ids=list(BAD))
def test_the_last_good_one_stays_and_the_fault_says_why(answer: dict[str, Any], says: str) -> None:
    got = _fetched(answer, {"open-meteo": KEPT})
    assert got.stale
    assert got.forecast.fetched_at == KEPT.fetched_at
    assert got.answers["open-meteo"] is KEPT
    assert says in got.faults[0]


@pytest.mark.parametrize(
    "answer",
    [
        _whole(),
        _whole(latitude=52.6, longitude=13.6, elevation=120.0),
        _hours(72, HOUR + timedelta(hours=1)),
        _whole(latitude=None, elevation="high"),
    ],
    ids=["as asked", "the next cell", "from the next hour on", "without a place"],
)
def test_a_sound_one_is_taken(answer: dict[str, Any]) -> None:
    got = _fetched(answer, {"open-meteo": KEPT})
    assert (got.stale, got.faults) == (False, ())
    assert got.forecast.fetched_at == NOW


def test_a_mirror_is_asked_in_place_of_the_service() -> None:
    with respx.mock:
        mirror = respx.get(url__startswith="http://weather.lan:8080/v1/forecast").mock(
            return_value=httpx.Response(200, content=raw(_whole()))
        )
        site = Request(
            latitude_deg=52.5,
            longitude_deg=13.4,
            elevation_m=38,
            base_urls={"open-meteo": "http://weather.lan:8080"},
        )
        assert not fetch(site, ("open-meteo",), last={}, now=NOW).stale
        assert mirror.called
