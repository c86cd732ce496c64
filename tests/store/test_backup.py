"""Backup and restore: between either database, while others write, whole or not at all, and refused in words."""

from __future__ import annotations

import os
import threading
from collections.abc import Callable
from contextlib import closing
from dataclasses import replace
from datetime import UTC, datetime, timedelta
from pathlib import Path
from typing import Any

import pytest
from sqlalchemy import text

from planner.diary.observations import Observation
from planner.errors import InputError
from planner.forecast.base import RawForecast
from planner.store.backup import write_backup
from planner.store.engine import version
from planner.store.leases import Leases
from planner.store.records import KeptWarning, Outgoing, StoreError
from planner.store.restore import restore_backup
from planner.store.store import Store
from planner.store.tables import HEAD, metadata
from tests.killing import PATIENCE_S, STEP, Tell, Worker
from tests.store.kill_run import BEGUN, MINUTE, make_pass, torn
from tests.store.test_diary import FOLIAR, NOW
from tests.store.test_opening import _DAYS, _PLACE, _filled_0002

LATER = NOW + timedelta(days=2)


@pytest.fixture(params=["sqlite", "postgres"])
def other_url(request: pytest.FixtureRequest, tmp_path: Path) -> str:
    """Another store, empty, of either kind."""
    if request.param == "sqlite":
        return f"sqlite:///{tmp_path / 'other' / 'store.db'}"
    return str(request.getfixturevalue("other_postgres_url"))


def fill(url: str) -> None:
    """A row or more in every table, of two sites, with all that is hard to carry: revisions, bytes, empty values."""
    for site, place in (("main", _PLACE), ("hill", "")):
        with closing(Store.open(url, site, place)) as store:
            first = store.add_entry(FOLIAR, NOW)
            store.edit_entry(first.uuid, replace(FOLIAR, notes="naïve\n“ten” ☂"), NOW, reason="wrong hour")
            gone = store.add_entry(replace(FOLIAR, document={}), NOW)
            store.withdraw_entry(gone.uuid, NOW, reason="twice")
            store.add_observation(Observation(surface="green", at=NOW, figures={"water_mm": 3.1}), NOW)
            answer = RawForecast(
                raw=bytes(range(256)) * 40, url="https://example.org/x", fetched_at=NOW, notes=("thin",)
            )
            store.keep_forecast("one", answer)
            store.claim("pass", "12", 60, NOW)
            store.claim("pass", "13", 60, NOW)
            store.keep_pass(NOW, {}, schema=1, once="12")
            warning = KeptWarning(
                id="w",
                kind="frost",
                surface="green",
                state="raised",
                level="care",
                document={"says": "frost"},
                first_at=NOW,
                changed_at=NOW + timedelta(microseconds=1),
            )
            # Sent, on its way, due, due tomorrow morning.
            store.keep_pass(
                NOW,
                {"report": b"\x00\xff" * 99, "now": b""},
                schema=3,
                stale_at=LATER,
                warnings=[warning],
                outbox=[
                    Outgoing(warning_id="w", change=1, output=output, body={"n": 1}, due_at=due)
                    for output, due in (("a", NOW), ("b", NOW), ("c", NOW), ("d", LATER))
                ],
            )
            (sent,) = store.take_due(NOW, 60, outputs=["a"])
            store.mark_sent(sent.id, NOW)
            store.take_due(NOW, 60, outputs=["b"])
            Leases(store._engine).hold("one", [site], 60)


def rows(url: str) -> dict[str, list[tuple[Any, ...]]]:
    with closing(Store.open(url)) as store, store._reading() as connection:
        return {
            table.name: [
                tuple(row) for row in connection.execute(table.select().order_by(*table.primary_key.columns))
            ]
            for table in metadata.sorted_tables
        }


def test_all_of_a_store_comes_back_in_either_database(url: str, other_url: str, tmp_path: Path) -> None:
    fill(url)
    before = rows(url)
    assert all(before.values())
    made = write_backup(url, tmp_path / "copy.zip", NOW)
    assert {name: held.rows for name, held in made.tables.items()} == {
        name: len(found) for name, found in before.items()
    }
    assert rows(url) == before
    restored = restore_backup(other_url, tmp_path / "copy.zip", NOW + timedelta(hours=1))
    assert restored == made
    after = rows(other_url)
    # What may have gone out since the backup is not sent again; what was not due before the restore still is.
    assert {(row.output, row.state) for row in _messages(url)} == {
        ("a", "sent"),
        ("b", "sending"),
        ("c", "due"),
        ("d", "due"),
    }
    assert {(row.output, row.state) for row in _messages(other_url)} == {
        ("a", "sent"),
        ("b", "unsure"),
        ("c", "unsure"),
        ("d", "due"),
    }
    assert {name: after[name] for name in after if name != "outbox"} == {
        name: before[name] for name in before if name != "outbox"
    }
    with closing(Store.open(other_url, "hill", "")) as store:
        assert store.take_due(NOW + timedelta(hours=1), 60) == ()
        # It goes on as a store does: new rows find their numbers, and the diary only grows.
        assert len(store.entries()) == 1
        store.add_entry(FOLIAR, NOW)
        assert len(store.entries()) == 2
        store.keep_pass(LATER, {"now": b"2"}, schema=3)
        newest = store.part("now")
        assert newest is not None
        assert newest.body == b"2"
        for table in ("entries", "observations"):
            with pytest.raises(StoreError, match="only grow"), store._writing() as connection:
                connection.execute(text(f"delete from {table}"))


