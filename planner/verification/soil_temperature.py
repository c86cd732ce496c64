"""Soil near 10 cm, daily means, at stations in Ireland and in the United States below 50 degrees north."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from dataclasses import dataclass
from datetime import date, timedelta
from functools import partial
from pathlib import Path

import numpy as np

from planner.indices.soil_temp import SOIL_TEMP, SoilTempConstants, daily_soil_temp_c, soil_terms
from planner.verification.base import Row, blocks_of, loss_gain
from planner.verification.data import column, days_since_1970, hours_since_1970, tables
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
#: Weight of an Irish day in the fit: six stations stand against fifty.
IRISH_WEIGHT = 3.0
IRELAND_DEG = 53.3
#: What the constants were fitted on.
FITTED_ON = Path(__file__).parents[2] / "fixtures" / "verification"


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
        return np.array(
            [(date(1970, 1, 1) + timedelta(days=int(day))).timetuple().tm_yday for day in self.days]
        )


def rows(folder: Path) -> list[Row]:
    """The daily soil temperature from air alone, as a pass computes it, against three simple ways."""
    found = []
    for net, data in (("ireland", "Ireland"), ("uscrn", "US stations below 50° N")):
        stations = [station for station in stations_in(folder) if station.net == net]
        if stations:
            found += _rows_of(stations, data)
    return found


def _rows_of(stations: list[Station], data: str) -> list[Row]:
    ours = partial(_each, stations, lambda one: daily_soil_temp_c(one.air_c, one.latitude_deg, one.of_year))
    # The mean of seven days is shifted by its own mean error here: nothing simple knows that beforehand.
    seven = _each(stations, lambda one: _mean_of_days(one.air_c, 7))
    truth, told = _each(stations, lambda one: one.soil_c), ours()
    rivals = {
        "air of the same day": _each(stations, lambda one: one.air_c),
        "air of seven days less its mean error": seven - np.nanmean(seven - truth),
        "one smoothing, a quarter of the gap a day": _each(stations, lambda one: _smoothed(one.air_c)),
    }
    known = ~np.isnan(truth + told + sum(rivals.values()))
    names = np.concatenate([[one.name] * one.days.size for one in stations])
    days = np.concatenate([one.days for one in stations])
    block = blocks_of(names[known], days[known] // 7)
    years = sorted({(date(1970, 1, 1) + timedelta(days=int(day))).year for day in days[known]})
    loss = np.square(told - truth)[known]
    fitted, says = _fitted(stations)
    found = []
    for baseline, rival in rivals.items():
        base = np.square(rival - truth)[known]
        gain, low, high = loss_gain(loss, base, block, root=True)
        found.append(
            Row(
                quantity="soil temperature",
                indices=("soil_temp_c",),
                data=f"{data}, 10 cm, {years[0]}" + (f" to {years[-1]}" if years[-1] > years[0] else ""),
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
                says=says,
            )
        )
    return found


def _fitted(stations: list[Station]) -> tuple[str, str]:
    """Whether these stations made the constants, and what a fit without each of them comes to at it."""
    carried = stations_in(FITTED_ON) if FITTED_ON.is_dir() else []
    if {one.name for one in stations}.isdisjoint({one.name for one in carried}):
        return "none", ""
    rmse = left_out_rmse_k(carried, stations[0].net)
    return "these", f"Each station told by a fit without it: {rmse:.2f} K."


def stations_in(folder: Path) -> list[Station]:
    """The stations of `ireland*` and `uscrn*` tables, faults of their sensors taken out."""
    made = (*_irish(folder), *_american(folder))
    return [station for station in made if (~np.isnan(station.soil_c)).sum() >= LEAST_DAYS]


def _irish(folder: Path) -> Iterator[Station]:
    hours = list(tables(folder, "ireland*hourly*", ("time", "station", "air_temp_c")))
    days = list(tables(folder, "ireland*daily*", ("date", "station", "soil_10cm_mean_c")))
    places = {
        str(name): float(latitude)
        for _, table in tables(folder, "ireland*stations*", ("station", "latitude_deg"))
        for name, latitude in zip(table["station"], column(table, "latitude_deg"), strict=True)
    }
    for _, hourly in hours:
        for name, part in hourly.groupby("station"):
            stamps = hours_since_1970(part, "time")
            for _, daily in days:
                of_station = daily[daily["station"] == name]
                if not len(of_station):
                    continue
                numbers = np.arange(stamps.min() // 24, stamps.max() // 24 + 1)
                air = _day_means(stamps // 24 - numbers[0], column(part, "air_temp_c"), numbers.size)
                soil = _laid(
                    days_since_1970(of_station, "date"), column(of_station, "soil_10cm_mean_c"), numbers
                )
                yield _station("ireland", str(name), places.get(str(name), IRELAND_DEG), numbers, air, soil)


def _american(folder: Path) -> Iterator[Station]:
    wanted = ("wban", "date_local_standard", "latitude_deg", "air_mean_c", "soil_temp_10cm_c")
    for _, table in tables(folder, "uscrn*daily*", wanted):
        for name, part in table.groupby("wban"):
            latitude = float(column(part, "latitude_deg")[0])
            if latitude >= NORTHERN_LIMIT_DEG:
                continue
            stamps = days_since_1970(part, "date_local_standard")
            numbers = np.arange(stamps.min(), stamps.max() + 1)
            air, soil = (
                _laid(stamps, column(part, key), numbers) for key in ("air_mean_c", "soil_temp_10cm_c")
            )
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


def _laid(stamps: Whole, values: Array, numbers: Whole) -> Array:
    out = np.full(numbers.size, np.nan)
    inside = (stamps >= numbers[0]) & (stamps <= numbers[-1])
    out[stamps[inside] - numbers[0]] = values[inside]
    return out


def _day_means(day: Whole, values: Array, days: int) -> Array:
    known = ~np.isnan(values)
    counts = np.bincount(day[known], minlength=days)
    sums = np.bincount(day[known], weights=values[known], minlength=days)
    return np.where(counts >= 20, sums / np.maximum(counts, 1), np.nan)


def _each(stations: list[Station], of: Callable[[Station], Array]) -> Array:
    return np.concatenate([of(station) for station in stations])


def _mean_of_days(air: Array, days: int) -> Array:
    lead = np.concatenate([np.full(days - 1, np.nan), air])
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
