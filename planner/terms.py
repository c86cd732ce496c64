"""Words and keys that every room shares. Loads nothing, so that a reading command stays quick."""

from __future__ import annotations

import re
from datetime import UTC, date, datetime, timedelta
from typing import Any
from zoneinfo import ZoneInfo

from planner.errors import InputError

#: The four kinds of job that every keeper has; any other word is allowed as well.
KINDS_OF_JOB = ("spraying", "seeding", "fertilising", "mowing")
SPRAYING = KINDS_OF_JOB[0]
#: A play day, as gaps between jobs name it.
PLAY = "play"
#: The same, on the surfaces beside the one that is played on.
PLAY_NEARBY = "play_nearby"
#: Needs that only say when such work is done at all: no reason for a lost day, and nothing to draw.
CALENDAR_NEEDS = ("light", "allowed_hours", "clock", "season", "keeper_hours")
#: Days of the week as they are written in files and commands, in the order of `date.weekday`.
WEEKDAYS = ("mon", "tue", "wed", "thu", "fri", "sat", "sun")

#: The longest name or time that anybody may send, the longest reason of a change, and the longest note. [signs]
LONGEST_NAME, LONGEST_REASON, LONGEST_NOTE = 200, 2000, 10_000
#: What a text may hold that a store is to keep.
PLAIN_TEXT = r"^[^\x00]*$"
_DECIMAL_COMMA = re.compile(r"[-+]?\d*,\d{1,2}")
_CLOCK = "([01]?[0-9]|2[0-3]):[0-5][0-9]$"
#: Years well within those that are read in every zone, and no leap second.
_MOMENT = r"^(19[1-9]|2[0-8][0-9])[0-9]-[0-9-]{5}T[0-9]{2}:[0-9]{2}:[0-5][0-9](\.[0-9]{1,6})?(Z|[+-][0-9]{2}:[0-9]{2})$"


def day_schema(*words: str) -> dict[str, Any]:
    """A day as people write it, for a JSON Schema: these words, a weekday, a date, or nothing."""
    return {
        "anyOf": [
            {"type": "string", "enum": ["", *words, *WEEKDAYS]},
            {"type": "string", "format": "date", "pattern": "^(19[1-9]|2[0-8])"},
            {"type": "null"},
        ]
    }


def time_schema(*words: str, may_be_empty: bool = False) -> dict[str, Any]:
    """A moment as people write it, for a JSON Schema: 07:30, the same after one of these words or a weekday, or
    ISO 8601 with an offset.
    """
    spoken = "|".join((*words, *WEEKDAYS))
    found: list[dict[str, Any]] = [
        {"type": "string", "pattern": f"^(({spoken}) )?{_CLOCK}"},
        {"type": "string", "format": "date-time", "pattern": _MOMENT},
    ]
    return {"anyOf": [*found, {"type": "string", "const": ""}] if may_be_empty else found}


#: How the packages of the extras are installed: from the lock, never by a name that a registry may give to another.
EXTRAS_COMMAND = "pip install --require-hashes -r .requirements-extras.lock"

#: The five states of an hour or window as people read them.
STATE_WORDS = {
    "steady": "with room",
    "narrow": "only just",
    "broken": "fails after",
    "barred": "not now",
    "unread": "not known",
}
#: One line for work whose product is bound by a label. It stands wherever such work is named.
LABEL_CAUTION = "Label first: licence, buffer strip, re-entry time; measure wind on the spot."


def place_of(latitude_deg: float, longitude_deg: float, timezone: str) -> str:
    """A place as one text: to about a kilometre, with the zone its days are counted in."""
    return f"{latitude_deg:.2f},{longitude_deg:.2f},{timezone}"


def in_words(name: str) -> str:
    """A name of the rules file as it is read: `root fungicide`."""
    return name.replace("_", " ")


def slug(text: str) -> str:
    """The text as a piece of a topic: small letters, digits and underscores."""
    return re.sub(r"[^a-z0-9]+", "_", text.lower()).strip("_") or "x"


def first_up(text: str) -> str:
    """The text with its first letter a capital, as a sentence or a row begins."""
    return text[:1].upper() + text[1:]


def counted(number: int, noun: str) -> str:
    """A number of things: `1 surface`, `3 surfaces`."""
    return f"{number} {noun}{'' if number == 1 else 's'}"


def with_point(number: str) -> str:
    """A number as people write it, its decimal comma turned into a point.

    A comma before three digits stays, and so makes no number of it: in `1,000` it parts thousands for some and
    decimals for others.
    """
    return number.replace(",", ".") if _DECIMAL_COMMA.fullmatch(number) else number


def short_date(day: date) -> str:
    """A date as it is said everywhere: `Sat 9 May`."""
    return f"{day:%a} {day.day} {day:%b}"


def short_time(moment: datetime, zone: ZoneInfo) -> str:
    """A moment as it is said where the day must be told: `Sat 9 May 14:00`, on the clock of the zone."""
    local = moment.astimezone(zone)
    return f"{short_date(local.date())} {local:%H:%M}"


def in_utc(moment: datetime) -> str:
    """A moment of the record, where it is written as text: ISO 8601 in UTC with a Z."""
    return moment.astimezone(UTC).isoformat().replace("+00:00", "Z")


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


def require_aware(moment: datetime, what: str) -> datetime:
    """The moment itself, refused without an offset from UTC, and near the ends of the calendar."""
    if moment.tzinfo is None or moment.utcoffset() is None:
        raise InputError(
            f"{what} is {moment.isoformat()}, which has no zone: write an offset or Z behind it."
        )
    # Further out a moment can be written that cannot be read back.
    if not 1900 <= moment.year < 3000:
        raise InputError(f"{what} is {moment.isoformat()}; a moment from 1900 to 2999 is wanted.")
    return moment
