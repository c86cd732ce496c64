"""Every fault known of a weather service, for every service: nothing is lost or wrongly displaced, no service is asked
more than four times, and the next sound answer is taken."""

from __future__ import annotations

from dataclasses import replace
from datetime import datetime, timedelta
from http.server import BaseHTTPRequestHandler
from typing import Any

import numpy as np
import pytest

from planner.forecast import ENSEMBLE, PROVIDERS, Fetched, RawForecast, fetch, http
from planner.weather import Forecast

from .conftest import Reply, Service, reply
from .faults import REPLIES, UNUSABLE, old_copy, spoilt
from .layouts import BEGINS, HOURS, LAYOUTS, SITE, WET_H, WET_MM
from .payloads import NOW, nws_points, raw

LATER = NOW + timedelta(hours=1)
COLUMN = {
    "temperature": "air_temp_c",
    "humidity": "rel_humidity_pct",
    "wind": "wind_10m_ms",
    "rain": "rain_mm",
}
TOLD_IN_BODY = ("met-norway", "nws")


class World:
    """All services on one address; the one that is looked at replies as the test says."""

    def __init__(self, service: Service, name: str) -> None:
        self.service, self.name = service, name
        self.replies: Reply = reply(raw(LAYOUTS[name].whole()))
        self.lookup: Reply = reply(raw(nws_points(service.url)))
        service.says(self._answer)

    def _answer(self, handler: BaseHTTPRequestHandler) -> None:
        if handler.path.startswith("/points/"):
            self.lookup(handler)
        elif self.name == ENSEMBLE and "/v1/forecast" in handler.path:
            reply(raw(LAYOUTS["open-meteo"].whole()))(handler)
        else:
            self.replies(handler)

    def fetch(self, last: dict[str, RawForecast], now: datetime, *, budget_s: float = 30.0) -> Fetched:
        """One pull; counts the requests to the service that is looked at."""
        self.service.asked.clear()
        got = fetch(
            replace(
                SITE,
                members=self.name == ENSEMBLE,
                base_urls=dict.fromkeys(PROVIDERS, self.service.url),
            ),
            ("open-meteo",) if self.name == ENSEMBLE else (self.name,),
            last=last,
            now=now,
            budget_s=budget_s,
        )
        mine = [path for path, _ in self.service.asked if self.name != ENSEMBLE or "/v1/forecast" not in path]
        assert len(mine) <= 4
        return got

    def held(self, got: Fetched) -> Forecast:
        """The forecast of the service that is looked at."""
        found = got.ensemble if self.name == ENSEMBLE else got.forecast
        assert found is not None
        return found

    def require_held(self, got: Fetched, first: Fetched) -> None:
        """The first answer is still in force, with its age, and the fault is named."""
        assert got.answers[self.name] is first.answers[self.name]
        assert self.held(got).fetched_at == NOW
        assert any(fault.startswith(f"{self.name}: ") for fault in got.faults)
        assert got.stale is (self.name != ENSEMBLE)
        assert got.age_h == (0.0 if self.name == ENSEMBLE else 1.0)

    def require_recovered(self, last: dict[str, RawForecast]) -> None:
        """The next sound answer is taken, and its rain falls in its hour."""
        self.replies = reply(raw(LAYOUTS[self.name].whole()))
        self.lookup = reply(raw(nws_points(self.service.url)))
        got = self.fetch(dict(last), LATER + timedelta(hours=1))
        assert not got.stale
        assert self.held(got).fetched_at == LATER + timedelta(hours=1)
        weather = self.held(got).weather
        wet = weather.index(BEGINS + timedelta(hours=WET_H))
        step = LAYOUTS[self.name].rain_step
        expected = np.zeros(24)
        expected[6 : 6 + step] = WET_MM / step
        assert np.allclose(weather["rain_mm"][:, wet - 6 : wet + 18], expected, atol=0.25)


@pytest.fixture(params=sorted(LAYOUTS))
def world(request: pytest.FixtureRequest, service: Service) -> World:
    return World(service, request.param)


def test_every_service_is_looked_at() -> None:
    assert set(LAYOUTS) == set(PROVIDERS)


