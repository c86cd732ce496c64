"""Hours as a service lists them: labels in seconds since 1970 UTC, end-of-hour values on the hour's own row,
the longer steps a list was made from, and pressure brought from sea level to the site.
"""

from __future__ import annotations

from calendar import timegm
from datetime import datetime

import numpy as np
from numpy.typing import NDArray

from planner.errors import ForecastMalformed
from planner.weather import HOUR_S, Array

#: Lapse rate of the standard atmosphere, K/m, and g M / (R L): constants of ISO 2533, from memory.
LAPSE_K_PER_M = 0.0065
EXPONENT = 5.2559
#: Amounts are rounded to 0.1 mm: a single block of equal drizzle proves nothing.
_DRIZZLE_MM = 0.15
_SAME_MM = 1e-6
#: 1850-01-01 and 2200-01-01: what lies outside is not weather.
FIRST_LABEL_S, LAST_LABEL_S = -3_786_825_600, 7_258_118_400

Labels = NDArray[np.int64]


def epoch_labels(times: object, *, declared: str, utc_offset_s: object, who: str) -> Labels:
    """Labels in seconds since 1970 UTC from a list of Unix times or of local times without a zone.

    One offset holds for the whole list, as the service labels it, clock changes or not. An offset that is not
    of whole hours is refused: such lists carry each value up to 45 minutes from its true hour.
    """
    if not isinstance(times, list) or not times:
        raise ForecastMalformed(f"The answer of {who} has no list of times.")
    if not isinstance(utc_offset_s, int) or isinstance(utc_offset_s, bool):
        raise ForecastMalformed(
            f"The answer of {who} gives the offset from UTC as {utc_offset_s!r}: seconds were expected."
        )
    if utc_offset_s % HOUR_S:
        raise ForecastMalformed(
            f"The answer of {who} is in a zone {utc_offset_s / HOUR_S:+g} h from UTC. In zones that are "
            "not whole hours "
            "away the service labels each value up to 45 minutes from its true hour: ask with timezone=GMT."
        )
    if declared == "unixtime":
        if not all(isinstance(moment, int) and not isinstance(moment, bool) for moment in times):
            raise ForecastMalformed(
                f"The times of {who} are declared unixtime but are not all whole numbers."
            )
        return _credible(np.asarray(times, dtype=np.int64), who)
    if declared == "iso8601":
        local = np.asarray([_iso_s(text, who) for text in times], dtype=np.int64)
        return _credible(local - utc_offset_s, who)
    raise ForecastMalformed(f'The times of {who} are declared "{declared}"; known are unixtime and iso8601.')


def _credible(labels: Labels, who: str) -> Labels:
    outside = labels[(labels < FIRST_LABEL_S) | (labels > LAST_LABEL_S)]
    if outside.size:
        raise ForecastMalformed(
            f"A time of {who} is {int(outside[0])} s from 1970, which is not between 1850 and 2200: "
            "whole seconds were expected."
        )
    return labels


def _iso_s(text: object, who: str) -> int:
    try:
        moment = datetime.fromisoformat(str(text))
    except (TypeError, ValueError):
        raise ForecastMalformed(f"A time of {who} is {text!r}: YYYY-MM-DDTHH:MM was expected.") from None
    if moment.tzinfo is not None:
        raise ForecastMalformed(
            f"A time of {who} is {text!r}: it has a zone, and the list has an offset of its own."
        )
    return timegm(moment.timetuple())


def from_hour_end(values: Array, labels: Labels) -> Array:
    """Values labelled at the END of their hour, on the row of that hour; shape (..., hours) kept.

    The row labelled t takes the value labelled one hour later; where that label is not listed, it is unknown.
    """
    shifted = np.full(values.shape, np.nan)
    follows = np.flatnonzero(np.diff(labels) == HOUR_S)
    shifted[..., follows] = values[..., follows + 1]
    return shifted


def native_step_h(epoch_s: Labels, rain_mm: Array) -> Array:
    """Native step of each hour, 1, 3 or 6, shape (hours,), judged from the rain, shape (members, hours).

    Beyond a few days a model gives three- or six-hourly sums; a service that lists them hourly splits each sum
    into equal parts. Such hours are known only as a block. A list turns to a longer step once and stays there:
    from the first wet block of equal hours on, if every block after it is equal too. Blocks are counted from
    00:00 UTC. Two wet blocks are asked for, or one that is more than drizzle.
    """
    steps = np.ones(epoch_s.size)
    hour_of_epoch = np.asarray(epoch_s) // HOUR_S
    for step in (3, 6):
        start = _first_block_hour(hour_of_epoch, np.atleast_2d(rain_mm), step)
        if start is not None:
            steps[hour_of_epoch >= start] = step
    return steps


def _first_block_hour(hour_of_epoch: Labels, rain_mm: Array, step: int) -> int | None:
    blocks = hour_of_epoch // step
    edges = np.flatnonzero(np.diff(blocks, prepend=blocks[0] - 1))
    known = np.isfinite(rain_mm)
    high = np.maximum.reduceat(np.where(known, rain_mm, -np.inf), edges, axis=-1)
    low = np.minimum.reduceat(np.where(known, rain_mm, np.inf), edges, axis=-1)
    count = np.add.reduceat(known.astype(np.int64), edges, axis=-1)
    mixed = ((high - low > _SAME_MM) & (count > 0)).any(axis=0)
    broken = np.flatnonzero(mixed)
    first = int(broken[-1]) + 1 if broken.size else 0
    # A block the list only touches at its edge is equal by want of hours; it is no evidence.
    wet = (high > 0) & (count == step)
    wet[:, :first] = False
    evidence = np.flatnonzero(wet.any(axis=0))
    if evidence.size == 0 or (evidence.size == 1 and float(high[:, evidence].max()) <= _DRIZZLE_MM):
        return None
    return int(blocks[edges[evidence[0]]]) * step


def blank_rain_beyond_reach(columns: dict[str, Array]) -> list[str]:
    """Set rain to unknown where it reads 0 and the model gives no temperature; say in how many hours."""
    temp, rain = columns.get("air_temp_c"), columns.get("rain_mm")
    if temp is None or rain is None:
        return []
    empty = np.isnan(temp) & (rain == 0.0)
    if not empty.any():
        return []
    columns["rain_mm"] = np.where(empty, np.nan, rain)
    return [
        f"{int(empty.sum())} hours read 0 mm of rain but have no temperature: their rain is taken as unknown"
    ]


def pressure_at_site_hpa(sea_level_hpa: Array, air_temp_c: Array, elevation_m: float) -> Array:
    """Pressure at `elevation_m`, hPa, from sea-level pressure and the air temperature at the site.

    The hypsometric equation with a standard lapse of 6.5 K/km below the site. NaN where either is unknown.
    """
    kelvin = air_temp_c + 273.15
    below = LAPSE_K_PER_M * elevation_m
    with np.errstate(all="ignore"):
        return np.asarray(sea_level_hpa * (1.0 - below / (kelvin + below)) ** EXPONENT, dtype=np.float64)
