"""Leases: which instance of the service works for which site. Tables of the moment: nothing in them need be kept."""

from __future__ import annotations

import sqlalchemy as sa
from alembic import op

revision = "0005"
down_revision = "0004"


def upgrade() -> None:
    """Adds the two tables."""
    op.create_table(
        "instances",
        sa.Column("id", sa.Text(), primary_key=True),
        sa.Column("sites", sa.Text(), nullable=False),
        sa.Column("until", sa.Double(), nullable=False),
    )
    op.create_table(
        "leases",
        sa.Column("site", sa.Text(), primary_key=True),
        sa.Column("instance", sa.Text(), nullable=False),
    )


def downgrade() -> None:
    """Takes them away again."""
    op.drop_table("leases")
    op.drop_table("instances")