@pytest.mark.parametrize("fault", REPLIES)
def test_a_service_out_of_order_displaces_nothing(world: World, fault: str) -> None:
    first = world.fetch({}, NOW)
    assert first.faults == ()
    world.replies = world.lookup = REPLIES[fault]
    slow = fault.startswith("no answer")
    minute = fault.startswith("429 of the minute")
    got = world.fetch(dict(first.answers), LATER, budget_s=0.6 if slow else 5.0 if minute else 30.0)
    world.require_held(got, first)
    world.require_recovered(dict(got.answers))


@pytest.mark.parametrize("fault", UNUSABLE)
def test_an_answer_that_is_no_forecast_displaces_nothing(world: World, fault: str) -> None:
    first = world.fetch({}, NOW)
    answer = UNUSABLE[fault](LAYOUTS[world.name])
    world.replies = reply(answer if isinstance(answer, bytes) else raw(answer))
    got = world.fetch(dict(first.answers), LATER)
    world.require_held(got, first)
    world.require_recovered(dict(got.answers))


@pytest.mark.parametrize("fault", list(spoilt(LAYOUTS["open-meteo"])))
def test_an_answer_spoilt_in_part_is_taken_and_the_part_is_unknown(world: World, fault: str) -> None:
    layout = LAYOUTS[world.name]
    first = world.fetch({}, NOW)
    answer, quantity, hours = spoilt(layout)[fault]
    world.replies = reply(raw(answer))
    got = world.fetch(dict(first.answers), LATER)
    assert not got.stale
    assert world.held(got).fetched_at == LATER
    column = COLUMN[quantity]
    now_known, known = (~np.isnan(world.held(one).weather[column]) for one in (got, first))
    if quantity == "rain" and layout.rain_step > 1:
        hours = range(hours.start // 6 * 6, -(-hours.stop // 6) * 6)
    assert not now_known[:, list(hours)].any()
    others = [hour for hour in range(HOURS) if hour not in hours]
    lost = known[:, others] & ~now_known[:, others]
    if quantity != "rain":
        assert not lost.any()
    world.require_recovered(dict(got.answers))


@pytest.mark.parametrize("name", TOLD_IN_BODY)
def test_an_old_copy_displaces_nothing_and_waits_for_the_others(service: Service, name: str) -> None:
    world = World(service, name)
    first = world.fetch({}, NOW)
    world.replies = reply(raw(old_copy(LAYOUTS[name])))
    got = world.fetch(dict(first.answers), LATER)
    world.require_held(got, first)
    assert "old copy" in got.faults[0]
    world.require_recovered(dict(got.answers))
    # With nothing held it is better than nothing, and its age is told.
    world.replies = reply(raw(old_copy(LAYOUTS[name])))
    alone = world.fetch({}, LATER)
    assert not alone.stale
    assert alone.forecast.issued_at == BEGINS - timedelta(hours=79)
    assert "repeats old values" in alone.faults[0]


@pytest.mark.parametrize("name", sorted(set(LAYOUTS) - {ENSEMBLE}))
def test_the_next_service_is_asked_when_the_first_is_out_of_order(service: Service, name: str) -> None:
    second = "bright-sky" if name != "bright-sky" else "met-norway"
    marks = {"bright-sky": "/weather?", "met-norway": "/weatherapi/"}

    def answer(handler: BaseHTTPRequestHandler) -> None:
        good = marks[second] in handler.path
        (reply(raw(LAYOUTS[second].whole())) if good else REPLIES["500"])(handler)

    service.says(answer)
    here = replace(SITE, base_urls=dict.fromkeys(PROVIDERS, service.url))
    got = fetch(here, (name, second), last={}, now=NOW)
    assert (got.forecast.provider, got.stale) == (second, False)
    assert len(service.asked) <= http.ATTEMPTS + 1


def test_the_faults_reach_their_mark() -> None:
    """Each spoilt answer differs from the sound one."""
    for layout in LAYOUTS.values():
        whole = raw(layout.whole())
        answers: list[Any] = [make(layout) for make in UNUSABLE.values()]
        answers += [answer for answer, _, _ in spoilt(layout).values()]
        for answer in answers:
            assert (answer if isinstance(answer, bytes) else raw(answer)) != whole
