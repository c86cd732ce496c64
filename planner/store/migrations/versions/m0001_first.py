"""The first tables; the diary can only grow."""

from __future__ import annotations

import sqlalchemy as sa
from alembic import op

revision = "0001"
down_revision = None

_NUMBER = sa.BigInteger().with_variant(sa.Integer(), "sqlite")


def upgrade() -> None:
    """Makes every table."""
    op.create_table(
        "passes",
        sa.Column("id", _NUMBER, primary_key=True),
        sa.Column("made_at", sa.Double(), nullable=False),
    )
    op.create_table(
        "answers",
        sa.Column("pass_id", _NUMBER, sa.ForeignKey("passes.id", ondelete="CASCADE"), primary_key=True),
        sa.Column("name", sa.Text(), primary_key=True),
        sa.Column("content_type", sa.Text(), nullable=False),
        sa.Column("etag", sa.Text(), nullable=False),
        sa.Column("body", sa.LargeBinary(), nullable=False),
    )
    op.create_table(
        "forecasts",
        sa.Column("id", _NUMBER, primary_key=True),
        sa.Column("provider", sa.Text(), nullable=False),
        sa.Column("url", sa.Text(), nullable=False),
        sa.Column("etag", sa.Text()),
        sa.Column("last_modified", sa.Text()),
        sa.Column("expires_at", sa.Double()),
        sa.Column("fetched_at", sa.Double(), nullable=False),
        sa.Column("checked_at", sa.Double(), nullable=False),
        sa.Column("day", sa.Integer(), nullable=False),
        sa.Column("body", sa.LargeBinary(), nullable=False),
    )
    op.create_index("forecasts_by_time", "forecasts", ["provider", "fetched_at"])
    op.create_table(
        "claims",
        sa.Column("job", sa.Text(), primary_key=True),
        sa.Column("slot", sa.Text(), primary_key=True),
        sa.Column("until", sa.Double(), nullable=False),
        sa.Column("done", sa.Double()),
    )
    op.create_table(
        "entries",
        sa.Column("id", _NUMBER, primary_key=True),
        sa.Column("uuid", sa.Text(), nullable=False),
        sa.Column("revision", sa.Integer(), nullable=False),
        sa.Column("key", sa.Text(), nullable=False, unique=True),
        sa.Column("job", sa.Text(), nullable=False),
        sa.Column("kind", sa.Text(), nullable=False),
        sa.Column("surface", sa.Text(), nullable=False),
        sa.Column("started_at", sa.Double(), nullable=False),
        sa.Column("finished_at", sa.Double(), nullable=False),
        sa.Column("operator", sa.Text(), nullable=False),
        sa.Column("notes", sa.Text(), nullable=False),
        sa.Column("document", sa.Text(), nullable=False),
        sa.Column("written_at", sa.Double(), nullable=False),
        sa.Column("withdrawn", sa.Boolean(), nullable=False),
        sa.Column("reason", sa.Text(), nullable=False),
        sa.UniqueConstraint("uuid", "revision", name="entries_uuid_revision"),
    )
    op.create_index("entries_by_time", "entries", ["started_at"])
    op.create_table(
        "warnings",
        sa.Column("id", sa.Text(), primary_key=True),
        sa.Column("kind", sa.Text(), nullable=False),
        sa.Column("surface", sa.Text(), nullable=False),
        sa.Column("state", sa.Text(), nullable=False),
        sa.Column("level", sa.Text(), nullable=False),
        sa.Column("document", sa.Text(), nullable=False),
        sa.Column("first_at", sa.Double(), nullable=False),
        sa.Column("changed_at", sa.Double(), nullable=False),
        sa.Column("change", sa.Integer(), nullable=False),
    )
    op.create_table(
        "outbox",
        sa.Column("id", _NUMBER, primary_key=True),
        sa.Column("warning_id", sa.Text(), nullable=False),
        sa.Column("change", sa.Integer(), nullable=False),
        sa.Column("output", sa.Text(), nullable=False),
        sa.Column("body", sa.Text(), nullable=False),
        sa.Column("closes", sa.Boolean(), nullable=False),
        sa.Column("state", sa.Text(), nullable=False),
        sa.Column("due_at", sa.Double(), nullable=False),
        sa.Column("taken_until", sa.Double()),
        sa.Column("tries", sa.Integer(), nullable=False),
        sa.Column("sent_at", sa.Double()),
        sa.Column("note", sa.Text(), nullable=False),
        sa.UniqueConstraint("warning_id", "change", "output", name="outbox_once"),
    )
    op.create_index("outbox_by_due", "outbox", ["state", "due_at"])
    _only_grows()


def _only_grows() -> None:
    """The database itself refuses to change or drop a diary entry, whatever program asks."""
    if op.get_bind().dialect.name == "sqlite":
        for act in ("update", "delete"):
            op.execute(
                f"create trigger entries_no_{act} before {act} on entries "
                "begin select raise(abort, 'the diary only grows'); end"
            )
        return
    op.execute(
        "create function entries_only_grow() returns trigger language plpgsql as "
        "$$ begin raise exception 'the diary only grows'; end $$"
    )
    op.execute(
        "create trigger entries_only_grow before update or delete on entries "
        "for each row execute function entries_only_grow()"
    )


def downgrade() -> None:
    """Takes every table away again; refused where there is a diary."""
    if op.get_bind().execute(sa.text("select 1 from entries limit 1")).first() is not None:
        raise RuntimeError(
            "The first migration is not undone, because that would drop the diary. Use a backup."
        )
    for table in ("outbox", "warnings", "entries", "claims", "forecasts", "answers", "passes"):
        op.drop_table(table)
    if op.get_bind().dialect.name != "sqlite":
        op.execute("drop function entries_only_grow()")
