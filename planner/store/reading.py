"""Reads what a pass left without loading a database library, so that a reading command starts fast."""

from __future__ import annotations

import os
import sqlite3
import zlib
from contextlib import closing
from pathlib import Path
from urllib.parse import quote

from planner.store.records import PassRow, StoredPart, maybe_moment, moment, sqlite_file, store_error

_NEWEST = (
    "select p.id, p.made_at, p.stale_at, p.schema, t.body from passes p "
    "left join parts t on t.pass_id = p.id and t.name = ? "
    "where p.site = ? and p.place = ? order by p.id desc limit 1"
)


def read_part(
    url_or_path: str | Path, name: str, *, site: str, place: str, schema: int | None = None
) -> StoredPart | None:
    """That part of the newest pass of the site and place; None where there is none, or of another schema."""
    file = sqlite_file(url_or_path)
    if file is None:
        from planner.store.store import Store

        with closing(Store.open(url_or_path, site, place)) as store:
            return store.part(name, schema)
    found, body = _newest(file, name, site, place)
    if found is None or body is None or schema not in (None, found.schema):
        return None
    return StoredPart(
        name=name,
        body=zlib.decompress(body),
        made_at=found.made_at,
        schema=found.schema,
        number=found.number,
    )


def newest_pass(url_or_path: str | Path, site: str, place: str) -> PassRow | None:
    """The newest pass of the site and place, whatever its schema."""
    file = sqlite_file(url_or_path)
    if file is None:
        from planner.store.store import Store

        with closing(Store.open(url_or_path, site, place)) as store:
            return store.newest_pass()
    return _newest(file, "", site, place)[0]


def _newest(file: Path, name: str, site: str, place: str) -> tuple[PassRow | None, bytes | None]:
    """The newest pass, and its part of that name as it is stored."""
    if not file.exists():
        return None, None
    try:
        with closing(sqlite3.connect(_read_only(file), uri=True, timeout=5)) as connection:
            row = connection.execute(_NEWEST, (name, site, place)).fetchone()
    except sqlite3.Error as error:
        # An empty file, or a store of an earlier form that no program has opened for writing since.
        if "no such table" in str(error) or "no such column" in str(error):
            return None, None
        raise store_error(error, str(file)) from error
    if row is None:
        return None, None
    number, made_at, stale_at, schema, body = row
    made = PassRow(number=number, made_at=moment(made_at), stale_at=maybe_moment(stale_at), schema=schema)
    return made, body


def _read_only(file: Path) -> str:
    # A reader of a WAL file needs to make a small file beside it. Where the folder may not be written and
    # no writer is at work, the file cannot change either, and may be read as it is.
    place = quote(str(file.absolute()))
    beside = file.with_name(file.name + "-wal")
    unchanging = not beside.exists() and not os.access(file.absolute().parent, os.W_OK)
    return f"file:{place}?mode=ro" + ("&immutable=1" if unchanging else "")
