"""The tables. The migrations make them; a test holds the two together."""

from __future__ import annotations

from sqlalchemy import (
    BigInteger,
    Boolean,
    Column,
    Double,
    ForeignKey,
    Index,
    Integer,
    LargeBinary,
    MetaData,
    Table,
    Text,
    UniqueConstraint,
)

#: The newest migration. Compared with the version row at start, so that alembic is loaded only when needed.
HEAD = "0002"

metadata = MetaData()

#: SQLite numbers rows by itself only in a column declared INTEGER.
_Number = BigInteger().with_variant(Integer, "sqlite")

passes = Table(
    "passes",
    metadata,
    Column("id", _Number, primary_key=True),
    Column("made_at", Double, nullable=False),
)

answers = Table(
    "answers",
    metadata,
    Column("pass_id", _Number, ForeignKey("passes.id", ondelete="CASCADE"), primary_key=True),
    Column("name", Text, primary_key=True),
    Column("content_type", Text, nullable=False),
    Column("etag", Text, nullable=False),
    Column("body", LargeBinary, nullable=False),
)

forecasts = Table(
    "forecasts",
    metadata,
    Column("id", _Number, primary_key=True),
    Column("provider", Text, nullable=False),
    Column("url", Text, nullable=False),
    Column("etag", Text),
    Column("last_modified", Text),
    Column("expires_at", Double),
    Column("fetched_at", Double, nullable=False),
    Column("checked_at", Double, nullable=False),
    Column("day", Integer, nullable=False),
    Column("body", LargeBinary, nullable=False),
    Column("issued_at", Double),
    Column("notes", Text),
    Index("forecasts_by_time", "provider", "fetched_at"),
)

claims = Table(
    "claims",
    metadata,
    Column("job", Text, primary_key=True),
    Column("slot", Text, primary_key=True),
    Column("until", Double, nullable=False),
    Column("done", Double),
)

entries = Table(
    "entries",
    metadata,
    Column("id", _Number, primary_key=True),
    Column("uuid", Text, nullable=False),
    Column("revision", Integer, nullable=False),
    Column("key", Text, nullable=False, unique=True),
    Column("job", Text, nullable=False),
    Column("kind", Text, nullable=False),
    Column("surface", Text, nullable=False),
    Column("started_at", Double, nullable=False),
    Column("finished_at", Double, nullable=False),
    Column("operator", Text, nullable=False),
    Column("notes", Text, nullable=False),
    Column("document", Text, nullable=False),
    Column("written_at", Double, nullable=False),
    Column("withdrawn", Boolean, nullable=False),
    Column("reason", Text, nullable=False),
    UniqueConstraint("uuid", "revision", name="entries_uuid_revision"),
    Index("entries_by_time", "started_at"),
)

warnings = Table(
    "warnings",
    metadata,
    Column("id", Text, primary_key=True),
    Column("kind", Text, nullable=False),
    Column("surface", Text, nullable=False),
    Column("state", Text, nullable=False),
    Column("level", Text, nullable=False),
    Column("document", Text, nullable=False),
    Column("first_at", Double, nullable=False),
    Column("changed_at", Double, nullable=False),
    Column("change", Integer, nullable=False),
)

outbox = Table(
    "outbox",
    metadata,
    Column("id", _Number, primary_key=True),
    Column("warning_id", Text, nullable=False),
    Column("change", Integer, nullable=False),
    Column("output", Text, nullable=False),
    Column("body", Text, nullable=False),
    Column("closes", Boolean, nullable=False),
    Column("state", Text, nullable=False),
    Column("due_at", Double, nullable=False),
    Column("taken_until", Double),
    Column("tries", Integer, nullable=False),
    Column("sent_at", Double),
    Column("note", Text, nullable=False),
    UniqueConstraint("warning_id", "change", "output", name="outbox_once"),
    Index("outbox_by_due", "state", "due_at"),
)
