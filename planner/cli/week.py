"""haysel week: the week's work in order."""

from __future__ import annotations

from datetime import datetime
from typing import Any

import click

from planner import board
from planner.cli.options import Source, answer, reading, show
from planner.freshness import as_of
from planner.words import BESIDE_A_SPRAY, job_on


@click.command()
@reading
def week(config: str | None, forecast: str | None, now: str | None, as_json: bool) -> None:
    """The week's work in order: what is wanted and due, each job in its hour."""
    source = Source(config, forecast, now)
    found = answer("week", source)
    if forecast is None:
        found = as_of(found, source.clock)
    show(found, lambda: board.together([board.head(found), week_text(found), board.credit(found)]), as_json)


def week_text(found: dict[str, Any]) -> list[str]:
    """The week in lines, day by day."""
    lines = [found["says"]]
    day = ""
    rows = [*found["work"], *found.get("planned", [])]
    for row in sorted(rows, key=lambda row: datetime.fromisoformat(row["start"])):
        start, end = datetime.fromisoformat(row["start"]), datetime.fromisoformat(row["end"])
        if f"{start:%a %d %b}" != day:
            day = f"{start:%a %d %b}"
            lines += ["", day]
        job = job_on(row["label"], row["surface"])
        lines += board.wrap(f"{start:%H:%M}-{end:%H:%M}  {job}", "  ", "    ")
        if "limiting" not in row:
            lines += board.wrap("Planned by you.", "    ")
            continue
        because = f"{row['because'][:1].upper()}{row['because'][1:]}. " if row["because"] else ""
        lines += board.wrap(because + row["limiting"]["says"], "    ")
        if row["kind"] == "spraying":
            lines += board.wrap(BESIDE_A_SPRAY, "    ")
    if found["left"]:
        lines += ["", "Without an hour"]
        for row in found["left"]:
            lines += board.wrap(f"- {job_on(row['label'], row['surface'])}: {row['says']}", "  ", "    ")
    if rows or found["left"]:
        how = f"No more than {found['hours_a_day']:g} hours of work in a day; {found['method']}."
        lines += ["", *board.wrap(how, "")]
    return lines
