"""Soil near 10 cm, daily means, at stations in Ireland and in the United States below 50 degrees north.

The daily means are those of UTC days in Ireland and of local standard days in the United States. They are told by the
function that a pass uses where no soil is forecast, from the air of that day and of all days before it; a pass that
has kept its days for four months knows as much. Rows of three days tell what it has when nothing was kept.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator
from dataclasses import dataclass
from functools import partial
from pathlib import Path

import numpy as np

from planner.indices.soil_temp import SOIL_TEMP, SoilTempConstants, daily_soil_temp_c, soil_terms
from planner.verification.base import BLOCK_DAYS, Row, blocks_of, loss_gain
from planner.verification.data import (
    CARRIED,
    IRISH_DAYS,
    IRISH_HOURS,
    IRISH_PLACES,
    US_DAYS,
    column,
    days_since_1970,
    grid_of,
    hours_since_1970,
    laid,
    merged,
    years_of,
)
from planner.weather import Array, Mask, Whole

#: Turf as it is meant here does not grow beyond. [deg]
NORTHERN_LIMIT_DEG = 50.0
#: A reading outside this range, or farther than this from the air of its day, is a fault of the sensor. [degC, K]
PLAUSIBLE_C = (-20.0, 50.0)
FARTHEST_K = 25.0
#: A reading that stays the same to the last digit for so many days is a sensor that stands still.
STUCK_DAYS = 10
#: Days that a station must have.
LEAST_DAYS = 60
#: Days that a pass fetches before the one it tells.
PAST_DAYS = 3
#: Hours of a day that must be known for its mean.
LEAST_HOURS = 20
#: Weight of an Irish day in the fit: six stations stand against fifty.
IRISH_WEIGHT = 3.0
IRELAND_DEG = 53.3
#: From so many stations on whole stations are drawn for the interval; of fewer, weeks of a station.
MANY_STATIONS = 20


@dataclass(frozen=True, slots=True, kw_only=True)
class Station:
    """Consecutive days of a station; NaN where not known."""

    net: str
    name: str
    latitude_deg: float
    days: Whole
    air_c: Array
    soil_c: Array

    @property
    def of_year(self) -> Whole:
        """Day of the year of each day, shape (days,)."""
        return day_of_year(self.days)


def day_of_year(days: Whole) -> Whole:
    """Day of the year, from 1, of days since 1970."""
    dates = days.astype("datetime64[D]")
    return np.asarray((dates - dates.astype("datetime64[Y]")).astype(np.int64) + 1)


def rows(folder: Path) -> list[Row]:
    """The daily soil temperature from air alone, with all days before it and with three, against simple ways."""
    found = []
    stations = stations_in(folder)
    carried = stations_in(CARRIED) if stations else []
    had_part = {one.name for one in carried}
    for net, data in (("ireland", "Ireland"), ("uscrn", "US stations below 50° N")):
        for fitted in ("these", "none"):
            part = [
                one for one in stations if one.net == net and (one.name in had_part) is (fitted == "these")
            ]
            if part:
                says = ""
                if fitted == "these":
                    rmse = left_out_rmse_k(carried, net)
                    says = f"The stations of the fit, each told by a fit without it: {rmse:.2f} K."
                found += _rows_of(part, data, fitted, says)
    return found


def _rows_of(stations: list[Station], data: str, fitted: str, says: str) -> list[Row]:
    truth, air = (_each(stations, of) for of in (lambda one: one.soil_c, lambda one: one.air_c))
    told = _each(stations, lambda one: daily_soil_temp_c(one.air_c, one.latitude_deg, one.of_year))
    short = _each(stations, told_from_few_days)
    # A mean is shifted by its own mean error here: nothing simple knows that beforehand.
    seven, four = (
        _less_mean_error(_each(stations, partial(_mean_of_days, days=days)), truth)
        for days in (7, PAST_DAYS + 1)
    )
    smoothed = _each(stations, lambda one: _smoothed(one.air_c))
    known = ~np.isnan(truth + told + short + air + seven + four + smoothed)
    if not known.any():
        return []
    names = np.concatenate([[one.name] * one.days.size for one in stations])[known]
    days = np.concatenate([one.days for one in stations])[known]
    many = len(stations) >= MANY_STATIONS
    block = blocks_of(names) if many else blocks_of(names, days // BLOCK_DAYS)
    place = f"{data}, 10 cm, {years_of(days)}"
    kept_none = f"{place}, from the day and three before"
    week, same = "air of seven days less its mean error", "air of the same day"
    found = []
    for where, own, baseline, rival in (
        (place, told, same, air),
        (place, told, week, seven),
        (place, told, "one smoothing, a quarter of the gap a day", smoothed),
        (kept_none, short, same, air),
        (kept_none, short, "air of these four days less its mean error", four),
        (kept_none, short, week, seven),
    ):
        loss, base = np.square(own - truth)[known], np.square(rival - truth)[known]
        gain, low, high = loss_gain(loss, base, block, root=True)
        found.append(
            Row(
                quantity="soil temperature",
                indices=("soil_temp_c",),
                data=where,
                measure="rmse",
                unit="K",
                cases=int(known.sum()),
                of="days",
                score=float(np.sqrt(loss.mean())),
                baseline=baseline,
                baseline_score=float(np.sqrt(base.mean())),
                gain=gain,
                gain_low=low,
                gain_high=high,
                fitted=fitted,
                says=says if own is told else "Nothing kept from days before: a place on its first day.",
            )
        )
    return found


def told_from_few_days(station: Station, days: int = PAST_DAYS + 1) -> Array:
    """The soil of each day from the air of so many days up to it, and of none before. [degC]"""
    lead = np.concatenate([np.full(days - 1, np.nan), station.air_c])
    windows = np.lib.stride_tricks.sliding_window_view(lead, days)
    # The sun of the last day counts alone, so one number serves each window.
    return daily_soil_temp_c(windows, station.latitude_deg, station.of_year[:, None])[:, -1]


def _less_mean_error(told: Array, truth: Array) -> Array:
    error = told - truth
    known = ~np.isnan(error)
    return told - (error[known].mean() if known.any() else np.nan)


def stations_in(folder: Path) -> list[Station]:
    """The stations of `ireland*` and `uscrn*` tables, faults of their sensors taken out."""
    made = (*_irish(folder), *_american(folder))
    return [station for station in made if (~np.isnan(station.soil_c)).sum() >= LEAST_DAYS]


def _irish(folder: Path) -> Iterator[Station]:
    hours, days, listed = (merged(folder, kind) for kind in (IRISH_HOURS, IRISH_DAYS, IRISH_PLACES))
    places = dict(zip(listed["station"], column(listed, "latitude_deg").tolist(), strict=True))
    for name, hourly in hours.groupby("station"):
        daily = days[days["station"] == name]
        if not len(daily):
            continue
        stamps = hours_since_1970(hourly, "time")
        every = grid_of(stamps)
        air = laid(stamps, column(hourly, "air_temp_c"), every)
        numbers = grid_of(every // 24)
        soil = laid(days_since_1970(daily, "date"), column(daily, "soil_10cm_mean_c"), numbers)
        means = _day_means(every // 24 - numbers[0], air, numbers.size)
        yield _station("ireland", str(name), places.get(str(name), IRELAND_DEG), numbers, means, soil)


def _american(folder: Path) -> Iterator[Station]:
    for name, part in merged(folder, US_DAYS).groupby("wban"):
        latitude = float(column(part, "latitude_deg")[0])
        # A latitude that is not known is not one below the limit.
        if not latitude < NORTHERN_LIMIT_DEG:
            continue
        stamps = days_since_1970(part, "date_local_standard")
        numbers = grid_of(stamps)
        air, soil = (laid(stamps, column(part, key), numbers) for key in ("air_mean_c", "soil_temp_10cm_c"))
        yield _station("uscrn", str(name), latitude, numbers, air, soil)


def _station(net: str, name: str, latitude: float, days: Whole, air: Array, soil: Array) -> Station:
    clean = np.where(_is_sound(soil, air), soil, np.nan)
    return Station(net=net, name=name, latitude_deg=latitude, days=days, air_c=air, soil_c=clean)


def _is_sound(soil: Array, air: Array) -> Mask:
    inside = (soil >= PLAUSIBLE_C[0]) & (soil <= PLAUSIBLE_C[1])
    near = ~(np.abs(soil - air) > FARTHEST_K)
    turns = np.concatenate([[True], soil[1:] != soil[:-1]])
    run = np.cumsum(turns)
    return np.asarray(inside & near & (np.bincount(run)[run] < STUCK_DAYS))


def _day_means(day: Whole, values: Array, days: int) -> Array:
    known = ~np.isnan(values)
    counts = np.bincount(day[known], minlength=days)
    sums = np.bincount(day[known], weights=values[known], minlength=days)
    return np.where(counts >= LEAST_HOURS, sums / np.maximum(counts, 1), np.nan)


def _each(stations: list[Station], of: Callable[[Station], Array]) -> Array:
    return np.concatenate([of(station) for station in stations])


def _mean_of_days(station: Station, days: int) -> Array:
    lead = np.concatenate([np.full(days - 1, np.nan), station.air_c])
    windows = np.lib.stride_tricks.sliding_window_view(lead, days)
    known = ~np.isnan(windows)
    count = known.sum(axis=1)
    return np.where(count > 0, np.where(known, windows, 0.0).sum(axis=1) / np.maximum(count, 1), np.nan)


def _smoothed(air: Array) -> Array:
    """What was computed before: the air smoothed by a quarter of the gap a day."""
    out, state = np.empty_like(air), float(np.nanmean(air[:1])) if not np.isnan(air[0]) else np.nan
    for day, value in enumerate(air):
        if not np.isnan(value):
            state = value if np.isnan(state) else state + 0.25 * (value - state)
        out[day] = state
    return out


def fitted_soil(stations: list[Station], constants: SoilTempConstants = SOIL_TEMP) -> Array:
    """Offset, near, season and sun by least squares on the stations, the three time constants as given."""
    tops, sides = zip(*(_normal(station, constants) for station in stations), strict=True)
    return np.asarray(np.linalg.solve(sum(tops), sum(sides)))


def left_out_rmse_k(stations: list[Station], net: str, constants: SoilTempConstants = SOIL_TEMP) -> float:
    """Root mean square error at the stations of a net, each told by a fit on all the others. [K]"""
    normal = [_normal(station, constants) for station in stations]
    top, side = sum(one for one, _ in normal), sum(one for _, one in normal)
    losses = []
    for station, (own_top, own_side) in zip(stations, normal, strict=True):
        if station.net == net:
            terms, soil = _known_terms(station, constants)
            losses.append(np.square(terms @ np.linalg.solve(top - own_top, side - own_side) - soil))
    return float(np.sqrt(np.concatenate(losses).mean()))


def _normal(station: Station, constants: SoilTempConstants) -> tuple[Array, Array]:
    terms, soil = _known_terms(station, constants)
    weight = IRISH_WEIGHT if station.net == "ireland" else 1.0
    return weight * terms.T @ terms, weight * terms.T @ soil


def _known_terms(station: Station, constants: SoilTempConstants) -> tuple[Array, Array]:
    parts = soil_terms(station.air_c, station.latitude_deg, station.of_year, constants=constants)
    terms = np.stack([np.ones(station.days.size), *parts], axis=1)
    known = ~np.isnan(terms.sum(axis=1) + station.soil_c)
    return terms[known], station.soil_c[known]
