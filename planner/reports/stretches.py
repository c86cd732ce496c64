"""How the hours of a window differ: which of them are only just, which have room."""

from __future__ import annotations

from datetime import datetime

from planner.reports.rows import WindowRow
from planner.terms import STATE_WORDS, first_up, short_date

_WITH_ROOM, _ONLY_JUST = STATE_WORDS["steady"], STATE_WORDS["narrow"]


def stretches(row: WindowRow) -> str:
    """`only just until 14:00, with room 14:00–17:00`; empty where all of the window is of one state.

    For work begun in those hours. Moments are on the clock of the row; another day than that of the start is named.
    """
    if row.steady_from is None or row.steady_until is None:
        return ""
    begins_late = row.steady_from > row.start
    # From the latest start on there is nothing to begin: then it has room to the end of the work.
    ends_soon = row.steady_until <= row.latest_start
    if not begins_late and not ends_soon:
        return ""
    until = row.steady_until if ends_soon else row.end
    first, last = _at(row.steady_from, row.start), _at(until, row.steady_from)
    parts = [f"{_ONLY_JUST} until {first}"] if begins_late else []
    parts.append(f"{_WITH_ROOM} {first}–{last}")
    if ends_soon:
        parts.append(f"then {_ONLY_JUST}")
    return ", ".join(parts)


def as_sentence(row: WindowRow) -> str:
    """The same as a sentence of its own, `Only just until 14:00, with room 14:00–17:00.`; else empty."""
    says = stretches(row)
    return f"{first_up(says)}." if says else ""


def _at(moment: datetime, beside: datetime) -> str:
    local = moment.astimezone(beside.tzinfo)
    day = "" if local.date() == beside.date() else f"{short_date(local)} "
    return f"{day}{local:%H:%M}"
