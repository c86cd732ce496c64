"""The parts of a pass: all at once, the newest found, read fast, never half written."""

from __future__ import annotations

import os
from datetime import UTC, datetime, timedelta
from pathlib import Path

import pytest

from planner.errors import InputError
from planner.store.reading import newest_pass, read_part
from planner.store.records import PassRow, StoredPart, StoreError
from planner.store.store import Store

NOON = datetime(2026, 4, 12, 12, tzinfo=UTC)


def keep(store: Store, parts: dict[str, str], made_at: datetime = NOON, schema: int = 1) -> int:
    return store.keep_pass(made_at, {name: text.encode() for name, text in parts.items()}, schema=schema)


def read(address: str | Path, name: str, place: str = "") -> StoredPart | None:
    return read_part(address, name, site="main", place=place)


def test_a_part_comes_back_as_it_went_in(store: Store) -> None:
    local, stale = NOON.astimezone(tz=None), NOON + timedelta(hours=6)
    number = store.keep_pass(local, {"now": '{"é": 1}'.encode()}, schema=3, stale_at=stale)
    got = store.part("now")
    assert got == StoredPart(name="now", body='{"é": 1}'.encode(), number=number, made_at=NOON, schema=3)
    assert got.made_at.tzinfo is UTC
    assert store.newest_pass() == PassRow(number=number, made_at=NOON, stale_at=stale, schema=3)


def test_a_pass_of_another_schema_is_left_where_it_is(store: Store, url: str) -> None:
    keep(store, {"report": "old", "past-days": "days"}, schema=3)
    assert store.part("report", schema=4) is None
    assert read_part(url, "report", site="main", place="", schema=4) is None
    assert store.parts(schema=4) == ()
    found = newest_pass(url, "main", "")
    assert found == store.newest_pass()
    assert found is not None
    assert found.schema == 3
    got = store.part("past-days")
    assert got is not None
    assert got.body == b"days"


def test_only_the_newest_pass_is_shown_even_when_the_clock_went_back(store: Store) -> None:
    keep(store, {"a": "old", "gone": "old"})
    keep(store, {"a": "new"}, NOON - timedelta(hours=1))
    got = store.part("a")
    assert got is not None
    assert got.body == b"new"
    assert store.part("gone") is None


def test_old_passes_go(store: Store) -> None:
    for hour in range(6):
        store.keep_pass(NOON + timedelta(hours=hour), {"a": b"1"}, schema=1, keep_last=3)
    with store._reading() as connection:
        assert connection.exec_driver_sql("select count(*) from passes").scalar() == 3
        assert connection.exec_driver_sql("select count(*) from parts").scalar() == 3


def test_a_pass_that_fails_midway_leaves_the_last_one_whole(store: Store) -> None:
    keep(store, {"a": "whole", "b": "whole"})
    broken = {"a": b"torn", None: b"torn"}
    with pytest.raises(StoreError):
        store.keep_pass(NOON, broken, schema=1)  # type: ignore[arg-type]
    assert [got.body for got in store.parts()] == [b"whole", b"whole"]


def test_a_time_without_a_zone_is_refused(store: Store) -> None:
    with pytest.raises(InputError, match="no zone"):
        keep(store, {"a": "1"}, datetime(2026, 4, 12, 12))  # noqa: DTZ001
    assert store.part("a") is None


def test_a_full_disk_is_told_and_the_last_pass_stays(sqlite_url: str) -> None:
    store = Store.open(sqlite_url)
    keep(store, {"a": "whole"})
    with store._reading() as connection:
        pages = connection.exec_driver_sql("pragma page_count").scalar()
        connection.exec_driver_sql(f"pragma max_page_count = {pages}")
    with pytest.raises(StoreError, match=r"store\.db: the disk is full .* Free some space"):
        store.keep_pass(NOON, {"a": os.urandom(1_000_000)}, schema=1)
    got = store.part("a")
    assert got is not None
    assert got.body == b"whole"
    store.close()


def test_reading_without_the_library_gives_the_same(store: Store, url: str) -> None:
    keep(store, {"workings": "2", "now": "3"})
    assert read(url, "now") == store.part("now")
    assert read(url, "now") is not None
    assert read(url, "none") is None
    assert newest_pass(url, "main", "") == store.newest_pass()


@pytest.mark.parametrize("name", ["with space.db", "with%20percent.db", "süd#west.db"])
def test_any_file_name_is_the_same_file_for_both_ways_of_reading(tmp_path: Path, name: str) -> None:
    address = f"sqlite:///{tmp_path / name}"
    store = Store.open(address)
    keep(store, {"now": "3"})
    assert read(address, "now") == read(tmp_path / name, "now") == store.part("now")
    store.close()


def test_reading_a_store_in_memory_finds_nothing() -> None:
    assert read("sqlite://", "now") is None


def test_reading_where_nothing_was_kept(tmp_path: Path) -> None:
    assert read(tmp_path / "none.db", "now") is None
    assert not (tmp_path / "none.db").exists()
    (tmp_path / "empty.db").touch()
    assert read(tmp_path / "empty.db", "now") is None


def test_reading_a_file_that_is_no_store(tmp_path: Path) -> None:
    (tmp_path / "notes.txt").write_text("not a database " * 100)
    with pytest.raises(StoreError, match="not a store"):
        read(tmp_path / "notes.txt", "now")


def test_reading_from_a_folder_that_may_not_be_written(
    sqlite_url: str, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    store = Store.open(sqlite_url)
    keep(store, {"now": "3"})
    store.close()
    monkeypatch.setattr(os, "access", lambda *_: False)
    before = set(tmp_path.iterdir())
    got = read(tmp_path / "store.db", "now")
    assert got is not None
    assert got.body == b"3"
    assert set(tmp_path.iterdir()) == before


def test_a_part_may_be_put_beside_those_of_the_newest_pass_and_outlives_it(store: Store) -> None:
    store.keep_part("calendar", b"too early")
    assert store.newest_part("calendar") is None
    keep(store, {"report": "one"})
    store.keep_part("calendar", b"first")
    store.keep_part("calendar", b"second")
    assert store.newest_part("calendar") == b"second"
    keep(store, {"report": "two"}, NOON + timedelta(hours=1))
    # The newest pass has none yet: that of the one before is the newest there is.
    assert store.newest_part("calendar") == b"second"
    store.keep_part("calendar", b"third")
    assert store.newest_part("calendar") == b"third"
    assert {part.name: part.body for part in store.parts()} == {"report": b"two", "calendar": b"third"}
    assert store.bound_to("main", "elsewhere").newest_part("calendar") is None
