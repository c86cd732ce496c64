"""Words and keys that every room shares. Loads nothing, so that a reading command stays quick."""

from __future__ import annotations

from datetime import date, datetime
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
