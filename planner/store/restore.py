"""Puts a backup back: into an empty store or in place of one, of either database, all of it or nothing."""

from __future__ import annotations

import io
import json
import zipfile
import zlib
from base64 import b64decode
from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from contextlib import closing, contextmanager
from datetime import datetime
from hashlib import sha256
from itertools import islice
from pathlib import Path
from typing import Any, NamedTuple

import msgspec
from sqlalchemy import (
    Connection,
    Integer,
    LargeBinary,
    MetaData,
    Table,
    and_,
    func,
    or_,
    select,
    text,
    update,
)

from planner.errors import InputError
from planner.store.backup import BATCH, CONTENTS, FORM, Contents, TableContents, member, stored_tables
from planner.store.engine import Database, address, connect, known_versions, one_at_a_time, upgrade, version
from planner.store.records import StoreError, epoch_s
from planner.store.tables import outbox

_NOT_SURE = "put back from a backup; not sent again, since it may have gone out after that was made"
#: What reading a spoilt zip raises, beside its own error.
_SPOILT = (zipfile.BadZipFile, zlib.error, EOFError, KeyError, NotImplementedError, RuntimeError, ValueError)


class Exchange(NamedTuple):
    """What becomes of the diary of one site, in entries."""

    site: str
    back: int
    """Those that the backup holds."""
    lost: int
    """Those that the store holds and the backup does not, or only as they read before they were last edited."""


def restore_backup(
    url_or_path: str | Path,
    file: Path,
    now: datetime,
    *,
    overwrite: bool = False,
    before: Callable[[Sequence[Exchange]], None] = lambda exchanges: None,
) -> Contents:
    """Puts what the file holds into the store, in one transaction, and brings the tables to the newest form.

    `before` is told what becomes of each diary, before anything is taken away.

    Messages that were due by `now`, or on their way, when the backup was made become `unsure` and are not sent.
    InputError where the file is no backup, is damaged or is of a newer haysel, and where the store holds
    something and `overwrite` is not given; StoreError where the store cannot be written. The store is then as it was.
    """
    now_s = epoch_s(now, "the time of a restore")
    with _opened(file) as backup:
        contents = _contents(backup, file)
        # All of it is read before the store is touched: a damaged file makes nobody wait, and no file of a store.
        for name, held in contents.tables.items():
            _check(backup, name, held, file)
        with closing(_Target(connect(address(url_or_path)))) as store:
            store.fill(backup, contents, file, now_s, overwrite, before)
    return contents


@contextmanager
def _opened(file: Path) -> Iterator[zipfile.ZipFile]:
    try:
        backup = zipfile.ZipFile(file)
    except FileNotFoundError as error:
        raise InputError(f"There is no backup {file}.") from error
    except OSError as error:
        raise InputError(f"The backup {file} cannot be read ({error.strerror or error}).") from error
    except _SPOILT as error:
        raise InputError(
            f"{file} is no backup, or only a part of one. Name a file of `haysel backup`."
        ) from error
    with backup:
        yield backup


def _contents(backup: zipfile.ZipFile, file: Path) -> Contents:
    if CONTENTS not in backup.namelist():
        raise InputError(f"{file} is no backup of haysel. Name a file of `haysel backup`.")
    try:
        raw = backup.read(CONTENTS)
        form = json.loads(raw)["haysel_backup"]
        newer = isinstance(form, int) and form > FORM
        contents = None if newer else msgspec.json.decode(raw, type=Contents)
    except (*_SPOILT, OSError, TypeError, msgspec.MsgspecError) as error:
        raise _damaged(file, CONTENTS) from error
    known = known_versions()
    if contents is None or contents.version not in known:
        what = f"has form {form}" if contents is None else f"is of a store at version {contents.version}"
        raise InputError(
            f"The backup {file} {what}; this haysel knows those up to {FORM if contents is None else max(known)}. "
            "A newer one wrote it: install that, then restore."
        )
    return contents


def _damaged(file: Path, part: str) -> InputError:
    return InputError(
        f"The backup {file} is damaged: {part} in it is not as it was written. Nothing was restored; take another."
    )


def _check(backup: zipfile.ZipFile, name: str, held: TableContents, file: Path) -> None:
    rows, digest = 0, sha256()
    try:
        with backup.open(member(name)) as lines:
            for line in io.BufferedReader(lines):  # type: ignore[type-var]
                digest.update(line)
                rows += 1
    except (*_SPOILT, OSError) as error:
        raise _damaged(file, member(name)) from error
    if (rows, digest.hexdigest()) != (held.rows, held.sha256):
        raise _damaged(file, member(name))


