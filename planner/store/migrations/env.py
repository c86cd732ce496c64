"""Runs the migrations on the connection that `planner.store.engine` hands over."""

from __future__ import annotations

from alembic import context

from planner.store.tables import metadata

context.configure(
    connection=context.config.attributes["connection"],
    target_metadata=metadata,
    render_as_batch=True,
)
with context.begin_transaction():
    context.run_migrations()
