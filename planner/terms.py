"""Words and keys that every room shares. Loads nothing, so that a reading command stays quick."""

from __future__ import annotations

#: The four kinds of job that every keeper has; any other word is allowed as well.
KINDS_OF_JOB = ("spraying", "seeding", "fertilising", "mowing")
SPRAYING = KINDS_OF_JOB[0]
#: A play day, as gaps between jobs name it.
PLAY = "play"
#: Days of the week as they are written in files and commands, in the order of `date.weekday`.
WEEKDAYS = ("mon", "tue", "wed", "thu", "fri", "sat", "sun")


def place_of(latitude_deg: float, longitude_deg: float, timezone: str) -> str:
    """A place as one text: to about a kilometre, with the zone its days are counted in."""
    return f"{latitude_deg:.2f},{longitude_deg:.2f},{timezone}"
