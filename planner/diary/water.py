"""Water that is on record and not in the forecast: given by hose or system, or measured by a probe."""

from __future__ import annotations

from collections.abc import Iterable
from datetime import date, datetime, time, timedelta
from zoneinfo import ZoneInfo

import numpy as np

from planner.diary.book import Book, Work
from planner.indices.quantities import ToldWater
from planner.site import Site, Surface
from planner.weather import HourlyWeather

#: The kind of job by which water is given.
WATERING = "watering"

Amounts = list[tuple[datetime, float]]


def told_water(site: Site, book: Book, weather: HourlyWeather, now: datetime) -> dict[str, ToldWater]:
    """What is on record of the hours of the weather up to now and of the days before, by surface; none for a surface
    without a record.

    Water of the hour of a probe's reading, or before the first hour of its day, given before it, is in that reading and
    does not count again.
    """
    found = {}
    for surface in site.surfaces:
        given = [
            (work.started_at, _given_mm(work, surface))
            for work in book.on(surface.name)
            if work.kind == WATERING
        ]
        probed: Amounts = []
        for told in book.observations:
            if told.surface != surface.name:
                continue
            if (water_mm := told.figure("water_mm")) is not None:
                given.append((told.at, water_mm))
            if (moisture_pct := told.figure("soil_moisture_pct")) is not None:
                probed.append((told.at, moisture_pct))
        given, probed = ([(at, amount) for at, amount in part if at <= now] for part in (given, probed))
        if not (given or probed):
            continue
        given_mm, probe_pct = _in_hours(given, probed, weather)
        given_before, probed_before = _before(given, probed, weather.start, site.zone)
        found[surface.name] = ToldWater(
            given_mm=given_mm, probe_pct=probe_pct, given_before=given_before, probed_before=probed_before
        )
    return found


def _in_hours(given: Amounts, probed: Amounts, weather: HourlyWeather) -> tuple[np.ndarray, np.ndarray]:
    given_mm, probe_pct = np.zeros(weather.hours), np.full(weather.hours, np.nan)
    read_at = {}
    for at, moisture_pct in _within(probed, weather):
        read_at[weather.index(at)] = at
        probe_pct[weather.index(at)] = moisture_pct
    for at, amount in _within(given, weather):
        hour = weather.index(at)
        if hour not in read_at or at > read_at[hour]:
            given_mm[hour] += amount
    return given_mm, probe_pct


def _within(amounts: Amounts, weather: HourlyWeather) -> Iterable[tuple[datetime, float]]:
    return ((at, amount) for at, amount in amounts if 0 <= weather.index(at) < weather.hours)


def _before(
    given: Amounts, probed: Amounts, start: datetime, zone: ZoneInfo
) -> tuple[dict[date, float], dict[date, tuple[float, float]]]:
    """Water of each local day before the first hour, and its last reading with the share of the day left after it."""
    readings: dict[date, tuple[float, float]] = {}
    read_at: dict[date, datetime] = {}
    for at, moisture_pct in sorted(probed):
        if at < start:
            day = at.astimezone(zone).date()
            end = datetime.combine(day + timedelta(days=1), time(0), zone)
            readings[day] = (moisture_pct, (end - at) / timedelta(days=1))
            read_at[day] = at
    amounts: dict[date, float] = {}
    for at, amount in given:
        day = at.astimezone(zone).date()
        if at < start and (day not in read_at or at > read_at[day]):
            amounts[day] = amounts.get(day, 0.0) + amount
    return amounts, readings


def _given_mm(work: Work, surface: Surface) -> float:
    """Millimetres given; NaN where no amount was written down, since some water was given."""
    water_mm, water_l = work.figure("water_mm"), work.figure("water_l")
    if water_mm is not None:
        return water_mm
    return np.nan if water_l is None else water_l / (work.figure("area_m2") or surface.area_m2)
