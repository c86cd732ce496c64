"""Water that is on record and not in the forecast: given by hose or system, or measured by a probe."""

from __future__ import annotations

from datetime import datetime

import numpy as np

from planner.diary.book import Book, Work
from planner.indices.quantities import ToldWater
from planner.site import Site, Surface
from planner.weather import HourlyWeather

#: The kind of job by which water is given.
WATERING = "watering"


def told_water(site: Site, book: Book, weather: HourlyWeather, now: datetime) -> dict[str, ToldWater]:
    """What is on record of the hours of the weather up to now, by surface; none for a surface without a record.

    Water of the hour of a probe's reading, given before it, is in that reading and does not count again.
    """
    found = {}
    for surface in site.surfaces:
        given: list[tuple[datetime, float]] = [
            (work.started_at, _given_mm(work, surface))
            for work in book.on(surface.name)
            if work.kind == WATERING
        ]
        probed: list[tuple[datetime, float]] = []
        for told in book.observations:
            if told.surface != surface.name:
                continue
            if (water_mm := told.figure("water_mm")) is not None:
                given.append((told.at, water_mm))
            if (moisture_pct := told.figure("soil_moisture_pct")) is not None:
                probed.append((told.at, moisture_pct))
        given = [(at, amount) for at, amount in given if at <= now and 0 <= weather.index(at) < weather.hours]
        probed = [(at, pct) for at, pct in probed if at <= now and 0 <= weather.index(at) < weather.hours]
        if not (given or probed):
            continue
        given_mm, probe_pct = np.zeros(weather.hours), np.full(weather.hours, np.nan)
        read_at = {weather.index(at): at for at, _ in probed}
        for at, amount in given:
            hour = weather.index(at)
            if hour not in read_at or at > read_at[hour]:
                given_mm[hour] += amount
        for at, moisture_pct in probed:
            probe_pct[weather.index(at)] = moisture_pct
        found[surface.name] = ToldWater(given_mm=given_mm, probe_pct=probe_pct)
    return found


def _given_mm(work: Work, surface: Surface) -> float:
    """Millimetres given; NaN where no amount was written down, since some water was given."""
    water_mm, water_l = work.figure("water_mm"), work.figure("water_l")
    if water_mm is not None:
        return water_mm
    return np.nan if water_l is None else water_l / (work.figure("area_m2") or surface.area_m2)
