"""Readings: water given, and what was measured. A table beside the diary that only grows, as the diary does."""

from __future__ import annotations

import sqlalchemy as sa
from alembic import op

revision = "0004"
down_revision = "0003"


def upgrade() -> None:
    """Adds the table, and what keeps a row in it from being changed or dropped."""
    op.create_table(
        "observations",
        sa.Column("id", sa.BigInteger().with_variant(sa.Integer(), "sqlite"), primary_key=True),
        sa.Column("site", sa.Text(), nullable=False, server_default="main"),
        sa.Column("uuid", sa.Text(), nullable=False),
        sa.Column("revision", sa.Integer(), nullable=False),
        sa.Column("surface", sa.Text(), nullable=False),
        sa.Column("at", sa.Double(), nullable=False),
        sa.Column("document", sa.Text(), nullable=False),
        sa.Column("note", sa.Text(), nullable=False),
        sa.Column("written_at", sa.Double(), nullable=False),
        sa.Column("withdrawn", sa.Boolean(), nullable=False),
        sa.Column("reason", sa.Text(), nullable=False),
        sa.UniqueConstraint("site", "uuid", "revision", name="observations_uuid_revision"),
    )
    op.create_index("observations_by_time", "observations", ["site", "at"])
    if op.get_bind().dialect.name == "sqlite":
        for act in ("update", "delete"):
            op.execute(
                f"create trigger observations_no_{act} before {act} on observations "
                "begin select raise(abort, 'readings only grow'); end"
            )
        return
    op.execute(
        "create function observations_only_grow() returns trigger language plpgsql as "
        "$$ begin raise exception 'readings only grow'; end $$"
    )
    op.execute(
        "create trigger observations_only_grow before update or delete on observations "
        "for each row execute function observations_only_grow()"
    )


def downgrade() -> None:
    """Takes the table away again; refused where it holds a reading."""
    if op.get_bind().execute(sa.text("select 1 from observations limit 1")).first() is not None:
        raise RuntimeError("The store holds readings, which the form before cannot. Use a backup.")
    op.drop_table("observations")
    if op.get_bind().dialect.name != "sqlite":
        op.execute("drop function observations_only_grow()")
