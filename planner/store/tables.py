"""The tables. The migrations make them; a test holds the two together.

`site` is the key of the site a row belongs to. `place` is what makes weather that of a place: latitude,
longitude and time zone, empty where a row is older than the column.
"""

from __future__ import annotations

import sqlalchemy as sa

#: The newest migration. Compared with the version row at start, so that alembic is loaded only when needed.
HEAD = "0005"
#: Tables of earlier migrations that are no more.
FORMER = ("answers",)
#: Level 1: a quarter of the size in 4 ms; a higher level takes ten times as long for a quarter less.
ZLIB_LEVEL = 1

metadata = sa.MetaData()

#: SQLite numbers rows by itself only in a column declared INTEGER.
_Number = sa.BigInteger().with_variant(sa.Integer, "sqlite")

passes = sa.Table(
    "passes",
    metadata,
    sa.Column("id", _Number, primary_key=True),
    sa.Column("made_at", sa.Double, nullable=False),
    sa.Column("site", sa.Text, nullable=False, server_default="main"),
    sa.Column("place", sa.Text, nullable=False, server_default=""),
    sa.Column("schema", sa.Integer, nullable=False, server_default="0"),
    sa.Column("stale_at", sa.Double),
    sa.Index("passes_by_place", "site", "place", "id"),
)

#: What a pass left, each part compressed. The store knows nothing of what is inside.
parts = sa.Table(
    "parts",
    metadata,
    sa.Column("pass_id", _Number, sa.ForeignKey("passes.id", ondelete="CASCADE"), primary_key=True),
    sa.Column("name", sa.Text, primary_key=True),
    sa.Column("body", sa.LargeBinary, nullable=False),
)

forecasts = sa.Table(
    "forecasts",
    metadata,
    sa.Column("id", _Number, primary_key=True),
    sa.Column("provider", sa.Text, nullable=False),
    sa.Column("url", sa.Text, nullable=False),
    sa.Column("etag", sa.Text),
    sa.Column("last_modified", sa.Text),
    sa.Column("expires_at", sa.Double),
    sa.Column("fetched_at", sa.Double, nullable=False),
    sa.Column("checked_at", sa.Double, nullable=False),
    sa.Column("day", sa.Integer, nullable=False),
    sa.Column("body", sa.LargeBinary, nullable=False),
    sa.Column("issued_at", sa.Double),
    sa.Column("notes", sa.Text),
    sa.Column("site", sa.Text, nullable=False, server_default="main"),
    sa.Column("place", sa.Text, nullable=False, server_default=""),
    sa.Index("forecasts_by_time", "site", "place", "provider", "fetched_at"),
)

claims = sa.Table(
    "claims",
    metadata,
    sa.Column("site", sa.Text, primary_key=True, server_default="main"),
    sa.Column("job", sa.Text, primary_key=True),
    sa.Column("slot", sa.Text, primary_key=True),
    sa.Column("until", sa.Double, nullable=False),
    sa.Column("done", sa.Double),
)

#: The instances of the service that live, and until when without another word; `sites` names which sites they have.
instances = sa.Table(
    "instances",
    metadata,
    sa.Column("id", sa.Text, primary_key=True),
    sa.Column("sites", sa.Text, nullable=False),
    sa.Column("until", sa.Double, nullable=False),
)

#: Which of them works for which site.
leases = sa.Table(
    "leases",
    metadata,
    sa.Column("site", sa.Text, primary_key=True),
    sa.Column("instance", sa.Text, nullable=False),
)

entries = sa.Table(
    "entries",
    metadata,
    sa.Column("id", _Number, primary_key=True),
    sa.Column("uuid", sa.Text, nullable=False),
    sa.Column("revision", sa.Integer, nullable=False),
    sa.Column("key", sa.Text, nullable=False),
    sa.Column("job", sa.Text, nullable=False),
    sa.Column("kind", sa.Text, nullable=False),
    sa.Column("surface", sa.Text, nullable=False),
    sa.Column("started_at", sa.Double, nullable=False),
    sa.Column("finished_at", sa.Double, nullable=False),
    sa.Column("operator", sa.Text, nullable=False),
    sa.Column("notes", sa.Text, nullable=False),
    sa.Column("document", sa.Text, nullable=False),
    sa.Column("written_at", sa.Double, nullable=False),
    sa.Column("withdrawn", sa.Boolean, nullable=False),
    sa.Column("reason", sa.Text, nullable=False),
    sa.Column("site", sa.Text, nullable=False, server_default="main"),
    sa.UniqueConstraint("site", "key", name="entries_key"),
    sa.UniqueConstraint("site", "uuid", "revision", name="entries_uuid_revision"),
    sa.Index("entries_by_time", "site", "started_at"),
)

#: Readings. A second revision is a withdrawal.
observations = sa.Table(
    "observations",
    metadata,
    sa.Column("id", _Number, primary_key=True),
    sa.Column("site", sa.Text, nullable=False, server_default="main"),
    sa.Column("uuid", sa.Text, nullable=False),
    sa.Column("revision", sa.Integer, nullable=False),
    sa.Column("surface", sa.Text, nullable=False),
    sa.Column("at", sa.Double, nullable=False),
    sa.Column("document", sa.Text, nullable=False),
    sa.Column("note", sa.Text, nullable=False),
    sa.Column("written_at", sa.Double, nullable=False),
    sa.Column("withdrawn", sa.Boolean, nullable=False),
    sa.Column("reason", sa.Text, nullable=False),
    sa.UniqueConstraint("site", "uuid", "revision", name="observations_uuid_revision"),
    sa.Index("observations_by_time", "site", "at"),
)

warnings = sa.Table(
    "warnings",
    metadata,
    sa.Column("site", sa.Text, primary_key=True, server_default="main"),
    sa.Column("id", sa.Text, primary_key=True),
    sa.Column("kind", sa.Text, nullable=False),
    sa.Column("surface", sa.Text, nullable=False),
    sa.Column("state", sa.Text, nullable=False),
    sa.Column("level", sa.Text, nullable=False),
    sa.Column("document", sa.Text, nullable=False),
    sa.Column("first_at", sa.Double, nullable=False),
    sa.Column("changed_at", sa.Double, nullable=False),
    sa.Column("change", sa.Integer, nullable=False),
)

outbox = sa.Table(
    "outbox",
    metadata,
    sa.Column("id", _Number, primary_key=True),
    sa.Column("warning_id", sa.Text, nullable=False),
    sa.Column("change", sa.Integer, nullable=False),
    sa.Column("output", sa.Text, nullable=False),
    sa.Column("body", sa.Text, nullable=False),
    sa.Column("closes", sa.Boolean, nullable=False),
    sa.Column("state", sa.Text, nullable=False),
    sa.Column("due_at", sa.Double, nullable=False),
    sa.Column("taken_until", sa.Double),
    sa.Column("tries", sa.Integer, nullable=False),
    sa.Column("sent_at", sa.Double),
    sa.Column("note", sa.Text, nullable=False),
    sa.Column("site", sa.Text, nullable=False, server_default="main"),
    sa.UniqueConstraint("site", "warning_id", "change", "output", name="outbox_once"),
    sa.Index("outbox_by_due", "site", "state", "due_at"),
)
