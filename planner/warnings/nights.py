"""What a night or a day is called, the same in every warning."""

from __future__ import annotations

from datetime import date, datetime, timedelta
from zoneinfo import ZoneInfo

from planner.terms import short_date


def night_name(evening: date, now: datetime, zone: ZoneInfo) -> str:
    """`tonight`, `this morning` for the night that is ending, `tomorrow night`, else `in the night to Sat 9 May`.

    A night runs from noon to noon and belongs to the date of its evening.
    """
    local = now.astimezone(zone)
    ahead = (evening - local.date()).days
    if ahead == -1:
        return "this morning"
    if ahead == 0:
        return "tonight"
    return "tomorrow night" if ahead == 1 else f"in the night to {short_date(evening + timedelta(days=1))}"


def day_name(day: date, now: datetime, zone: ZoneInfo) -> str:
    """`today`, `tomorrow`, else `Sat 9 May`."""
    ahead = (day - now.astimezone(zone).date()).days
    return {0: "today", 1: "tomorrow"}.get(ahead, short_date(day))
