"""The diary only grows; a repeated write is harmless; every revision stays readable."""

from __future__ import annotations

from dataclasses import replace
from datetime import UTC, datetime, timedelta
from threading import Thread
from typing import Any
from uuid import uuid4
from zoneinfo import ZoneInfo

import pytest

from planner.diary.entry import Entry
from planner.errors import InputError, NotKnown
from planner.store.records import KeyReused, StoreError
from planner.store.store import Store

NOW = datetime(2026, 4, 12, 12, tzinfo=UTC)
FOLIAR = Entry(
    job="foliar feed",
    kind="spraying",
    surface="green",
    started_at=NOW - timedelta(hours=3),
    finished_at=NOW - timedelta(hours=2),
    operator="Ida",
    notes="Mist until nine — café side",
    document={
        "materials": [{"name": "foliar 10-0-4", "amount": 0.85, "unit": "L"}],
        "water_l": 15.4,
        "wind_2m_kmh": 6.0,
        "cover_pct": None,
    },
)


def test_an_entry_comes_back_as_it_was_told(store: Store) -> None:
    stored = store.add_entry(FOLIAR, NOW)
    assert stored.entry == FOLIAR
    assert (stored.revision, stored.withdrawn, stored.written_at) == (1, False, NOW)
    assert store.entries() == (stored,)
    assert store.history(stored.uuid) == (stored,)


def test_times_of_any_zone_are_the_same_moment(store: Store) -> None:
    brisbane = FOLIAR.started_at.astimezone(ZoneInfo("Australia/Brisbane"))
    stored = store.add_entry(replace(FOLIAR, started_at=brisbane), NOW)
    assert stored.entry.started_at == FOLIAR.started_at
    assert stored.entry.started_at.tzinfo is UTC


def test_an_edit_is_a_new_revision(store: Store) -> None:
    first = store.add_entry(FOLIAR, NOW)
    better = replace(FOLIAR, notes="It was ten")
    second = store.edit_entry(first.uuid, better, NOW, reason="wrong hour")
    assert (second.uuid, second.revision, second.reason) == (first.uuid, 2, "wrong hour")
    assert store.entries() == (second,)
    assert [one.entry.notes for one in store.history(first.uuid)] == [FOLIAR.notes, "It was ten"]


def test_a_withdrawn_entry_leaves_the_list_not_the_history(store: Store) -> None:
    first = store.add_entry(FOLIAR, NOW)
    gone = store.withdraw_entry(first.uuid, NOW, reason="the other green")
    assert gone.withdrawn
    assert store.entries() == ()
    assert store.entries(with_withdrawn=True) == (gone,)
    assert store.history(first.uuid) == (first, gone)
    assert store.withdraw_entry(first.uuid, NOW, reason="again") == gone
    with pytest.raises(InputError, match="was withdrawn"):
        store.edit_entry(first.uuid, FOLIAR, NOW)


def test_a_withdrawal_needs_a_reason(store: Store) -> None:
    first = store.add_entry(FOLIAR, NOW)
    with pytest.raises(InputError, match="without a reason"):
        store.withdraw_entry(first.uuid, NOW, reason=" ")


def test_a_repeated_write_is_harmless(store: Store) -> None:
    key = str(uuid4())
    first = store.add_entry(FOLIAR, NOW, key=key)
    assert first.uuid == key
    assert store.add_entry(FOLIAR, NOW + timedelta(minutes=1), key=key.upper()) == first
    edit_key = str(uuid4())
    better = replace(FOLIAR, notes="It was ten")
    second = store.edit_entry(key, better, NOW, key=edit_key)
    assert store.edit_entry(key, better, NOW, key=edit_key) == second
    assert store.add_entry(FOLIAR, NOW, key=key) == first
    assert len(store.history(key)) == 2


