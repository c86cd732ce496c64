"""The commands backup and restore: all that a store holds, in one file and back."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import UTC, datetime
from pathlib import Path
from typing import TYPE_CHECKING

import click

from planner.cli.asking import say
from planner.cli.options import CONFIG
from planner.config.light import find, folder_named, kept_at
from planner.errors import InputError
from planner.terms import short_date

if TYPE_CHECKING:
    from planner.store.backup import Contents
    from planner.store.restore import Exchange


@click.command()
@click.argument("file", type=click.Path(path_type=Path))
@CONFIG
def backup(file: Path, config: str | None) -> None:
    """All that the store holds into one FILE, while the service runs; an older backup there is replaced."""
    from planner.store.backup import write_backup

    made = write_backup(_store(config), file, datetime.now(UTC))
    click.echo(f"{file} written. {_rows(made)}")


@click.command()
@click.argument("file", type=click.Path(path_type=Path))
@click.option("--overwrite", is_flag=True, help="In place of what the store holds; that is then gone.")
@CONFIG
def restore(file: Path, overwrite: bool, config: str | None) -> None:
    """A backup FILE back into the store, of every site in it. Stop the service first."""
    from planner.store.restore import restore_backup

    made = restore_backup(_store(config), file, datetime.now(UTC), overwrite=overwrite, before=_tell)
    at = made.made_at.astimezone(UTC)
    click.echo(f"{file} of {short_date(at)} {at:%Y %H:%M} UTC restored. {_rows(made)}")


def _store(config: str | None) -> str:
    """The store of a site file, or the one that all site files of a folder share."""
    folder = folder_named(config)
    if folder is None:
        return kept_at(find(config)).url
    from planner.config.folder import site_files

    by_url: dict[str, Path] = {}
    for site in site_files(folder):
        by_url.setdefault(kept_at(site).url, site)
    if len(by_url) > 1:
        raise InputError(
            f"The sites of {folder} have {len(by_url)} stores, and a backup is of one. Name a site file of each in "
            f"turn: {', '.join(map(str, by_url.values()))}."
        )
    return next(iter(by_url))


def _tell(exchanges: Sequence[Exchange]) -> None:
    """What is put back and what is lost, before it is."""
    say(
        "The service must be stopped while this runs, on every machine that uses the store: it keeps some of what it "
        "read. What the store holds of any site gives way to what the backup holds of it; lost is what was written or "
        "changed since."
    )
    for one in exchanges:
        entries = "1 entry" if one.back == 1 else f"{one.back} entries"
        say(f"{one.site}: {entries} of the diary put back, {one.lost} lost.", "  ")


def _rows(made: Contents) -> str:
    from planner.store.restore import rows_held

    return f"Rows: {rows_held({name: held.rows for name, held in made.tables.items()})}."
