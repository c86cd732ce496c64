"""kill -9 in the middle of a backup or a restore: the older backup stays whole, and what is left behind never grows."""

from __future__ import annotations

import multiprocessing
import zipfile
from contextlib import closing
from pathlib import Path

import pytest
from sqlalchemy import text

from planner.store import backup
from planner.store.backup import beside, write_backup
from planner.store.records import StoreError
from planner.store.restore import restore_backup
from planner.store.store import Store
from tests.killing import STEP, Tell, Worker
from tests.store.test_backup import LATER, fill, rows
from tests.store.test_diary import FOLIAR, NOW


def _dies_at(work: object, last: int) -> bool:
    """Lets the work go on for so many steps, then kills it; whether the kill ended it."""
    worker = Worker(work)  # type: ignore[arg-type]
    worker.run_until(lambda told: len(told) >= last)
    return worker.kill()


def test_a_backup_that_is_killed_leaves_the_older_one_whole_and_one_part_at_most(
    url: str, tmp_path: Path
) -> None:
    fill(url)
    copy = tmp_path / "copies" / "copy.zip"
    copy.parent.mkdir()
    write_backup(url, copy, NOW)
    old, were_there = copy.read_bytes(), rows(url)

    def work(tell: Tell) -> None:
        write = backup._write_table

        def told(*given: object) -> backup.TableContents:
            tell(STEP)
            try:
                return write(*given)  # type: ignore[arg-type]
            finally:
                tell(STEP)

        backup._write_table = told  # type: ignore[assignment]
        write_backup(url, copy, LATER)
        while True:
            tell(STEP)

    left = set()
    for last in (*range(2, 48, 5), 400):
        assert _dies_at(work, last)
        with zipfile.ZipFile(copy) as found:
            assert found.testzip() is None
        # What lies beside it is of one name, however many were killed.
        others = {path for path in copy.parent.iterdir() if path != copy}
        assert others <= {beside(copy)}
        left.add((len(others), copy.read_bytes() == old))
    # Some died over the part, with the older one still there; the last died behind it.
    assert {(1, True), (0, False)} <= left
    assert rows(url) == were_there
    write_backup(url, copy, NOW)
    assert list(copy.parent.iterdir()) == [copy]
    restore_backup(tmp_path / "again.db", copy, NOW)
    assert rows(f"sqlite:///{tmp_path / 'again.db'}")["entries"] == were_there["entries"]


def test_a_part_that_was_left_is_taken_up_and_holds_nothing_of_what_it_was(
    sqlite_url: str, tmp_path: Path
) -> None:
    fill(sqlite_url)
    copy = tmp_path / "copy.zip"
    beside(copy).write_bytes(b"of a backup that was killed" * 100_000)
    beside(copy).chmod(0o644)
    write_backup(sqlite_url, copy, NOW)
    assert copy.stat().st_mode & 0o077 == 0
    assert copy.stat().st_size < 100_000
    assert not beside(copy).exists()


def test_of_two_backups_to_one_file_at_once_one_is_refused_and_the_other_whole(
    sqlite_url: str, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    fill(sqlite_url)
    copy = tmp_path / "copy.zip"
    write = backup._write_table
    refused = []

    def meanwhile(*given: object) -> backup.TableContents:
        monkeypatch.setattr(backup, "_write_table", write)
        with pytest.raises(StoreError, match="Another program is writing"):
            write_backup(sqlite_url, copy, LATER)
        refused.append(beside(copy).exists())
        return write(*given)  # type: ignore[arg-type]

    monkeypatch.setattr(backup, "_write_table", meanwhile)
    write_backup(sqlite_url, copy, NOW)
    assert refused == [True]
    assert list(tmp_path.glob(".*")) == []
    restore_backup(tmp_path / "again.db", copy, NOW)


def test_backups_to_one_file_by_many_processes_leave_one_that_is_whole(
    sqlite_url: str, tmp_path: Path
) -> None:
    fill(sqlite_url)
    copy = tmp_path / "copy.zip"
    fork = multiprocessing.get_context("fork")
    writers = [fork.Process(target=_again_and_again, args=(sqlite_url, copy)) for _ in range(4)]
    for writer in writers:
        writer.start()
    for writer in writers:
        writer.join()
    assert [writer.exitcode for writer in writers] == [0] * 4
    assert list(tmp_path.glob(".*")) == []
    restore_backup(tmp_path / "again.db", copy, NOW)


def _again_and_again(url: str, copy: Path) -> None:
    written = 0
    for _ in range(500):
        try:
            write_backup(url, copy, NOW)
        except StoreError as error:
            if "Another program is writing" not in str(error):
                raise
        else:
            written += 1
            if written == 5:
                return


def test_a_restore_into_an_empty_store_that_is_killed_can_be_made_again(url: str, tmp_path: Path) -> None:
    copy = tmp_path / "copy.zip"
    other = f"sqlite:///{tmp_path / 'first.db'}"
    fill(other)
    write_backup(other, copy, NOW)

    def work(tell: Tell) -> None:
        restore_backup(url, copy, NOW)
        while True:
            tell(STEP)

    for last in (3, 25, 60, 90):
        assert _dies_at(work, last)
        with closing(Store.open(url)) as store:
            assert not store.entries(with_withdrawn=True)
            # Opening brings the tables; a restore into what is empty needs no more than that.
            with store._reading() as connection:
                assert connection.execute(text("select count(*) from passes")).scalar() == 0
    restore_backup(url, copy, NOW)
    assert len(rows(url)["entries"]) == len(rows(other)["entries"])
    with closing(Store.open(url)) as store:
        store.add_entry(FOLIAR, NOW)