def test_a_key_with_another_content_is_refused(store: Store) -> None:
    key = str(uuid4())
    store.add_entry(FOLIAR, NOW, key=key)
    with pytest.raises(KeyReused, match="already used, for revision 1"):
        store.add_entry(replace(FOLIAR, notes="else"), NOW, key=key)
    other = store.add_entry(FOLIAR, NOW)
    with pytest.raises(KeyReused):
        store.edit_entry(other.uuid, FOLIAR, NOW, key=key)
    with pytest.raises(KeyReused):
        store.withdraw_entry(other.uuid, NOW, reason="twice", key=key)
    with pytest.raises(InputError, match="not a UUID"):
        store.add_entry(FOLIAR, NOW, key="spring feed")


def test_threads_with_one_key_write_once(store: Store) -> None:
    key = str(uuid4())
    seen: list[Any] = []
    threads = [Thread(target=lambda: seen.append(store.add_entry(FOLIAR, NOW, key=key))) for _ in range(6)]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    assert len(seen) == 6
    assert seen == [seen[0]] * 6
    assert store.history(key) == (seen[0],)


def test_entries_are_chosen_by_time_job_and_surface(store: Store) -> None:
    for days, job, surface in [(3, "mow", "green"), (2, "mow", "collar"), (1, "roll", "green")]:
        start = NOW - timedelta(days=days)
        store.add_entry(replace(FOLIAR, job=job, surface=surface, started_at=start, finished_at=start), NOW)
    names = [(one.entry.job, one.entry.surface) for one in store.entries()]
    assert names == [("mow", "green"), ("mow", "collar"), ("roll", "green")]
    assert len(store.entries(job="mow")) == 2
    assert len(store.entries(surface="green")) == 2
    assert len(store.entries(job="mow", surface="green")) == 1
    between = store.entries(since=NOW - timedelta(days=2), until=NOW - timedelta(days=1))
    assert [one.entry.surface for one in between] == ["collar"]


def test_an_entry_that_is_not_there_lists_recent_ones(store: Store) -> None:
    first = store.add_entry(FOLIAR, NOW)
    for ask in (store.history, lambda uuid: store.edit_entry(uuid, FOLIAR, NOW)):
        with pytest.raises(NotKnown, match=first.uuid):
            ask("no-such-entry")
        with pytest.raises(NotKnown, match=first.uuid):
            ask("\0")
    with pytest.raises(NotKnown):
        store.withdraw_observation("\0", NOW, reason="slip")


@pytest.mark.parametrize("statement", ["update entries set notes = 'x'", "delete from entries"])
def test_the_database_itself_refuses_to_change_the_diary(store: Store, statement: str) -> None:
    store.add_entry(FOLIAR, NOW)
    with pytest.raises(StoreError, match="only grows"), store._writing() as connection:
        connection.exec_driver_sql(statement)
    assert store.entries()[0].entry == FOLIAR


@pytest.mark.parametrize(
    ("change", "says"),
    [
        ({"finished_at": NOW - timedelta(days=1)}, "before it starts"),
        ({"started_at": datetime(2026, 4, 12, 9)}, "no zone"),  # noqa: DTZ001
        ({"finished_at": datetime(9999, 12, 31, 23, tzinfo=ZoneInfo("Etc/GMT+12"))}, "1900 to 2999"),
        ({"job": " "}, "has no job"),
        ({"notes": "a\0b"}, "code 0"),
        ({"operator": "\ud800"}, "a character that is none"),
    ],
)
def test_what_cannot_be_kept_is_refused_at_once(change: dict[str, Any], says: str) -> None:
    with pytest.raises(InputError, match=says):
        replace(FOLIAR, **change)


@pytest.mark.parametrize("value", [float("nan"), float("inf"), NOW, {1, 2}])
def test_a_document_json_cannot_hold_is_refused(store: Store, value: object) -> None:
    with pytest.raises(InputError, match="Write null"):
        store.add_entry(replace(FOLIAR, document={"wind_2m_kmh": value}), NOW)
    assert store.entries() == ()


def test_diary_writes_reach_the_disk_before_they_are_called_done(sqlite_url: str) -> None:
    store = Store.open(sqlite_url)
    with store._writing() as connection:
        assert connection.exec_driver_sql("pragma synchronous").scalar() == 2
    store.close()