class _Target(Database):
    """The database that a backup goes into."""

    def close(self) -> None:
        self._engine.dispose()

    def fill(
        self,
        backup: zipfile.ZipFile,
        contents: Contents,
        file: Path,
        now_s: float,
        overwrite: bool,
        before: Callable[[Sequence[Exchange]], None],
    ) -> None:
        with self._writing() as connection:
            one_at_a_time(connection, "migrate")
            there = self._there(connection, overwrite=overwrite)
            before(_exchanges(connection, there, backup, contents))
            self._clear(connection, there)
            upgrade(connection, contents.version)
            tables = stored_tables(connection)
            if set(contents.tables) != set(tables.tables):
                raise _damaged(file, CONTENTS)
            for table in tables.sorted_tables:
                held = contents.tables[table.name]
                if set(held.columns) != set(table.columns.keys()):
                    raise _damaged(file, CONTENTS)
                with backup.open(member(table.name)) as lines:
                    rows = _rows(io.BufferedReader(lines), held.columns, table)  # type: ignore[type-var]
                    while batch := list(islice(rows, BATCH)):
                        connection.execute(table.insert(), batch)
                _number_on(connection, table)
            upgrade(connection, "head")
            late = and_(outbox.c.state == "due", outbox.c.due_at <= now_s)
            connection.execute(
                update(outbox)
                .where(or_(outbox.c.state == "sending", late))
                .values(state="unsure", taken_until=None, note=_NOT_SURE)
            )

    def _there(self, connection: Connection, *, overwrite: bool) -> MetaData:
        """The tables of the store, which must be empty unless they may be overwritten."""
        at = version(connection)
        if at is not None and at not in known_versions():
            raise StoreError(
                f"The store {self.where} is at version {at}, which this haysel does not know. A newer one wrote it: "
                "restore with that, or into another store."
            )
        tables = stored_tables(connection)
        held = {
            table.name: connection.execute(select(func.count()).select_from(table)).scalar_one()
            for table in tables.sorted_tables
        }
        if any(held.values()) and not overwrite:
            raise InputError(
                f"The store {self.where} is not empty: {rows_held(held)}. Restore into another one, or put the backup "
                "in its place with --overwrite: what it holds is then gone."
            )
        return tables

    def _clear(self, connection: Connection, tables: MetaData) -> None:
        """Takes the tables of the store away."""
        tables.drop_all(connection)
        if version(connection) is not None:
            connection.execute(text("drop table alembic_version"))
        if connection.dialect.name == "postgresql":
            # The guards of the tables that only grow; SQLite drops them with the table.
            for name in tables.tables:
                connection.execute(text(f"drop function if exists {name}_only_grow()"))


def _exchanges(
    connection: Connection, held: MetaData, backup: zipfile.ZipFile, contents: Contents
) -> list[Exchange]:
    """What becomes of the diary of each site, by key."""
    ours, theirs = set(_revisions_held(connection, held)), set(_revisions_in(backup, contents))
    back, lost = ({(site, uuid) for site, uuid, _ in some} for some in (theirs, ours - theirs))
    return [
        Exchange(site, *(sum(one == site for one, _ in some) for some in (back, lost)))
        for site in sorted({site for site, _ in back | lost})
    ]


def _revisions_held(connection: Connection, held: MetaData) -> Iterator[tuple[str, ...]]:
    table = held.tables.get("entries")
    if table is not None:
        for row in connection.execute(select(table)).mappings():
            yield _revision(row)


def _revisions_in(backup: zipfile.ZipFile, contents: Contents) -> Iterator[tuple[str, ...]]:
    part = contents.tables.get("entries")
    if part is not None:
        with backup.open(member("entries")) as lines:
            for line in io.BufferedReader(lines):  # type: ignore[type-var]
                yield _revision(dict(zip(part.columns, json.loads(line), strict=True)))


def _revision(row: Mapping[Any, Any]) -> tuple[str, ...]:
    """Site, entry and number of a revision; an early form knew one site only."""
    return str(row.get("site", "main")), str(row["uuid"]), str(row["revision"])


#: What people call the tables they care for.
_WORDS = {
    "entries": "diary",
    "observations": "readings",
    "forecasts": "forecasts",
    "passes": "passes",
    "warnings": "warnings",
    "outbox": "messages",
}


def rows_held(rows: dict[str, int]) -> str:
    """How many rows there are of what people know by name."""
    return ", ".join(f"{words} {rows[name]}" for name, words in _WORDS.items() if name in rows)


def _rows(lines: Iterable[bytes], columns: list[str], table: Table) -> Iterator[dict[str, object]]:
    packed = [isinstance(table.columns[name].type, LargeBinary) for name in columns]
    for line in lines:
        values = json.loads(line)
        yield {
            name: b64decode(value) if bytes_here and value is not None else value
            for name, value, bytes_here in zip(columns, values, packed, strict=True)
        }


def _number_on(connection: Connection, table: Table) -> None:
    """A server numbers rows from a counter of its own, which is set behind those put in; SQLite goes by the rows."""
    column = table.columns.get("id")
    if connection.dialect.name == "postgresql" and column is not None and isinstance(column.type, Integer):
        connection.execute(
            text(
                f"select setval(pg_get_serial_sequence('{table.name}', 'id'), max(id)) from {table.name} "
                "having max(id) is not null"
            )
        )
