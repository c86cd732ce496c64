"""Words and keys that every room shares. Loads nothing, so that a reading command stays quick."""

from __future__ import annotations

from datetime import UTC, date, datetime
from typing import Any
from zoneinfo import ZoneInfo

#: The four kinds of job that every keeper has; any other word is allowed as well.
KINDS_OF_JOB = ("spraying", "seeding", "fertilising", "mowing")
SPRAYING = KINDS_OF_JOB[0]
#: A play day, as gaps between jobs name it.
PLAY = "play"
#: The same, on the surfaces beside the one that is played on.
PLAY_NEARBY = "play_nearby"
#: Days of the week as they are written in files and commands, in the order of `date.weekday`.
WEEKDAYS = ("mon", "tue", "wed", "thu", "fri", "sat", "sun")

#: What a text may hold that a store is to keep.
PLAIN_TEXT = r"^[^\x00]*$"
_CLOCK = "([01]?[0-9]|2[0-3]):[0-5][0-9]$"
#: Years and seconds as they are read: no year beyond these, no leap second.
_MOMENT = (
    r"^(19|2[0-9])[0-9]{2}-[0-9-]{5}T[0-9]{2}:[0-9]{2}:[0-5][0-9](\.[0-9]{1,6})?(Z|[+-][0-9]{2}:[0-9]{2})$"
)


def day_schema(*words: str) -> dict[str, Any]:
    """A day as people write it, for a JSON Schema: these words, a weekday, a date, or nothing."""
    return {
        "anyOf": [
            {"type": "string", "enum": ["", *words, *WEEKDAYS]},
            {"type": "string", "format": "date", "pattern": "^(19|2[0-9])"},
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