def _messages(url: str) -> tuple[Any, ...]:
    with closing(Store.open(url)) as store:
        return store.outbox_counts()


def test_a_backup_taken_while_others_write_is_of_one_moment(
    url: str, sqlite_restore: Callable[[Path], Store], tmp_path: Path
) -> None:
    """Entry n, then pass n with warning n, again and again: never a warning without its entry, never a pass torn."""
    Store.open(url).close()
    stop, written, round_made = threading.Event(), [0], threading.Semaphore(0)

    def write() -> None:
        with closing(Store.open(url)) as store:
            while not stop.is_set():
                number = written[0] + 1
                now = BEGUN + number * MINUTE
                store.add_entry(replace(FOLIAR, started_at=now, finished_at=now), now)
                make_pass(store, number, now)
                written[0] = number
                round_made.release()

    writer = threading.Thread(target=write)
    writer.start()
    held = []
    try:
        for copy in range(6):
            for _ in range(5):
                assert round_made.acquire(timeout=PATIENCE_S)
            before = written[0]
            write_backup(url, tmp_path / f"{copy}.zip", NOW)
            held.append((before, written[0]))
    finally:
        stop.set()
        writer.join()
    for copy, (before, after) in enumerate(held):
        with closing(sqlite_restore(tmp_path / f"{copy}.zip")) as store:
            entries, warnings = len(store.entries()), len(store.warnings())
            assert before <= warnings <= entries <= warnings + 1 <= after + 2
            assert not torn(store)
            assert sum(one.messages for one in store.outbox_counts()) == 2 * warnings
    # It was worth something only if the writer went on meanwhile.
    assert written[0] >= 30


@pytest.fixture
def sqlite_restore(tmp_path: Path) -> Callable[[Path], Store]:
    def restored(file: Path) -> Store:
        place = tmp_path / "restored" / f"{file.stem}.db"
        restore_backup(place, file, NOW)
        return Store.open(place)

    return restored


def test_a_store_that_holds_something_is_kept_unless_it_may_be_overwritten(url: str, tmp_path: Path) -> None:
    fill(url)
    copy = tmp_path / "copy.zip"
    write_backup(url, copy, NOW)
    with closing(Store.open(url)) as store:
        late = store.add_entry(FOLIAR, NOW)
    before = rows(url)
    with pytest.raises(InputError, match=r"not empty: .*diary 9.*readings 2.*--overwrite"):
        restore_backup(url, copy, NOW)
    assert rows(url) == before
    with closing(Store.open(url)) as store:
        restore_backup(url, copy, NOW, overwrite=True)
        # One that was open all the while reads and writes what is there now.
        assert late.uuid not in {entry.uuid for entry in store.entries()}
        store.add_entry(FOLIAR, NOW)
    assert len(rows(url)["entries"]) == 9


def test_a_store_that_was_opened_and_holds_nothing_is_empty(url: str, other_url: str, tmp_path: Path) -> None:
    fill(url)
    write_backup(url, tmp_path / "copy.zip", NOW)
    Store.open(other_url).close()
    restore_backup(other_url, tmp_path / "copy.zip", NOW)
    assert rows(other_url)["entries"] == rows(url)["entries"]


def test_a_backup_of_an_earlier_form_is_brought_on(url: str, other_url: str, tmp_path: Path) -> None:
    engine = _filled_0002(url)
    made = write_backup(url, tmp_path / "old.zip", NOW)
    assert made.version == "0002"
    assert "answers" in made.tables
    with engine.connect() as connection:
        assert version(connection) == "0002"  # a backup brings nothing on
    engine.dispose()
    restore_backup(other_url, tmp_path / "old.zip", NOW)
    with closing(Store.open(other_url, "main", _PLACE)) as store:
        with store._reading() as connection:
            assert version(connection) == HEAD
        assert {part.name: part.body for part in store.parts()} == {
            "past-days": _DAYS,
            "last-pull": b"pull 3600",
        }
        assert [entry.uuid for entry in store.entries()] == ["u"]
        assert [(one.id, one.level) for one in store.warnings()] == [("w", "act")]


