"""What is kept has a bound, whatever is written: forecasts by the days of the site file, the rest by our own."""

from __future__ import annotations

import os
from collections.abc import Iterator
from dataclasses import replace
from datetime import UTC, datetime, timedelta
from pathlib import Path

import pytest
from sqlalchemy import event, insert, text

from planner.actions import one_pass
from planner.config.load import load
from planner.errors import ConfigError
from planner.forecast.base import RawForecast
from planner.store.forecasts import PRUNED_AT_ONCE
from planner.store.records import DAY_S, KeptWarning, Outgoing
from planner.store.store import KEEP_PASSES, Store
from planner.store.tables import forecasts, metadata
from tests.diary.test_pull import BODY, Service, config, service
from tests.made import ROOT
from tests.store.test_diary import FOLIAR

__all__ = ["service"]

FIRST = datetime(2025, 4, 12, 12, tzinfo=UTC)
H, D = timedelta(hours=1), timedelta(days=1)
PARTS = ("report", "workings", "past-days", "grass-nights", "last-pull")
SERVICES = ("open-meteo", "open-meteo-ensemble")


def rows(store: Store) -> dict[str, int]:
    with store._reading() as connection:
        return {
            name: connection.execute(text(f"select count(*) from {name}")).scalar_one()
            for name in metadata.tables
        }


def kept_ages(store: Store, now: datetime, provider: str = SERVICES[0]) -> list[float]:
    """Days since each kept forecast was fetched, the youngest first."""
    found = store.forecasts(provider, now - 5000 * D, now + D)
    return [(now - one.fetched_at) / D for one in reversed(found)]


