"""A book made of a few entries, and a timeline of steady days."""

from __future__ import annotations

from datetime import UTC, date, datetime, timedelta
from typing import Any

from planner.config.load import Config
from planner.diary.book import Book, book_of
from planner.diary.entry import Entry
from planner.diary.timeline import Timeline, timeline_of
from planner.indices.past import Day
from tests.made import config, weather

NOW = datetime(2026, 5, 20, 12, tzinfo=UTC)
H = timedelta(hours=1)
D = timedelta(days=1)


def entry(job: str, kind: str, surface: str, ended: datetime, **document: Any) -> Entry:
    return Entry(job=job, kind=kind, surface=surface, started_at=ended, finished_at=ended, document=document)


def book(*entries: Entry, found: Config | None = None) -> Book:
    known = found or config()
    return book_of(
        site=known.site,
        grasses=known.grasses,
        materials=known.materials,
        entries=[(f"e{number}", one) for number, one in enumerate(entries)],
        done=known.done,
        sowings=known.sowings,
    )


def steady(air_c: float = 20.0, days_back: int = 60, soil_c: float = 20.0) -> Timeline:
    """Steady days from days_back before NOW to five days after it; the forecast begins three days before."""
    hours = weather((NOW - 3 * D).replace(hour=0), 24 * 8, air_temp_c=air_c, soil_temp_6cm_c=soil_c)
    old = {
        NOW.date() - number * D: Day(air_c=air_c, soil_c=soil_c, rain_mm=0.0, hours=24)
        for number in range(days_back, 0, -1)
    }
    first: date = NOW.date() - days_back * D
    assert first in old
    return timeline_of(old, hours, config().site.zone)
