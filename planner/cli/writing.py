"""What the writing commands share: an entry by how its number begins, the write, and the pass after it."""

from __future__ import annotations

from collections.abc import Callable
from datetime import UTC, datetime
from typing import TYPE_CHECKING

import click

from planner.cli import diary_board, options
from planner.errors import InputError, PlannerError

if TYPE_CHECKING:
    from planner.config.load import Config
    from planner.diary.entry import StoredEntry
    from planner.store.store import Store


def write(
    config: str | None, as_json: bool, change: Callable[[Config, Store, datetime], StoredEntry]
) -> None:
    """Write, show what is written, and make a pass from the kept forecast, so that gaps and warnings follow.

    Messages wait for the service or the next refresh.
    """
    from planner.diary.showing import entry_row

    with options.open_store(config) as (full, store):
        now = datetime.now(UTC)
        row = entry_row(change(full, store, now), full.site.zone)
        options.show(row, lambda: diary_board.entry(row), as_json)
        pass_again(full, store, now)


def pass_again(full: Config, store: Store, now: datetime) -> None:
    """A pass from the kept forecast after a write; a fault is a note, since the write stands."""
    from planner.actions.one_pass import again

    try:
        again(full, store, now=now, sends=False)
    except PlannerError as error:
        click.echo(f"note: written down; the plan follows at the next pass ({error})", err=True)


def entry_uuid(text: str, store: Store) -> str:
    """The entry whose number begins so."""
    found = [one.uuid for one in store.entries(with_withdrawn=True) if one.uuid.startswith(text.lower())]
    if len(found) == 1 and len(text) >= 4:
        return found[0]
    if not found:
        return str(store.history(text)[0].uuid)
    raise InputError(
        f'"{text}" begins {len(found)} diary entries. Give more of its number (at least 4 letters or digits).'
    )
