"""A backup: one file with every row of a store, of all its sites, for SQLite and PostgreSQL alike.

The file is a zip: `TABLE.jsonl`, a row a line as a JSON array in the order of the columns, bytes in Base64, and
`backup.json`, which says what is there, with a checksum of each table. It is read by `planner.store.restore`.
"""

from __future__ import annotations

import fcntl
import json
import os
import zipfile
from base64 import b64encode
from collections.abc import Iterator
from contextlib import ExitStack, closing, contextmanager
from datetime import datetime
from hashlib import sha256
from pathlib import Path
from typing import IO

import msgspec
from sqlalchemy import Connection, MetaData, Table, inspect, select

from planner import __version__
from planner.errors import InputError
from planner.store.engine import Database, address, connect, known_versions, one_at_a_time, version
from planner.store.records import StoreError, sqlite_file
from planner.store.tables import FORMER, metadata
from planner.terms import require_aware

#: The form of the file; rises when a file of the form before can no longer be read by the same code.
FORM = 1
CONTENTS = "backup.json"
#: Rows read at once; a forecast of an ensemble is some 100 kB.
BATCH = 100


class TableContents(msgspec.Struct, frozen=True, kw_only=True):
    """What the file holds of one table."""

    columns: list[str]
    rows: int
    sha256: str
    """Of its lines, as they stand in the file."""


class Contents(msgspec.Struct, frozen=True, kw_only=True):
    """What the file says of itself."""

    haysel_backup: int
    """The form of the file."""
    made_at: datetime
    made_by: str
    """The version of haysel."""
    version: str
    """The migration at which the tables were."""
    tables: dict[str, TableContents]


def member(table: str) -> str:
    """The name of a table's rows inside the file."""
    return f"{table}.jsonl"


def write_backup(url_or_path: str | Path, file: Path, now: datetime) -> Contents:
    """Writes all that the store holds at this moment to the file, which is there whole or not at all.

    Others may write meanwhile. The store is read as it is, at whatever migration: a backup brings nothing on.
    InputError where there is no store, or where the file is something else than a backup; StoreError where the
    store cannot be read or the file cannot be written.
    """
    require_aware(now, "the time of a backup")
    place = sqlite_file(url_or_path)
    if place is not None and not place.is_file():
        raise InputError(f"There is no store {place} to back up. Check [store] url in the site file.")
    if file.exists() and not is_backup(file):
        raise InputError(f"{file} is there already and is no backup. Name another file.")
    with closing(_Snapshot(connect(address(url_or_path)))) as store, _put_in_place(file) as sink:
        return store.write(sink, now)


def is_backup(file: Path) -> bool:
    """Whether the file has the shape of a backup."""
    try:
        with zipfile.ZipFile(file) as found:
            return CONTENTS in found.namelist()
    except (OSError, zipfile.BadZipFile):
        return False


class _Snapshot(Database):
    """A database read as of one moment."""

    def close(self) -> None:
        self._engine.dispose()

    def write(self, sink: IO[bytes], now: datetime) -> Contents:
        with self._faults(), self._at_one_moment() as connection:
            at = version(connection)
            if at is None:
                raise InputError(f"The store {self.where} holds nothing yet: there is nothing to back up.")
            if at not in known_versions():
                raise StoreError(
                    f"The store {self.where} is at version {at}, which this haysel does not know. A newer one wrote "
                    "it: back it up with that."
                )
            with zipfile.ZipFile(sink, "w", zipfile.ZIP_DEFLATED, compresslevel=1) as made:
                tables = {
                    str(table.name): _write_table(connection, table, made)
                    for table in stored_tables(connection).sorted_tables
                }
                contents = Contents(
                    haysel_backup=FORM, made_at=now, made_by=__version__, version=at, tables=tables
                )
                made.writestr(CONTENTS, msgspec.json.format(msgspec.json.encode(contents)))
            return contents

    @contextmanager
    def _at_one_moment(self) -> Iterator[Connection]:
        """A transaction that sees the database as it is now, whatever is written meanwhile."""
        with ExitStack() as held:
            options: dict[str, object] = {}
            if self._engine.dialect.name == "postgresql":
                # Tables that are brought on or put back meanwhile would be gone from under what is read.
                one_at_a_time(held.enter_context(self._engine.begin()), "migrate")
                # On SQLite every reading transaction is that already.
                options = {"isolation_level": "REPEATABLE READ", "postgresql_readonly": True}
            engine = self._engine.execution_options(**options)
            yield held.enter_context(engine.begin())


def stored_tables(connection: Connection) -> MetaData:
    """The tables of a store as they are in this database, of whatever form; others that lie beside them are not."""
    there = inspect(connection).get_table_names()
    found = MetaData()
    found.reflect(connection, only=[name for name in (*metadata.tables, *FORMER) if name in there])
    return found


def _write_table(connection: Connection, table: Table, made: zipfile.ZipFile) -> TableContents:
    rows, digest = 0, sha256()
    ordered = select(table).order_by(*table.primary_key.columns)
    with made.open(member(table.name), "w", force_zip64=True) as sink:
        for row in connection.execution_options(yield_per=BATCH).execute(ordered):
            line = json.dumps([_plain(value) for value in row], allow_nan=False).encode() + b"\n"
            digest.update(line)
            sink.write(line)
            rows += 1
    # The names are of a kind of text that says how it is quoted in SQL; JSON wants plain ones.
    columns = [str(column.name) for column in table.columns]
    return TableContents(columns=columns, rows=rows, sha256=digest.hexdigest())


def _plain(value: object) -> object:
    return b64encode(value).decode() if isinstance(value, bytes) else value


@contextmanager
def _put_in_place(file: Path) -> Iterator[IO[bytes]]:
    """A file beside that one, which takes its name once it is whole and on the disk; readable by its owner alone.

    Its name is always the same, so that what a killed backup leaves is taken up by the next one and never grows.
    StoreError where another backup is being written to it.
    """
    try:
        with os.fdopen(_held(beside(file), file), "wb") as sink:
            try:
                sink.truncate()
                yield sink
                sink.flush()
                os.fsync(sink.fileno())
                os.replace(beside(file), file)
            except BaseException:
                beside(file).unlink(missing_ok=True)
                raise
        folder = os.open(file.parent, os.O_RDONLY)
        try:
            os.fsync(folder)
        finally:
            os.close(folder)
    except OSError as error:
        raise StoreError(_not_written(file, error)) from error


def beside(file: Path) -> Path:
    """Where a backup is written until it is whole."""
    return file.with_name(f".{file.name}.part")


def _held(part: Path, file: Path) -> int:
    """The part, open and held by us alone; the system lets go of it when this process ends, however it ends."""
    while True:
        handle = os.open(part, os.O_RDWR | os.O_CREAT | os.O_NOFOLLOW, 0o600)
        try:
            fcntl.flock(handle, fcntl.LOCK_EX | fcntl.LOCK_NB)
            os.fchmod(handle, 0o600)
            # One that was finished or given up meanwhile is the part no more: held is then a backup, or nothing.
            if os.path.samestat(os.fstat(handle), os.stat(part)):
                return handle
        except FileNotFoundError:
            pass
        except BlockingIOError as error:
            os.close(handle)
            raise StoreError(
                f"Another program is writing the backup {file}. Nothing was put in its place."
            ) from error
        except BaseException:
            os.close(handle)
            raise
        os.close(handle)


def _not_written(file: Path, error: OSError) -> str:
    where = f": {error.filename}" if error.filename else ""
    return (
        f"The backup {file} cannot be written ({error.strerror or error}{where}). "
        "Nothing was put in its place."
    )
