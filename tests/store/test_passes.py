"""The answers of a pass: all at once, the newest shown, read fast, never half written."""

from __future__ import annotations

import os
from datetime import UTC, datetime, timedelta
from hashlib import sha256
from pathlib import Path

import pytest

from planner.errors import InputError
from planner.store import Answer, Store, StoreError
from planner.store.reading import read_answer, read_answers_like

NOON = datetime(2026, 4, 12, 12, tzinfo=UTC)


def answer(text: str) -> Answer:
    return Answer(content_type="application/json", body=text.encode())


def test_an_answer_comes_back_as_it_went_in(store: Store) -> None:
    local = NOON.astimezone(tz=None)
    store.keep_pass(local, {"now": answer('{"é": 1}')})
    got = store.answer("now")
    assert got is not None
    assert (got.name, got.content_type, got.body) == ("now", "application/json", '{"é": 1}'.encode())
    assert got.made_at == NOON
    assert got.made_at.tzinfo is UTC
    assert store.last_pass_at() == NOON


def test_the_tag_is_strong_and_follows_the_bytes(store: Store) -> None:
    store.keep_pass(NOON, {"a": answer("1"), "b": answer("1"), "c": answer("2")})
    tags = {got.name: got.etag for got in store.answers_like("")}
    assert tags["a"] == tags["b"] == f'"{sha256(b"1").hexdigest()[:32]}"'
    assert tags["c"] != tags["a"]


def test_only_the_newest_pass_is_shown_even_when_the_clock_went_back(store: Store) -> None:
    store.keep_pass(NOON, {"a": answer("old"), "gone": answer("old")})
    store.keep_pass(NOON - timedelta(hours=1), {"a": answer("new")})
    got = store.answer("a")
    assert got is not None
    assert got.body == b"new"
    assert store.answer("gone") is None


def test_a_prefix_is_taken_letter_for_letter(store: Store) -> None:
    store.keep_pass(NOON, {name: answer(name) for name in ("day_1", "day_2", "dayx3", "DAY_4")})
    assert [got.name for got in store.answers_like("day_")] == ["day_1", "day_2"]


def test_old_passes_go(store: Store) -> None:
    for hour in range(6):
        store.keep_pass(NOON + timedelta(hours=hour), {"a": answer(str(hour))}, keep_last=3)
    with store._reading() as connection:
        assert connection.exec_driver_sql("select count(*) from passes").scalar() == 3
        assert connection.exec_driver_sql("select count(*) from answers").scalar() == 3


def test_a_pass_that_fails_midway_leaves_the_last_one_whole(store: Store) -> None:
    store.keep_pass(NOON, {"a": answer("whole"), "b": answer("whole")})
    broken = {"a": answer("torn"), "b": Answer(content_type=None, body=b"torn")}  # type: ignore[arg-type]
    with pytest.raises(StoreError):
        store.keep_pass(NOON, broken)
    assert [got.body for got in store.answers_like("")] == [b"whole", b"whole"]


def test_a_time_without_a_zone_is_refused(store: Store) -> None:
    with pytest.raises(InputError, match="no zone"):
        store.keep_pass(datetime(2026, 4, 12, 12), {"a": answer("1")})  # noqa: DTZ001
    assert store.answer("a") is None


def test_a_full_disk_is_told_and_the_last_pass_stays(sqlite_url: str) -> None:
    store = Store.open(sqlite_url)
    store.keep_pass(NOON, {"a": answer("whole")})
    with store._reading() as connection:
        pages = connection.exec_driver_sql("pragma page_count").scalar()
        connection.exec_driver_sql(f"pragma max_page_count = {pages}")
    with pytest.raises(StoreError, match=r"store\.db: the disk is full .* Free some space"):
        store.keep_pass(NOON, {"a": answer("x" * 1_000_000)})
    got = store.answer("a")
    assert got is not None
    assert got.body == b"whole"
    store.close()


def test_reading_without_the_library_gives_the_same(store: Store, url: str) -> None:
    store.keep_pass(NOON, {"day_1": answer("1"), "day_2": answer("2"), "now": answer("3")})
    assert read_answer(url, "now") == store.answer("now")
    assert read_answer(url, "none") is None
    assert read_answers_like(url, "day_") == store.answers_like("day_")


@pytest.mark.parametrize("name", ["with space.db", "with%20percent.db", "süd#west.db"])
def test_any_file_name_is_the_same_file_for_both_ways_of_reading(tmp_path: Path, name: str) -> None:
    address = f"sqlite:///{tmp_path / name}"
    store = Store.open(address)
    store.keep_pass(NOON, {"now": answer("3")})
    assert read_answer(address, "now") == read_answer(tmp_path / name, "now") == store.answer("now")
    store.close()


def test_reading_a_store_in_memory_finds_nothing() -> None:
    assert read_answer("sqlite://", "now") is None


def test_reading_where_nothing_was_kept(tmp_path: Path) -> None:
    assert read_answer(tmp_path / "none.db", "now") is None
    assert not (tmp_path / "none.db").exists()
    (tmp_path / "empty.db").touch()
    assert read_answer(tmp_path / "empty.db", "now") is None


def test_reading_a_file_that_is_no_store(tmp_path: Path) -> None:
    (tmp_path / "notes.txt").write_text("not a database " * 100)
    with pytest.raises(StoreError, match="not a store"):
        read_answer(tmp_path / "notes.txt", "now")


def test_reading_from_a_folder_that_may_not_be_written(
    sqlite_url: str, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    store = Store.open(sqlite_url)
    store.keep_pass(NOON, {"now": answer("3")})
    store.close()
    monkeypatch.setattr(os, "access", lambda *_: False)
    before = set(tmp_path.iterdir())
    got = read_answer(tmp_path / "store.db", "now")
    assert got is not None
    assert got.body == b"3"
    assert set(tmp_path.iterdir()) == before
