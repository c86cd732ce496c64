"""Grass minima that the keeper has read, beside what was expected of those nights: kept from pass to pass."""

from __future__ import annotations

from collections.abc import Mapping
from datetime import date, datetime, timedelta
from zoneinfo import ZoneInfo

import numpy as np

from planner.diary.book import Book
from planner.indices.quantities import ToldNights

#: Nights kept: an error older than that has all but lost its weight.
KEEP_NIGHTS = 120

#: Lowest and spread of nights by the date of the morning. [degC, K]
Expected = Mapping[date, tuple[float, float]]


def told_nights(book: Book, expected: Expected, zone: ZoneInfo, now: datetime) -> ToldNights:
    """Readings up to now by the date of the morning on the site's clock, the mean where there are several.

    A grass thermometer is read in the morning or later on the day: the reading is that of the night which ended then.
    """
    read: dict[date, list[float]] = {}
    for told in book.observations:
        lowest = told.figure("grass_min_c")
        if lowest is not None and told.at <= now:
            read.setdefault(told.at.astimezone(zone).date(), []).append(lowest)
    return ToldNights(
        read_c={morning: float(np.mean(values)) for morning, values in read.items()}, expected=expected
    )


def kept_nights(old: Expected, fresh: Expected, today: date) -> dict[date, tuple[float, float]]:
    """Nights to keep: the newest word on each, none older than `KEEP_NIGHTS`."""
    first = today - timedelta(days=KEEP_NIGHTS)
    nights = {**old, **fresh}
    return {morning: nights[morning] for morning in sorted(nights) if morning >= first}


def as_json(nights: Expected) -> dict[str, list[float]]:
    """Nights as JSON takes them: lowest and spread."""
    return {
        morning.isoformat(): [round(lowest, 2), round(spread, 2)]
        for morning, (lowest, spread) in nights.items()
    }


def from_json(rows: Mapping[str, list[float]]) -> dict[date, tuple[float, float]]:
    """Nights from their JSON form."""
    return {
        date.fromisoformat(morning): (float(lowest), float(spread))
        for morning, (lowest, spread) in rows.items()
    }
