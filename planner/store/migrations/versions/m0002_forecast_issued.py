"""What a second call gives about a forecast: when its run came out, and what was odd about it."""

from __future__ import annotations

import sqlalchemy as sa
from alembic import op

revision = "0002"
down_revision = "0001"


def upgrade() -> None:
    """Adds two columns; forecasts kept before have neither."""
    op.add_column("forecasts", sa.Column("issued_at", sa.Double()))
    op.add_column("forecasts", sa.Column("notes", sa.Text()))


def downgrade() -> None:
    """Takes the two columns away again."""
    op.drop_column("forecasts", "notes")
    op.drop_column("forecasts", "issued_at")
