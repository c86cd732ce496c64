"""Forecasts are kept as they came, found as of any moment, and thinned with age."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta

import pytest

from planner.errors import InputError
from planner.forecast import RawForecast
from planner.store.store import Store

NOON = datetime(2026, 4, 12, 12, tzinfo=UTC)


def answer(at: datetime, **more: object) -> RawForecast:
    return RawForecast(**{"raw": b"{}", "url": "https://example.org/f", "fetched_at": at, **more})


def keep(store: Store, at: datetime, provider: str = "one", body: bytes = b"{}") -> int:
    return store.keep_forecast(provider, answer(at, raw=body))


def test_a_forecast_comes_back_as_it_came(store: Store) -> None:
    body = bytes(range(256)) * 500
    number = store.keep_forecast(
        "one",
        RawForecast(
            raw=body,
            url="https://example.org/f",
            fetched_at=NOON,
            etag='"x"',
            last_modified="Sun, 12 Apr 2026 11:00:00 GMT",
            expires=NOON + timedelta(hours=1),
        ),
    )
    got = store.last_forecast("one")
    assert got is not None
    assert (got.id, got.raw, got.etag, got.url) == (number, body, '"x"', "https://example.org/f")
    assert got.last_modified == "Sun, 12 Apr 2026 11:00:00 GMT"
    assert (got.fetched_at, got.checked_at, got.expires) == (NOON, NOON, NOON + timedelta(hours=1))
    assert store.last_forecast("two") is None


def test_a_forecast_the_provider_calls_unchanged_is_renewed(store: Store) -> None:
    number = keep(store, NOON)
    later = NOON + timedelta(hours=2)
    store.renew_forecast(number, answer(later, expires=later + timedelta(hours=1)))
    got = store.last_forecast("one")
    assert got is not None
    assert (got.fetched_at, got.checked_at, got.expires) == (NOON, later, later + timedelta(hours=1))


def test_the_time_of_issue_and_the_notes_come_back(store: Store) -> None:
    issued = NOON - timedelta(hours=5)
    number = store.keep_forecast(
        "one",
        RawForecast(raw=b"{}", url="", fetched_at=NOON, issued_at=issued, notes=("the next run is late",)),
    )
    got = store.last_forecast("one")
    assert got is not None
    assert (got.issued_at, got.notes) == (issued, ("the next run is late",))
    # The same body again: a second call that failed does not take away what an earlier one told.
    store.renew_forecast(
        number, answer(NOON + timedelta(hours=1), notes=("when the model ran is not known",))
    )
    got = store.last_forecast("one")
    assert got is not None
    assert (got.issued_at, got.notes) == (issued, ("when the model ran is not known",))
    store.renew_forecast(number, answer(NOON + timedelta(hours=2), issued_at=NOON))
    got = store.last_forecast("one")
    assert got is not None
    assert (got.issued_at, got.notes) == (NOON, ())


def test_the_forecast_of_a_past_moment_is_found(store: Store) -> None:
    for hour in range(4):
        keep(store, NOON + timedelta(hours=hour), body=str(hour).encode())
    got = store.last_forecast("one", at=NOON + timedelta(hours=1, minutes=30))
    assert got is not None
    assert got.raw == b"1"
    assert store.last_forecast("one", at=NOON - timedelta(seconds=1)) is None
    some = store.forecasts("one", NOON + timedelta(hours=1), NOON + timedelta(hours=3))
    assert [one.raw for one in some] == [b"1", b"2"]


def test_age_thins_them_to_one_a_day_and_then_to_none(store: Store) -> None:
    for days in range(0, 420, 3):
        for hours in (0, 5):
            keep(store, NOON - timedelta(days=days, hours=hours))
    keep(store, NOON - timedelta(days=30), provider="two")
    while store.prune_forecasts(NOON, 400):
        pass
    left = store.forecasts("one", NOON - timedelta(days=500), NOON + timedelta(days=1))
    ages = [(NOON - one.fetched_at) / timedelta(days=1) for one in left]
    assert max(ages) <= 400
    assert len([age for age in ages if age <= 14]) == 10
    old = [one.fetched_at for one in left if NOON - one.fetched_at > timedelta(days=14)]
    assert all(at.hour == 12 for at in old)
    assert [(NOON - at).days for at in old] == list(range(399, 14, -3))
    assert store.last_forecast("two") is not None


def test_a_time_without_a_zone_is_refused(store: Store) -> None:
    with pytest.raises(InputError, match="no zone"):
        keep(store, datetime(2026, 4, 12, 12))  # noqa: DTZ001
    with pytest.raises(InputError, match="1900 to 2999"):
        keep(store, datetime(9999, 12, 31, 23, tzinfo=UTC))