def test_a_restore_that_is_killed_leaves_the_store_as_it_was_or_as_it_shall_be(
    url: str, tmp_path: Path
) -> None:
    fill(url)
    copy = tmp_path / "copy.zip"
    write_backup(url, copy, NOW)
    old = len(rows(url)["entries"])

    def work(tell: Tell) -> None:
        restore_backup(url, copy, NOW, overwrite=True)
        while True:
            tell(STEP)

    whole: set[int] = set()
    for last in (*range(1, 130, 14), 400):
        with closing(Store.open(url)) as store:
            store.add_entry(FOLIAR, NOW)
        had = len(rows(url)["entries"])
        worker = Worker(work)
        worker.run_until(lambda told, last=last: len(told) >= last)  # type: ignore[misc]
        assert worker.kill()
        found = rows(url)
        assert len(found["entries"]) in (old, had)
        assert len(found["observations"]) == 2
        whole.add(len(found["entries"]) - had)
    # Some died before the end of it and some after.
    assert 0 in whole
    assert min(whole) < 0


def test_a_backup_replaces_an_older_one_at_once_and_nothing_else(url: str, tmp_path: Path) -> None:
    fill(url)
    copy = tmp_path / "copy.zip"
    first = write_backup(url, copy, NOW)
    second = write_backup(url, copy, LATER)
    assert (first.made_at, second.made_at) == (NOW, LATER)
    assert copy.stat().st_mode & 0o077 == 0  # names of people are in it
    for taken in ("site.toml", "store.db"):
        file = tmp_path / taken
        if not file.exists():
            file.write_text("something else")
        kept = file.read_bytes()
        with pytest.raises(InputError, match="there already and is no backup"):
            write_backup(url, file, NOW)
        assert file.read_bytes() == kept
    with pytest.raises(StoreError, match="cannot be written"):
        write_backup(url, tmp_path / "nowhere" / "copy.zip", NOW)
    assert not [path for path in tmp_path.iterdir() if path.name.startswith(".")]


def test_a_backup_that_fails_leaves_the_older_one(
    url: str, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    fill(url)
    copy = tmp_path / "copy.zip"
    write_backup(url, copy, NOW)
    kept = copy.read_bytes()

    def full(_: int) -> None:
        raise OSError(28, "No space left on device")

    monkeypatch.setattr(os, "fsync", full)
    with pytest.raises(StoreError, match=r"cannot be written \(No space left on device\)"):
        write_backup(url, copy, LATER)
    assert copy.read_bytes() == kept
    assert [path.name for path in tmp_path.glob(".*")] == []


def test_there_is_nothing_to_back_up_where_no_store_is(tmp_path: Path, postgres_url: str) -> None:
    with pytest.raises(InputError, match="There is no store"):
        write_backup(tmp_path / "none.db", tmp_path / "copy.zip", NOW)
    assert list(tmp_path.iterdir()) == []
    with pytest.raises(InputError, match="holds nothing yet"):
        write_backup(postgres_url, tmp_path / "copy.zip", NOW)
    assert list(tmp_path.iterdir()) == []


def test_a_store_of_a_newer_haysel_is_neither_backed_up_nor_overwritten(url: str, tmp_path: Path) -> None:
    fill(url)
    copy = tmp_path / "copy.zip"
    write_backup(url, copy, NOW)
    with closing(Store.open(url)) as store:
        with store._writing() as connection:
            connection.execute(text("update alembic_version set version_num = '9999'"))
        for act in (
            lambda: write_backup(url, tmp_path / "new.zip", NOW),
            lambda: restore_backup(url, copy, NOW, overwrite=True),
        ):
            with pytest.raises(StoreError, match="at version 9999, which this haysel does not know"):
                act()
        assert len(store.entries()) == 1


def test_what_else_lies_in_a_database_is_left_alone(postgres_url: str, tmp_path: Path) -> None:
    fill(postgres_url)
    with closing(Store.open(postgres_url)) as store, store._writing() as connection:
        connection.execute(text("create table neighbours (id integer)"))
    made = write_backup(postgres_url, tmp_path / "copy.zip", datetime.now(UTC))
    assert set(made.tables) == set(metadata.tables)
    restore_backup(postgres_url, tmp_path / "copy.zip", NOW, overwrite=True)
    with closing(Store.open(postgres_url)) as store, store._reading() as connection:
        assert connection.execute(text("select count(*) from neighbours")).scalar() == 0
