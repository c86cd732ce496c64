"""What is no whole backup of ours, or holds what the database refuses: told in words, and the store is as it was."""

from __future__ import annotations

import hashlib
import json
import zipfile
from collections.abc import Callable, Iterator
from pathlib import Path

import pytest

from planner.errors import InputError, PlannerError
from planner.store.backup import CONTENTS, write_backup
from planner.store.records import StoreError
from planner.store.restore import restore_backup
from tests.store.test_backup import fill, rows
from tests.store.test_diary import NOW


def _changed(copy: Path, file: Path, member: str, change: Callable[[bytes], bytes]) -> Path:
    """The backup written anew by a zip program, one part of it changed."""
    with zipfile.ZipFile(copy) as old, zipfile.ZipFile(file, "w") as new:
        for name in old.namelist():
            body = old.read(name)
            new.writestr(name, change(body) if name == member else body)
    return file


def _contents(**changes: object) -> Callable[[bytes], bytes]:
    return lambda body: json.dumps({**json.loads(body), **changes}).encode()


def _refused(copy: Path, folder: Path) -> Iterator[tuple[Path, str]]:
    """Files that are no whole backup, and what is said of each."""
    raw = copy.read_bytes()
    yield folder / "nowhere.zip", "There is no backup"
    for name, body in {
        "empty": b"",
        "half": raw[: len(raw) // 2],
        "text": b"uuid,job\n" * 99,
    }.items():
        (folder / name).write_bytes(body)
        yield folder / name, "is no backup, or only a part of one"
    middle = raw.index(b"entries.jsonl") + 60
    (folder / "flipped").write_bytes(raw[:middle] + bytes([raw[middle] ^ 1]) + raw[middle + 1 :])
    yield folder / "flipped", "damaged: entries.jsonl"
    with zipfile.ZipFile(folder / "other.zip", "w") as other:
        other.writestr("notes.txt", "x")
    yield folder / "other.zip", "no backup of haysel"
    # Each is a whole zip: only our own checksums tell.
    yield (
        _changed(copy, folder / "note", "entries.jsonl", lambda body: body.replace(b"Ida", b"Eva")),
        "damaged: entries.jsonl",
    )
    yield (
        _changed(copy, folder / "row", "entries.jsonl", lambda body: body[body.index(b"\n") + 1 :]),
        "damaged: entries.jsonl",
    )
    yield _changed(copy, folder / "bare", CONTENTS, lambda _: b"{}"), f"damaged: {CONTENTS}"
    yield _changed(copy, folder / "none", CONTENTS, _contents(tables={})), f"damaged: {CONTENTS}"
    yield (
        _changed(copy, folder / "newer", CONTENTS, _contents(version="9999")),
        "at version 9999; this haysel knows those up to 0",
    )
    yield (
        _changed(copy, folder / "form", CONTENTS, _contents(haysel_backup=2, more=1)),
        "has form 2; this haysel knows those up to 1",
    )


def test_a_file_that_is_no_whole_backup_of_ours_is_refused_and_changes_nothing(
    url: str, tmp_path: Path
) -> None:
    fill(url)
    copy = tmp_path / "copy.zip"
    write_backup(url, copy, NOW)
    before = rows(url)
    (tmp_path / "spoilt").mkdir()
    for file, says in _refused(copy, tmp_path / "spoilt"):
        with pytest.raises(PlannerError) as caught:
            restore_backup(url, file, NOW, overwrite=True)
        assert says in str(caught.value), file
        assert caught.value.exit_code == 2
        fresh = tmp_path / "fresh" / "store.db"
        with pytest.raises(InputError):
            restore_backup(fresh, file, NOW)
    assert rows(url) == before


def test_a_fault_in_the_middle_of_a_restore_leaves_what_was_there(url: str, tmp_path: Path) -> None:
    """A file whose checksums hold, and whose rows the database refuses: an entry under the key of another."""
    fill(url)
    copy = tmp_path / "copy.zip"
    write_backup(url, copy, NOW)
    before = rows(url)
    with zipfile.ZipFile(copy) as old:
        lines = old.read("entries.jsonl").splitlines(keepends=True)
        contents = json.loads(old.read(CONTENTS))
    body = b"".join([*lines, lines[0].replace(b"[1,", b"[999,", 1)])
    contents["tables"]["entries"].update(rows=len(lines) + 1, sha256=hashlib.sha256(body).hexdigest())
    twice = _changed(copy, tmp_path / "once.zip", "entries.jsonl", lambda _: body)
    twice = _changed(twice, tmp_path / "twice.zip", CONTENTS, lambda _: json.dumps(contents).encode())
    with pytest.raises(StoreError):
        restore_backup(url, twice, NOW, overwrite=True)
    assert rows(url) == before
