"""How the database is reached, SQLite in a file or PostgreSQL by address, and how its tables are brought up to date."""

from __future__ import annotations

import re
import sqlite3
import time
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import TYPE_CHECKING, Any

from sqlalchemy import Connection, Engine, create_engine, event, inspect, text
from sqlalchemy.engine import URL, make_url
from sqlalchemy.exc import ArgumentError, DBAPIError, NoSuchModuleError
from sqlalchemy.exc import TimeoutError as NoLineFree
from sqlalchemy.pool import QueuePool

from planner.errors import InputError
from planner.store.records import StoreError, sqlite_file, store_error
from planner.store.tables import HEAD
from planner.terms import EXTRAS_COMMAND

if TYPE_CHECKING:
    from alembic.config import Config


#: A reader or writer waits so long for another, and who waits for an answer no longer.
BUSY_S = 4
#: A server that does not answer is given up after this long, and a line on which nothing comes back is taken for cut.
_CONNECT_S, _SILENT_S = 5, 20
#: Who finds every line to the database in use waits so long for one.
_LINE_S = 10
#: Processes that open a new store together wait for each other so long.
_OPENING_S = 15


def address(url_or_path: str | Path) -> URL:
    """The database's address; a bare path means SQLite in that file."""
    named = str(url_or_path)
    scheme, _, rest = named.partition("://")
    if scheme.split("+")[0] == "sqlite" and rest in ("", "/", "/:memory:"):
        return URL.create("sqlite")
    # Read by one rule with the reading commands: this library's own differs between its versions.
    file = sqlite_file(named)
    if file is not None:
        return URL.create("sqlite", database=str(file))
    try:
        url = make_url(named)
    except (ArgumentError, ValueError) as error:
        shown = re.sub(r"//[^@]*@", "//…@", named)
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


def connect(url: URL) -> Engine:
    """An engine; a writing transaction is begun by its copy with the option `writes`."""
    if url.get_backend_name() == "sqlite":
        return _sqlite(url)
    # Without these a server that is cut off in the midst holds whoever asked it for a quarter of an hour.
    ends = {
        "connect_timeout": _CONNECT_S,
        "keepalives_idle": _SILENT_S // 2,
        "keepalives_interval": _SILENT_S // 4,
        "keepalives_count": 2,
        "tcp_user_timeout": _SILENT_S * 1000,
    }
    ours = {name: value for name, value in ends.items() if name not in url.query}
    try:
        return create_engine(url, pool_pre_ping=True, pool_timeout=_LINE_S, connect_args=ours)
    except (ModuleNotFoundError, NoSuchModuleError) as error:
        raise StoreError(
            f"The store {url.render_as_string()} needs the psycopg package, which is not installed. "
            f"Install it with: {EXTRAS_COMMAND}"
        ) from error


def _write_ahead(cursor: sqlite3.Cursor) -> None:
    """Journal mode WAL, waited for as long as for any other lock.

    SQLite's own busy timeout does not cover this statement: when two connections turn the same new file at once,
    both hold it for reading, and one is refused in that instant rather than made to wait for the other.
    """
    until = time.monotonic() + _OPENING_S
    while True:
        try:
            cursor.execute("pragma journal_mode = wal")
            return
        except sqlite3.OperationalError as error:
            if error.sqlite_errorcode & 0xFF != sqlite3.SQLITE_BUSY or time.monotonic() > until:
                raise
        time.sleep(0.01)


def _sqlite(url: URL) -> Engine:
    in_memory = url.database in (None, "", ":memory:")
    # One connection for a database in memory: a second one would open a second, empty database.
    pool = {"poolclass": QueuePool, "pool_size": 1, "max_overflow": 0} if in_memory else {}
    if not in_memory:
        folder = Path(str(url.database)).absolute().parent
        try:
            folder.mkdir(parents=True, exist_ok=True)
        except OSError as error:
            raise StoreError(
                f"The store's folder {folder} cannot be made ({error.strerror}). "
                "Name another file, or make the folder."
            ) from error
    engine = create_engine(
        url, pool_timeout=_LINE_S, connect_args={"timeout": BUSY_S, "check_same_thread": False}, **pool
    )

    @event.listens_for(engine, "connect")
    def _prepare(connection: Any, _record: object) -> None:
        # Python's own sqlite3 begins transactions late and never immediately; we say BEGIN ourselves.
        connection.isolation_level = None
        cursor = connection.cursor()
        _write_ahead(cursor)
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


