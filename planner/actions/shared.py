"""Where a sprayer or keeper that sites of one store share is placed by the others, and what this one tells them."""

from __future__ import annotations

from dataclasses import replace
from datetime import datetime, timedelta
from typing import TYPE_CHECKING

import msgspec

from planner.config.load import Config
from planner.planning.shared import Elsewhere, Shared
from planner.planning.week import WeekOrder
from planner.reports.rows import SCHEMA, Report
from planner.site import WorkDone
from planner.store.records import Beside
from planner.terms import PLAY, SPRAYING

if TYPE_CHECKING:
    from planner.store.store import Store

#: A site that has made no pass for so long holds and misses no hour any more: it was renamed, or taken away.
_HEARD_WITHIN = timedelta(days=1)


def part_of(shared: Shared) -> str:
    """The name of the part of a pass that the sites which share it read of each other."""
    return f"{'keeper' if shared.is_keeper else 'sprayer'} {shared.name}"


def beside(config: Config, store: Store, now: datetime) -> tuple[Shared | None, Beside | None]:
    """What is shared, with what other sites do with it, and the passes that say so; None where nothing is."""
    shared = config.shared
    if shared is None:
        return None, None
    others = store.parts_elsewhere(part_of(shared))
    # One of another version says in its own words where it is: it is not read, and its next pass replaces it.
    read = [
        msgspec.json.decode(part.body, type=Elsewhere)
        for part in others.values()
        if part.schema == SCHEMA and now - part.made_at < _HEARD_WITHIN
    ]
    known = Beside(part=part_of(shared), passes={site: part.number for site, part in others.items()})
    way_h = max([shared.move_h, *(other.move_h for other in read)])
    return replace(shared, move_h=way_h, elsewhere=tuple(read)), known


def for_others(
    shared: Shared, report: Report, week: WeekOrder, store: Store, done: tuple[WorkDone, ...]
) -> dict[str, bytes]:
    """The part of a pass that the other sites read."""
    takes = {SPRAYING} if not shared.is_keeper else None
    rows = [
        row
        for row in (*report.week.work, *report.week.planned)
        if row.kind != PLAY and (takes is None or row.kind in takes)
    ]
    placed = {(row.start.timestamp() / 3600.0, row.end.timestamp() / 3600.0) for row in rows}
    found = Elsewhere(
        site=report.site.name,
        taken=tuple(sorted(placed | _under_way(shared, report.made_at, store, done, takes))),
        missed=week.missed,
        move_h=shared.move_h,
    )
    return {part_of(shared): msgspec.json.encode(found)}


def _under_way(
    shared: Shared, now: datetime, store: Store, done: tuple[WorkDone, ...], takes: set[str] | None
) -> set[tuple[float, float]]:
    """Work that has begun, or ended so lately that nobody can be on the next site yet: placed by the pass before
    this one, or written down."""
    now_h = now.timestamp() / 3600.0
    before = store.part(part_of(shared), SCHEMA)
    spans = set() if before is None else set(msgspec.json.decode(before.body, type=Elsewhere).taken)
    spans |= {(work.at.timestamp() / 3600.0,) * 2 for work in done if takes is None or work.kind in takes}
    return {span for span in spans if span[0] <= now_h < span[1] + shared.move_h}
