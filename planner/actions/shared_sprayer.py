"""Where a sprayer that sites of one store share is placed by the others, and what this one tells them."""

from __future__ import annotations

from dataclasses import replace
from typing import TYPE_CHECKING

import msgspec

from planner.config.load import Config
from planner.planning.shared_sprayer import Elsewhere, SharedSprayer
from planner.planning.week import WeekOrder
from planner.reports.rows import SCHEMA, Report
from planner.store.records import Beside
from planner.terms import SPRAYING

if TYPE_CHECKING:
    from planner.store.store import Store


def part_of(sprayer: SharedSprayer) -> str:
    """The name of the part of a pass that the sites with that sprayer read of each other."""
    return f"sprayer {sprayer.name}"


def beside(config: Config, store: Store) -> tuple[SharedSprayer | None, Beside | None]:
    """The shared sprayer with what other sites do with it, and the passes that say so; None where none is shared."""
    sprayer = config.shared_sprayer
    if sprayer is None:
        return None, None
    others = store.parts_elsewhere(part_of(sprayer))
    # One of another version says in its own words where it is: it is not read, and its next pass replaces it.
    read = [
        msgspec.json.decode(part.body, type=Elsewhere) for part in others.values() if part.schema == SCHEMA
    ]
    known = Beside(part=part_of(sprayer), passes={site: part.number for site, part in others.items()})
    way_h = max([sprayer.move_h, *(other.move_h for other in read)])
    return replace(sprayer, move_h=way_h, elsewhere=tuple(read)), known


def for_others(sprayer: SharedSprayer, report: Report, week: WeekOrder) -> dict[str, bytes]:
    """The part of a pass that the other sites read."""
    rows = [row for row in (*report.week.work, *report.week.planned) if row.kind == SPRAYING]
    found = Elsewhere(
        site=report.site.name,
        taken=tuple((row.start.timestamp() / 3600.0, row.end.timestamp() / 3600.0) for row in rows),
        turns=week.turns,
        move_h=sprayer.move_h,
    )
    return {part_of(sprayer): msgspec.json.encode(found)}