#: The sign of code 0, which a database server keeps in no text though SQLite does, and halves of a sign.
_NO_SIGN = re.compile("[\0\ud800-\udfff]")


def require_signs(engine: Engine) -> None:
    """Has what is written, or looked up, refused alike by either database where a text in it holds what is no sign.

    InputError then, from whatever method of a `Database` has been called.
    """

    @event.listens_for(engine, "before_cursor_execute")
    def _refuse(
        connection: Connection, cursor: object, statement: str, given: Any, context: object, many: bool
    ) -> None:
        for row in given if many else (given,):
            for value in row.values() if isinstance(row, dict) else row:
                if isinstance(value, str) and _NO_SIGN.search(value):
                    raise InputError("A text for the store holds a sign that is none. Leave it out.")


def with_signs(text: str) -> str:
    """The text with a mark for what is no sign: for words of others, which are kept as far as they can be."""
    return _NO_SIGN.sub("\ufffd", text)


class Database:
    """A database bound to one site at one place. Every transaction is kept whole, or not at all."""

    def __init__(self, engine: Engine, site: str = "main", place: str = "") -> None:
        self._engine = engine
        self._writer = engine.execution_options(writes=True)
        self.site = site
        self.place = place
        self.where = engine.url.render_as_string()
        """The database's address, its password hidden."""

    @contextmanager
    def _faults(self) -> Iterator[None]:
        try:
            yield
        except (DBAPIError, NoLineFree) as error:
            raise store_error(error, self.where) from error

    @contextmanager
    def _writing(self) -> Iterator[Connection]:
        with self._faults(), self._writer.begin() as connection:
            yield connection

    @contextmanager
    def _reading(self) -> Iterator[Connection]:
        with self._faults(), self._engine.begin() as connection:
            yield connection


MIGRATIONS = Path(__file__).parent / "migrations"


def migrate(engine: Engine) -> None:
    """Tables at the newest migration; loads alembic only when they are not."""
    with engine.connect() as connection:
        if version(connection) == HEAD:
            return
    with engine.execution_options(writes=True).begin() as connection:
        one_at_a_time(connection, "migrate")
        if version(connection) != HEAD:
            upgrade(connection, "head")


def version(connection: Connection) -> str | None:
    """The migration the tables are at; None for an empty database."""
    if not inspect(connection).has_table("alembic_version"):
        return None
    found = connection.execute(text("select version_num from alembic_version")).scalar()
    return None if found is None else str(found)


def upgrade(connection: Connection, target: str) -> None:
    """Runs the migrations up to the target on this connection, inside its transaction."""
    from alembic import command
    from alembic.util import CommandError

    try:
        command.upgrade(_config(connection), target)
    except CommandError as error:
        raise StoreError(
            f"The store {connection.engine.url.render_as_string()} is at version {version(connection)}; this "
            f"haysel knows versions up to {HEAD}. A newer one wrote it: install that, or name another store."
        ) from error


def downgrade(connection: Connection, target: str) -> None:
    """Takes the migrations back to the target, for whoever returns to an earlier haysel."""
    from alembic import command

    command.downgrade(_config(connection), target)


def known_versions() -> frozenset[str]:
    """The migrations that this haysel knows."""
    from alembic.script import ScriptDirectory

    return frozenset(step.revision for step in ScriptDirectory.from_config(_config()).walk_revisions())


def _config(connection: Connection | None = None) -> Config:
    from alembic.config import Config

    config = Config()
    config.set_main_option("script_location", str(MIGRATIONS).replace("%", "%%"))
    config.set_main_option("path_separator", "os")
    config.attributes["connection"] = connection
    return config
