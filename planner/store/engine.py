"""How the database is reached: SQLite in a file by default, PostgreSQL by address."""

from __future__ import annotations

import re
from pathlib import Path
from typing import Any

from sqlalchemy import Connection, Engine, create_engine, event, text
from sqlalchemy.engine import URL, make_url
from sqlalchemy.exc import ArgumentError, NoSuchModuleError
from sqlalchemy.pool import QueuePool

from planner.errors import InputError
from planner.store.faults import StoreError
from planner.store.reading import sqlite_file

BUSY_S = 15


def address(url_or_path: str | Path) -> URL:
    """The database's address; a bare path means SQLite in that file."""
    given = str(url_or_path)
    scheme, _, rest = given.partition("://")
    if scheme.split("+")[0] == "sqlite" and rest in ("", "/", "/:memory:"):
        return URL.create("sqlite")
    # Read by one rule with the reading commands: this library's own differs between its versions.
    file = sqlite_file(given)
    if file is not None:
        return URL.create("sqlite", database=str(file))
    try:
        url = make_url(given)
    except (ArgumentError, ValueError) as error:
        shown = re.sub(r"//[^@]*@", "//…@", given)
        raise InputError(
            f'The store\'s address "{shown}" cannot be read. Write a file name, sqlite:///FILE or '
            "postgresql://USER@HOST/DATABASE."
        ) from error
    if url.get_backend_name() == "postgresql":
        return url.set(drivername="postgresql+psycopg")
    raise InputError(
        f'The store\'s address begins with "{url.drivername}://{url.host or ""}". Known: sqlite:///FILE '
        "(three strokes, four for a path from the root), postgresql://USER@HOST/DATABASE."
    )


def in_memory(url: URL) -> bool:
    """Whether the address is an SQLite database that lives and dies with the process."""
    return url.get_backend_name() == "sqlite" and url.database in (None, "", ":memory:")


def connect(url: URL) -> Engine:
    """An engine; a writing transaction is begun by its copy with the option `writes`."""
    if url.get_backend_name() == "sqlite":
        return _sqlite(url)
    try:
        return create_engine(url, pool_pre_ping=True)
    except (ModuleNotFoundError, NoSuchModuleError) as error:
        raise StoreError(
            f"The store {url.render_as_string()} needs the psycopg package, which is not installed. "
            'Install it with: pip install "haysel[postgres]".'
        ) from error


def _sqlite(url: URL) -> Engine:
    # One connection for a database in memory: a second one would open a second, empty database.
    pool = {"poolclass": QueuePool, "pool_size": 1, "max_overflow": 0} if in_memory(url) else {}
    if not in_memory(url):
        folder = Path(str(url.database)).absolute().parent
        try:
            folder.mkdir(parents=True, exist_ok=True)
        except OSError as error:
            raise StoreError(
                f"The store's folder {folder} cannot be made ({error.strerror}). "
                "Name another file, or make the folder."
            ) from error
    engine = create_engine(url, connect_args={"timeout": BUSY_S, "check_same_thread": False}, **pool)

    @event.listens_for(engine, "connect")
    def _prepare(connection: Any, _record: object) -> None:
        # Python's own sqlite3 begins transactions late and never immediately; we say BEGIN ourselves.
        connection.isolation_level = None
        cursor = connection.cursor()
        cursor.execute("pragma journal_mode = wal")
        # FULL, not NORMAL: in WAL mode NORMAL may lose the last commits at a power cut, and a lost "sent"
        # means a warning sent twice. There are a few writes an hour, so the flush costs nothing.
        cursor.execute("pragma synchronous = full")
        cursor.execute("pragma foreign_keys = on")
        cursor.close()

    @event.listens_for(engine, "begin")
    def _begin(connection: Connection) -> None:
        writes = connection.get_execution_options().get("writes")
        connection.exec_driver_sql("begin immediate" if writes else "begin")

    return engine


def one_at_a_time(connection: Connection, what: str) -> None:
    """Holds other writers of the same kind until this transaction ends (on SQLite they wait anyway)."""
    if connection.dialect.name == "postgresql":
        connection.execute(text("select pg_advisory_xact_lock(7203419, hashtext(:what))"), {"what": what})
