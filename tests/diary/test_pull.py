"""What a pull found wrong, and how old its model run is, is not forgotten when the diary changes."""

from __future__ import annotations

import json
from collections.abc import Iterator
from dataclasses import replace
from datetime import UTC, datetime, timedelta
from pathlib import Path
from typing import Any

import pytest

from planner import cycle, forecast
from planner.answers import render
from planner.errors import ForecastUnavailable
from planner.forecast import Answer
from planner.store import Store
from tests import made
from tests.cli.test_diary import payload

NOW = datetime(2026, 4, 8, 7, tzinfo=UTC)
H = timedelta(hours=1)
BODY = payload(NOW.replace(hour=0) - 72 * H, 240)


@pytest.fixture
def store(tmp_path: Path) -> Iterator[Store]:
    opened = Store.open(str(tmp_path / "store.db"))
    yield opened
    opened.close()


class Service:
    """The plain service, as the test lets it answer."""

    def __init__(self) -> None:
        self.real = forecast.provider("open-meteo")
        self.answer: Answer | None = None

    def __getattr__(self, name: str) -> Any:
        return getattr(self.real, name)

    def fetch(self, *_: Any, **__: Any) -> Answer:
        if self.answer is None:
            raise ForecastUnavailable("network gone")
        return self.answer


@pytest.fixture
def service(monkeypatch: pytest.MonkeyPatch) -> Service:
    service = Service()
    monkeypatch.setattr(forecast, "provider", lambda _: service)
    monkeypatch.setattr(cycle, "provider", lambda _: service)
    return service


def config() -> Any:
    found = made.config(outputs=(), wanted=())
    return replace(
        found, forecast=found.forecast.model_copy(update={"providers": ["open-meteo"], "ensemble": False})
    )


def head(passed: Any) -> dict[str, Any]:
    told: dict[str, Any] = json.loads(dict(render(passed.briefing))["days"][1])["forecast"]
    return told


def test_a_diary_entry_does_not_wipe_what_the_pull_found_wrong(store: Store, service: Service) -> None:
    store.keep_forecast("open-meteo", body=BODY, url="", fetched_at=NOW - 3 * H)
    first = cycle.run(config(), store, now=NOW, tell=False)
    assert head(first)["stale"] is True
    for minutes in (5, 10):
        later = cycle.again(config(), store, now=NOW + timedelta(minutes=minutes), tell=False)
        assert later is not None
        assert head(later)["stale"] is True
        assert "open-meteo: network gone" in head(later)["notes"]
    service.answer = Answer(raw=BODY, url="", fetched_at=NOW + H)
    assert head(cycle.run(config(), store, now=NOW + H, tell=False))["stale"] is False
    fresh = cycle.again(config(), store, now=NOW + H, extra_faults=("config is off",), tell=False)
    assert fresh is not None
    assert head(fresh)["stale"] is False
    assert "open-meteo: network gone" not in head(fresh)["notes"]
    assert "config is off" in head(fresh)["notes"]


def test_the_time_of_issue_is_kept_and_told_again(store: Store, service: Service) -> None:
    late = "the newest model run is of 2026-04-08 02:00Z"
    service.answer = Answer(raw=BODY, url="", fetched_at=NOW, issued_at=NOW - 5 * H, notes=(late,))
    cycle.run(config(), store, now=NOW, tell=False)
    again = cycle.again(config(), store, now=NOW + H, tell=False)
    assert again is not None
    told = head(again)
    assert told["issued_at"] == "2026-04-08T02:00:00Z"
    assert told["age_h"] == 6.0
    assert late in told["notes"]


def test_an_issue_nobody_told_is_null_and_the_age_is_from_the_fetch(store: Store, service: Service) -> None:
    service.answer = Answer(raw=BODY, url="", fetched_at=NOW - H)
    passed = cycle.run(config(), store, now=NOW, tell=False)
    told = head(passed)
    assert (told["issued_at"], told["fetched_at"]) == (None, "2026-04-08T06:00:00Z")
    assert told["age_h"] == 1.0
    flat = json.loads(passed.answers["now"][1])
    assert (flat["issued_at"], flat["forecast_age_h"]) == (None, 1.0)


@pytest.mark.parametrize(("age_h", "is_stale"), [(17, False), (18, True), (72, True)])
def test_an_old_model_run_is_stale_however_lately_it_was_fetched(age_h: float, is_stale: bool) -> None:
    old = replace(made.forecast(made.weather(NOW - 72 * H, 240), NOW), issued_at=NOW - timedelta(hours=age_h))
    briefing = cycle.assess(made.config(), old, now=NOW)
    assert (briefing.stale_at <= NOW) is is_stale
    assert ("stale" in [one.kind for one in briefing.notices]) is is_stale


def test_a_service_that_only_confirms_its_answer_grows_stale(store: Store, service: Service) -> None:
    for hour in range(0, 19, 3):
        service.answer = Answer(raw=BODY, url="", fetched_at=NOW + hour * H, etag='"same"')
        passed = cycle.run(config(), store, now=NOW + hour * H, tell=False)
        assert head(passed)["stale"] is (hour >= 18)
