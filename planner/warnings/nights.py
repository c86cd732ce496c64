"""What a night or a day is called, the same in every warning."""

from __future__ import annotations

import re
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


#: The words of `night_name` and `day_name` for the days near now, each with its days ahead.
_NIGHTS = {"this morning": -1, "tonight": 0, "tomorrow night": 1}
_DAYS = {"today": 0, "tomorrow": 1}
#: How far ahead a night is looked for that has come near.
_AHEAD_D = 16


def turned(text: str, then: datetime, now: datetime, zone: ZoneInfo) -> str:
    """A text of `then` as it reads `now`: at the site's midnight tomorrow night becomes tonight, and so on."""
    said_on, today = then.astimezone(zone).date(), now.astimezone(zone).date()
    if said_on == today:
        return text
    names = {
        word: night_name(said_on + timedelta(days=ahead), now, zone) for word, ahead in _NIGHTS.items()
    } | {word: day_name(said_on + timedelta(days=ahead), now, zone) for word, ahead in _DAYS.items()}
    for ahead in range(2, _AHEAD_D):
        evening = said_on + timedelta(days=ahead)
        names[night_name(evening, then, zone)] = night_name(evening, now, zone)
    # The longest first, so that tomorrow night is not read as tomorrow.
    words = sorted(names, key=len, reverse=True)
    return re.sub(rf"\b({'|'.join(map(re.escape, words))})\b", lambda found: names[found[0]], text)
