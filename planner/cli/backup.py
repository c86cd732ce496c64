"""The commands backup and restore: all that a store holds, in one file and back."""

from __future__ import annotations

from datetime import UTC, datetime
from pathlib import Path
from typing import TYPE_CHECKING

import click

from planner.cli.options import CONFIG
from planner.config.light import find, kept_at
from planner.terms import short_date

if TYPE_CHECKING:
    from planner.store.backup import Contents


@click.command()
@click.argument("file", type=click.Path(path_type=Path))
@CONFIG
def backup(file: Path, config: str | None) -> None:
    """All that the store holds into one FILE, while the service runs; an older backup there is replaced."""
    from planner.store.backup import write_backup

    made = write_backup(kept_at(find(config)).url, file, datetime.now(UTC))
    click.echo(f"{file} written. {_rows(made)}")


@click.command()
@click.argument("file", type=click.Path(path_type=Path))
@click.option("--overwrite", is_flag=True, help="In place of what the store holds; that is then gone.")
@CONFIG
def restore(file: Path, overwrite: bool, config: str | None) -> None:
    """A backup FILE back into the store of the site file. Stop the service first."""
    from planner.store.restore import restore_backup

    made = restore_backup(kept_at(find(config)).url, file, datetime.now(UTC), overwrite=overwrite)
    at = made.made_at.astimezone(UTC)
    click.echo(f"{file} of {short_date(at)} {at:%Y %H:%M} UTC restored. {_rows(made)}")


def _rows(made: Contents) -> str:
    from planner.store.restore import rows_held

    return f"Rows: {rows_held({name: held.rows for name, held in made.tables.items()})}."