def kept_hourly(store: Store, now: datetime, hours: int) -> None:
    """A forecast of every hour up to now, written at once."""
    made = []
    for hour in range(hours):
        at = (now - hour * H).timestamp()
        made.append(
            {
                "site": store.site,
                "place": store.place,
                "provider": SERVICES[0],
                "url": "",
                "fetched_at": at,
                "checked_at": at,
                "day": int(at // DAY_S),
                "body": b"x\x9c\x03\x00\x00\x00\x00\x01",
            }
        )
    with store._writing() as connection:
        connection.execute(insert(forecasts), made)


def test_forecasts_are_kept_for_the_days_asked_a_few_dropped_at_a_time(store: Store) -> None:
    kept_hourly(store, FIRST, 100 * 24)
    other = store.bound_to("other", "")
    kept_hourly(other, FIRST, 24)
    dropped = [store.prune_forecasts(FIRST, 60)]
    # The oldest first: what is young stays findable on the way.
    assert max(kept_ages(store, FIRST)) < 100 - PRUNED_AT_ONCE / 24 + 0.1
    while dropped[-1]:
        dropped.append(store.prune_forecasts(FIRST, 60))
    assert max(dropped) == PRUNED_AT_ONCE
    ages = kept_ages(store, FIRST)
    assert len([age for age in ages if age <= 14]) == 14 * 24 + 1
    assert len(ages) - (14 * 24 + 1) in (45, 46)
    assert 59 < max(ages) <= 60
    # Fewer days than before: what is to go, goes in the same small steps.
    assert store.prune_forecasts(FIRST + 200 * D, 60) == PRUNED_AT_ONCE
    assert len(kept_ages(other, FIRST)) == 24


def test_a_pass_keeps_forecasts_for_the_days_of_the_site_file(
    store: Store, service: Service, tmp_path: Path
) -> None:
    found = config()
    at_place = store.bound_to(found.site.key, found.site.place)
    now = datetime(2026, 4, 8, 7, tzinfo=UTC)
    at_place.keep_forecast(SERVICES[0], RawForecast(raw=BODY, url="", fetched_at=now - 90 * D))
    service.answer = RawForecast(raw=BODY + b" ", url="", fetched_at=now)
    one_pass.run(found, at_place, now=now, sends=False)
    assert [round(age) for age in kept_ages(at_place, now)] == [0, 90]
    part = found.store.model_copy(update={"forecast_days": 60})
    one_pass.run(replace(found, store=part), at_place, now=now, sends=False)
    assert [round(age) for age in kept_ages(at_place, now)] == [0]


@pytest.mark.parametrize("days", ["59", "4001", '"all"'])
def test_days_that_cannot_be_meant_are_a_fault_of_the_site_file(days: str, tmp_path: Path) -> None:
    for file in (ROOT / "config").glob("*.toml"):
        (tmp_path / file.name).write_text(file.read_text())
    site = tmp_path / "demo.toml"
    site.write_text(site.read_text().replace("[store]", f"[store]\nforecast_days = {days}"))
    with pytest.raises(ConfigError, match="store, forecast_days"):
        load(site)


def test_a_warning_that_no_pass_reads_any_more_goes_with_its_messages(store: Store) -> None:
    left = _warning("left", FIRST)
    stands = _warning("stands", FIRST)
    sent = [
        Outgoing(warning_id=name, change=1, output="mail", body={}, due_at=FIRST)
        for name in ("left", "stands")
    ]
    store.keep_pass(FIRST, {}, schema=1, warnings=[left, stands], outbox=sent)
    store.keep_pass(FIRST + 399 * D, {}, schema=1, warnings=[stands])
    assert {one.id for one in store.warnings()} == {"left", "stands"}
    store.keep_pass(FIRST + 401 * D, {}, schema=1, warnings=[stands])
    assert {one.id for one in store.warnings()} == {"stands"}
    assert [one.messages for one in store.outbox_counts()] == [1]


def _warning(name: str, at: datetime, state: str = "raised") -> KeptWarning:
    return KeptWarning(
        id=name,
        kind="frost",
        surface="green",
        state=state,
        level="care",
        document={"says": "frost " * 40},
        first_at=at,
        changed_at=at,
        change=1 if state == "raised" else 2,
    )


@pytest.fixture
def quick_store(url: str) -> Iterator[Store]:
    """A store that waits for no disk: here rows are counted, and nobody is killed."""
    opened = Store.open(url if url.startswith("sqlite") else f"{url}%20-csynchronous_commit%3Doff")
    if url.startswith("sqlite"):
        opened._engine.dispose()
        event.listen(opened._engine, "connect", lambda made, _: made.execute("pragma synchronous = off"))
    yield opened
    opened.close()


def hour(store: Store, number: int) -> None:
    """All that a pass writes, with a warning a day that is raised, sent and over."""
    now = FIRST + number * H
    slot = f"{number}"
    assert store.claim("pass", slot, 120, now)
    for name in SERVICES:
        store.keep_forecast(name, RawForecast(raw=os.urandom(1500), url="", fetched_at=now))
    store.prune_forecasts(now, 60)
    day, of_day = divmod(number, 24)
    warnings, messages = [], []
    if of_day in (0, 12):
        warnings = [_warning(f"w{day}", now, "raised" if of_day == 0 else "over")]
        messages = [
            Outgoing(
                warning_id=f"w{day}",
                change=warnings[0].change,
                output="mail",
                body={},
                due_at=now,
                closes=of_day > 0,
            )
        ]
    store.keep_pass(
        now,
        dict.fromkeys(PARTS, os.urandom(1500)),
        schema=1,
        warnings=warnings,
        outbox=messages,
        after=0,
        once=slot,
    )
    if warnings:
        for due in store.take_due(now, 60):
            store.mark_sent(due.id, now)


def file_bytes(store: Store) -> int:
    with store._reading() as connection:
        pages = connection.exec_driver_sql("pragma page_count").scalar_one()
        return int(pages * connection.exec_driver_sql("pragma page_size").scalar_one())


@pytest.mark.replay
def test_a_year_of_hourly_passes_holds_no_more_than_its_first_months(quick_store: Store, url: str) -> None:
    store = quick_store
    one_file = url.startswith("sqlite")
    # Warnings that are over stay the longest, 90 days. The server is asked no more than shows that it is alike.
    settled, days = 95, 365 if one_file else 110
    first: dict[str, int] = {}
    bytes_then = 0
    entry = store.add_entry(FOLIAR, FIRST)
    for number in range(days * 24):
        hour(store, number)
        if number == settled * 24 - 1:
            first = rows(store)
            bytes_then = file_bytes(store) if one_file else 0
    last = rows(store)
    assert last["passes"] == KEEP_PASSES
    assert last["parts"] == KEEP_PASSES * len(PARTS)
    # All of 14 days, then one a day.
    assert last["forecasts"] <= len(SERVICES) * (14 * 24 + 1 + 60 - 14 + 1)
    assert last["claims"] <= 30 * 24 + 1
    assert last["warnings"] <= 91
    assert last["outbox"] <= 2 * 91
    assert {name: abs(last[name] - first[name]) <= 2 for name in last} == dict.fromkeys(last, True), (
        first,
        last,
    )
    # What is dropped leaves room in the file that is written again.
    assert not one_file or file_bytes(store) <= 1.05 * bytes_then
    assert store.history(entry.uuid) == (entry,)
