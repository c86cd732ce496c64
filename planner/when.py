"""Times and days as people write them, on the site's clock."""

from __future__ import annotations

import re
from datetime import date, datetime, time, timedelta
from zoneinfo import ZoneInfo

from planner.errors import InputError

_CLOCK = re.compile(r"^(?:(?P<day>\S+)\s+)?(?P<hour>\d{1,2}):(?P<minute>\d\d)$")


def read_day(text: str, now: datetime, zone: ZoneInfo) -> date:
    """`today`, `tomorrow`, a weekday or a date."""
    today = now.astimezone(zone).date()
    word = text.strip().lower()
    if word in ("today", "tomorrow"):
        return today + timedelta(days=word == "tomorrow")
    days = ("mon", "tue", "wed", "thu", "fri", "sat", "sun")
    if word[:3] in days and (word in days or word.endswith("day")):
        return today + timedelta(days=(days.index(word[:3]) - today.weekday()) % 7)
    try:
        return date.fromisoformat(text.strip())
    except ValueError as error:
        raise InputError(
            f'"{text}" is not a day: write today, tomorrow, a weekday or a date such as {today.isoformat()}.'
        ) from error


def read_time(text: str, now: datetime, zone: ZoneInfo) -> datetime:
    """`07:30`, `tomorrow 07:30`, `thu 07:30`, or an ISO 8601 time; local where no offset is given."""
    found = _CLOCK.match(text.strip())
    if found and int(found["hour"]) < 24 and int(found["minute"]) < 60:
        day = read_day(found["day"] or "today", now, zone)
        return datetime.combine(day, time(int(found["hour"]), int(found["minute"])), tzinfo=zone)
    try:
        moment = datetime.fromisoformat(text.strip())
    except ValueError as error:
        raise InputError(
            f'"{text}" is not a time: write 07:30, tomorrow 07:30, or a date and time such as '
            f"{now.astimezone(zone):%Y-%m-%dT07:30}."
        ) from error
    return moment if moment.tzinfo is not None else moment.replace(tzinfo=zone)
