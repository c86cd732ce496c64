"""haysel week: the week's work in order."""

from __future__ import annotations

from datetime import datetime
from typing import Any

import click

from planner import board
from planner.cli.options import Source, answer, reading, show
from planner.freshness import as_of


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
    for row in found["work"]:
        start, end = datetime.fromisoformat(row["start"]), datetime.fromisoformat(row["end"])
        if f"{start:%a %d %b}" != day:
            day = f"{start:%a %d %b}"
            lines += ["", day]
        lines += board.wrap(f"{start:%H:%M}-{end:%H:%M}  {row['label']}, {row['surface']}", "  ", "    ")
        because = f"{row['because'][:1].upper()}{row['because'][1:]}. " if row["because"] else ""
        lines += board.wrap(because + row["limiting"]["says"], "    ")
    if found["left"]:
        lines += ["", "Without an hour"]
        for row in found["left"]:
            lines += board.wrap(f"- {row['label']}, {row['surface']}: {row['says']}", "  ", "    ")
    lines += ["", *board.wrap(f"{found['hours_a_day']:g} h of work a day; {found['method']}.", "")]
    return lines
