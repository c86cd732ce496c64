"""Commands of the diary that look back: how work turned out, what that says, and last year's notebook."""

from __future__ import annotations

from datetime import UTC, datetime
from pathlib import Path
from typing import TYPE_CHECKING

import click

from planner.cli import options
from planner.cli.board import wrap
from planner.cli.shown import read_in
from planner.cli.writing import entry_uuid, pass_again, write
from planner.reports.shown_units import METRIC

if TYPE_CHECKING:
    from planner.actions.lessons import Lessons


@click.command()
@click.argument("entry")
@click.argument("outcome", type=click.Choice(["washed", "scorched", "held", "drifted", "no_effect"]))
@click.option("--note", default="", help="What was seen.")
@options.CONFIG
@options.AS_JSON
def outcome(entry: str, outcome: str, note: str, config: str | None, as_json: bool) -> None:
    """Write down how the work of the ENTRY turned out, once that is seen."""
    from planner.actions import record_work

    fields = {"outcome": outcome, "outcome_note": note}
    write(
        config,
        as_json,
        lambda full, store, now: record_work.edit(
            entry_uuid(entry, store), fields, full, store, now, reason="outcome"
        ),
    )


@click.command()
@options.CONFIG
@options.AS_JSON
def lessons(config: str | None, as_json: bool) -> None:
    """What outcomes say about the limits that are a guess."""
    from planner.actions.lessons import lessons as learned

    with options.open_store(config) as (full, store):
        found = learned(full, store, datetime.now(UTC))
        options.show(found, lambda: _said(found), as_json)


@click.command(name="import")
@click.argument("file", type=click.Path(dir_okay=False))
@click.option("--check", "check_only", is_flag=True, help="Only say what would be written, and every fault.")
@options.CONFIG
@options.AS_JSON
def import_(file: str, check_only: bool, config: str | None, as_json: bool) -> None:
    """Write last year's notebook, a CSV FILE, into the diary. Importing it twice adds nothing."""
    from planner.actions.notebook import import_notebook

    with options.open_store(config) as (full, store):
        now = datetime.now(UTC)
        found = import_notebook(Path(file), full, store, now, check_only=check_only)
        fresh = found["lines"] - found["there_before"]
        verb = "can be written" if check_only else "written"
        text = f"{found['lines']} lines: {fresh} {verb}, {found['there_before']} there before."
        options.show(found, lambda: text, as_json)
        if found["added"]:
            pass_again(full, store, now)


def _said(found: Lessons) -> str:
    """The lessons as text: those with something against a limit, then what could not be read.

    In metric units: it speaks of the figures of the rules files.
    """
    read_in(METRIC)
    counted = [f"{name} {count}" for name, count in found["outcomes"].items() if count]
    if not counted:
        return "No entry has an outcome yet: haysel diary outcome ENTRY washed, for one."
    lines = wrap(f"Outcomes: {', '.join(counted)}. Weather of kept forecasts, not measured.", "")
    for row in found["lessons"]:
        if row["against"]:
            lines += ["", *wrap(f"{row['job']}.{row['need']}: {row['says']}", "", "  ")]
    if not any(row["against"] for row in found["lessons"]):
        lines += ["", "They speak against no limit that is marked a guess."]
    if found["not_read"]:
        lines += ["", "Not read:"]
        for text in found["not_read"]:
            lines += wrap(text, "  ", "    ")
    return "\n".join(lines)
