"""Reads stored answers without loading a database library, so that a reading command starts fast."""

from __future__ import annotations

import sqlite3
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import TYPE_CHECKING
from urllib.parse import quote

from planner.store.faults import store_error
from planner.store.records import StoredAnswer
from planner.store.times import moment

if TYPE_CHECKING:
    from planner.store.store import Store

_NEWEST = (
    "select a.name, a.content_type, a.body, a.etag, p.made_at from answers a "
    "join passes p on p.id = a.pass_id where p.id = (select max(id) from passes)"
)


def read_answer(url_or_path: str | Path, name: str) -> StoredAnswer | None:
    """The answer of that name in the newest pass; None when nothing is stored under it."""
    file = sqlite_file(url_or_path)
    if file is None:
        with _store(url_or_path) as store:
            return store.answer(name)
    return next(iter(_rows(file, f"{_NEWEST} and a.name = ?", (name,))), None)


def read_answers_like(url_or_path: str | Path, prefix: str) -> tuple[StoredAnswer, ...]:
    """The newest pass's answers whose name begins so, by name."""
    file = sqlite_file(url_or_path)
    if file is None:
        with _store(url_or_path) as store:
            return store.answers_like(prefix)
    return _rows(file, f"{_NEWEST} and substr(a.name, 1, ?) = ? order by a.name", (len(prefix), prefix))


def sqlite_file(url_or_path: str | Path) -> Path | None:
    """The file of an SQLite address or a bare path; None for any other database."""
    text = str(url_or_path)
    if "://" not in text:
        return Path(text)
    scheme, _, rest = text.partition("://")
    if scheme.split("+")[0] != "sqlite" or not rest.startswith("/") or rest.startswith("/:memory:"):
        return None
    return Path(rest[1:].partition("?")[0])


def _rows(file: Path, statement: str, values: tuple[object, ...]) -> tuple[StoredAnswer, ...]:
    if not file.exists():
        return ()
    try:
        connection = sqlite3.connect(_read_only(file), uri=True, timeout=5)
        try:
            rows = connection.execute(statement, values).fetchall()
        finally:
            connection.close()
    except sqlite3.Error as error:
        if "no such table" in str(error):
            return ()
        raise store_error(error, str(file)) from error
    return tuple(
        StoredAnswer(name=name, content_type=kind, body=bytes(body), etag=etag, made_at=moment(made_at))
        for name, kind, body, etag, made_at in rows
    )


def _read_only(file: Path) -> str:
    # A reader of a WAL file needs to make a small file beside it. Where the folder may not be written and
    # no writer is at work, the file cannot change either, and may be read as it lies.
    place = quote(str(file.absolute()))
    beside = file.with_name(file.name + "-wal")
    lies_still = not beside.exists() and not _may_write(file.absolute().parent)
    return f"file:{place}?mode=ro" + ("&immutable=1" if lies_still else "")


def _may_write(folder: Path) -> bool:
    import os

    return os.access(folder, os.W_OK)


@contextmanager
def _store(url: str | Path) -> Iterator[Store]:
    from planner.store.store import Store

    store = Store.open(str(url))
    try:
        yield store
    finally:
        store.close()
