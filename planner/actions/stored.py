"""The report of the newest stored pass, read back. Loads no database library where the store is a file."""

from __future__ import annotations

from typing import TYPE_CHECKING

from planner.errors import NoPassYet, OtherSchema
from planner.reports.answers import decode_report, decode_workings
from planner.reports.rows import SCHEMA, Report
from planner.reports.workings import Workings

if TYPE_CHECKING:
    from planner.config.light import Kept
    from planner.store.store import Store

#: Names of the parts of a pass.
REPORT, WORKINGS = "report", "workings"


def stored_pass(store: Store) -> tuple[Report, Workings] | None:
    """Report and workings of the newest pass; None when there is none, OtherSchema for one of another version."""
    newest = store.newest_pass()
    if newest is None:
        return None
    parts = {part.name: part.body for part in store.parts(SCHEMA)}
    if REPORT not in parts or WORKINGS not in parts:
        raise other_schema(newest.schema)
    return decode_report(parts[REPORT]), decode_workings(parts[WORKINGS])


def stored_part(kept: Kept, name: str) -> bytes:
    """A part of the newest pass of a site file. NoPassYet when there is none, OtherSchema for one of another
    version."""
    from planner.store.reading import newest_pass, read_part

    found = read_part(kept.url, name, site=kept.site, place=kept.place, schema=SCHEMA)
    if found is not None:
        return found.body
    newest = newest_pass(kept.url, kept.site, kept.place)
    if newest is not None:
        raise other_schema(newest.schema)
    raise NoPassYet(
        "No pass is stored yet for this site and place. Run `haysel refresh` (or `haysel serve`), or hand in a "
        "forecast with --forecast FILE."
    )


def other_schema(schema: int) -> OtherSchema:
    """Says that the stored report is of another version."""
    return OtherSchema(
        f"The stored report is of schema {schema}, made by another version of Haysel; this one reads schema "
        f"{SCHEMA}. It is left as it is, and the next pass replaces it: run `haysel refresh`, or wait for the service."
    )
