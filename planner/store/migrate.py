"""Brings the tables to the newest form, once, however many processes start together."""

from __future__ import annotations

from pathlib import Path

from sqlalchemy import Connection, Engine, inspect, text

from planner.store.faults import StoreError
from planner.store.tables import HEAD

MIGRATIONS = Path(__file__).parent / "migrations"
#: Any number will do, as long as every haysel uses the same.
_LOCK = 7_203_419


def migrate(engine: Engine) -> None:
    """Tables at the newest migration; loads alembic only when they are not."""
    with engine.connect() as connection:
        if version(connection) == HEAD:
            return
    with engine.execution_options(writes=True).begin() as connection:
        # SQLite's lock is the writing transaction itself.
        if connection.dialect.name == "postgresql":
            connection.execute(text("select pg_advisory_xact_lock(:lock)"), {"lock": _LOCK})
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
    from alembic.config import Config
    from alembic.util import CommandError

    config = Config()
    config.set_main_option("script_location", str(MIGRATIONS).replace("%", "%%"))
    config.set_main_option("path_separator", "os")
    config.attributes["connection"] = connection
    try:
        command.upgrade(config, target)
    except CommandError as error:
        raise StoreError(
            f"The store {connection.engine.url.render_as_string()} is at version {version(connection)}; this "
            f"haysel knows versions up to {HEAD}. A newer one wrote it: install that, or name another store."
        ) from error
