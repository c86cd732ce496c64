"""What a pull found wrong, and how old its model run is, is not forgotten when the diary changes."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import replace
from datetime import UTC, datetime, timedelta
from pathlib import Path
from typing import Any

import pytest

from planner import forecast
from planner.actions import one_pass, pulling
from planner.actions.one_pass import Passed
from planner.errors import ForecastUnavailable
from planner.forecast import RawForecast
from planner.reports.now import now as flat_now
from planner.reports.rows import ForecastRow
from planner.store.store import Store
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
        self.answer: RawForecast | None = None

    def __getattr__(self, name: str) -> Any:
        return getattr(self.real, name)

    def fetch(self, *_: Any, **__: Any) -> RawForecast:
        if self.answer is None:
            raise ForecastUnavailable("network gone.")
        return self.answer


@pytest.fixture
def service(monkeypatch: pytest.MonkeyPatch) -> Service:
    service = Service()
    monkeypatch.setattr(forecast, "provider", lambda _: service)
    monkeypatch.setattr(pulling, "provider", lambda _: service)
    return service


def config() -> Any:
    found = made.config(outputs=(), wanted=())
    return replace(
        found, forecast=found.forecast.model_copy(update={"providers": ["open-meteo"], "ensemble": False})
    )


def head(passed: Passed | None) -> ForecastRow:
    assert passed is not None
    return passed.report.forecast


def test_a_diary_entry_does_not_wipe_what_the_pull_found_wrong(store: Store, service: Service) -> None:
    store.keep_forecast("open-meteo", RawForecast(raw=BODY, url="", fetched_at=NOW - 3 * H))
    first = one_pass.run(config(), store, now=NOW, sends=False)
    assert head(first).stale is True
    for minutes in (5, 10):
        later = one_pass.again(config(), store, now=NOW + timedelta(minutes=minutes), sends=False)
        assert later is not None
        assert head(later).stale is True
        assert "open-meteo: network gone. The last good forecast stays in force." in head(later).notes
    service.answer = RawForecast(raw=BODY, url="", fetched_at=NOW + H)
    assert head(one_pass.run(config(), store, now=NOW + H, sends=False)).stale is False
    fresh = one_pass.again(config(), store, now=NOW + H, extra_faults=("config is off",), sends=False)
    assert fresh is not None
    assert head(fresh).stale is False
    assert not [note for note in head(fresh).notes if "network gone" in note]
    assert "config is off" in head(fresh).notes


def test_the_time_of_issue_is_kept_and_told_again(store: Store, service: Service) -> None:
    late = "the newest model run is of 2026-04-08 02:00Z"
    service.answer = RawForecast(raw=BODY, url="", fetched_at=NOW, issued_at=NOW - 5 * H, notes=(late,))
    one_pass.run(config(), store, now=NOW, sends=False)
    again = one_pass.again(config(), store, now=NOW + H, sends=False)
    assert again is not None
    row = head(again)
    assert row.issued_at == NOW - 5 * H
    assert row.age_h == 6.0
    assert late in row.notes


def test_an_issue_nobody_told_is_null_and_the_age_is_from_the_fetch(store: Store, service: Service) -> None:
    service.answer = RawForecast(raw=BODY, url="", fetched_at=NOW - H)
    passed = one_pass.run(config(), store, now=NOW, sends=False)
    row = head(passed)
    assert (row.issued_at, row.fetched_at) == (None, NOW - H)
    assert row.age_h == 1.0
    flat = flat_now(passed.report)
    assert (flat["issued_at"], flat["forecast_age_h"]) == (None, 1.0)


@pytest.mark.parametrize(("age_h", "is_stale"), [(17, False), (18, True), (72, True)])
def test_an_old_model_run_is_stale_however_lately_it_was_fetched(age_h: float, is_stale: bool) -> None:
    old = replace(made.forecast(made.weather(NOW - 72 * H, 240), NOW), issued_at=NOW - timedelta(hours=age_h))
    report, _ = one_pass.computed(made.config(), old, now=NOW)
    assert (report.forecast.stale_at <= NOW) is is_stale
    assert report.forecast.stale is is_stale
    assert ("stale" in [row.kind for row in report.warnings]) is is_stale


def test_a_service_that_only_confirms_its_answer_grows_stale(store: Store, service: Service) -> None:
    for hour in range(0, 19, 3):
        service.answer = RawForecast(raw=BODY, url="", fetched_at=NOW + hour * H, etag='"same"')
        passed = one_pass.run(config(), store, now=NOW + hour * H, sends=False)
        assert head(passed).stale is (hour >= 18)
