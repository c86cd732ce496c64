"""Rain inside the rainfast hours of a spray that is on record."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime, timedelta

import numpy as np

from planner.diary.book import Book, Work
from planner.weather import Array, HourlyWeather

#: A spray this long past is no news, even when the forecast still knows its hours.
_NEWS_DAYS = 3


@dataclass(frozen=True, slots=True, kw_only=True)
class RainOnSpray:
    """A spray on record and the rain within its rainfast hours."""

    work: Work
    material: str
    rainfast_h: float
    dry_until: datetime
    """The end of the rainfast hours."""
    rain_mm: float | None
    """Mean over members; None when an hour of them is not known."""
    fallen_mm: float | None
    """The part of it that has fallen by now; None when an hour of it is not known."""
    from_at: datetime | None
    """Start of the first hour with rain; None without."""
    chance: float | None
    """Share of members with rain above the limit; None without an ensemble."""


def rain_on_sprays(
    book: Book, weather: HourlyWeather, now: datetime, *, limit_mm: float
) -> tuple[RainOnSpray, ...]:
    """Every spray of the last days with rainfast hours, the earliest first."""
    found = []
    for work in book.works:
        lasting = [one for one in book.materials_of(work) if one.rainfast_h]
        if not lasting or not now - timedelta(days=_NEWS_DAYS) <= work.finished_at <= now:
            continue
        slowest = max(lasting, key=lambda one: one.rainfast_h or 0.0)
        hours = slowest.rainfast_h or 0.0
        until = work.finished_at + timedelta(hours=hours)
        falls = rain_between(weather, work.finished_at, until)
        totals = falls.sum(axis=1)
        known = totals[~np.isnan(totals)]
        wet = np.flatnonzero(np.nan_to_num(falls).mean(axis=0) >= 0.05)
        first = weather.index(work.finished_at)
        so_far = np.zeros(1)
        if now > work.finished_at:
            so_far = rain_between(weather, work.finished_at, min(now, until)).sum(axis=1)
        found.append(
            RainOnSpray(
                work=work,
                material=slowest.name,
                rainfast_h=hours,
                dry_until=until,
                rain_mm=float(known.mean()) if known.size and falls.shape[1] else None,
                fallen_mm=None if np.isnan(so_far).any() else float(so_far.mean()),
                from_at=max(weather.time(first + int(wet[0])), work.finished_at) if wet.size else None,
                chance=float((known > limit_mm).mean()) if known.size > 1 else None,
            )
        )
    return tuple(found)


def rain_between(weather: HourlyWeather, begin: datetime, end: datetime) -> Array:
    """Rain of each hour touched, its share within the span, shape (members, hours touched). [mm]

    NaN for hours that the weather does not hold: what is not known is not dry.
    """
    rain = weather["rain_mm"]
    first, last = weather.index(begin), weather.index(end - timedelta(microseconds=1))
    falls = np.full((rain.shape[0], last - first + 1), np.nan)
    for number, hour in enumerate(range(first, last + 1)):
        if 0 <= hour < weather.hours:
            start = weather.time(hour)
            inside = min(end, start + timedelta(hours=1)) - max(begin, start)
            falls[:, number] = rain[:, hour] * (inside / timedelta(hours=1))
    return falls
