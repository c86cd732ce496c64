"""Ground frost: the chance a pass tells, against measured grass minima of Irish hours and of daily means of De Bilt."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path
from typing import Any

import numpy as np
import pandas as pd

from planner.indices import INDEX
from planner.indices.frost import frost_chance
from planner.indices.grass_min import (
    HourlyGrass,
    daily_ground_frost_chance,
    grass_spread_k,
    grass_temp_c,
)
from planner.indices.humidity import saturation_vapour_pressure_hpa, vapour_pressure_hpa
from planner.indices.quantities import Quantities
from planner.indices.surface_temp import surface_temp_c
from planner.site import Site
from planner.verification.base import Row, bins_of, blocks_of, brier, loss_gain
from planner.verification.data import column, days_since_1970, hours_since_1970, tables
from planner.verification.evening import fit_radiation_frost
from planner.verification.grass_fit import Days, Nights, fitted_daily, fitted_hourly
from planner.weather import HOUR_S, Array, HourlyWeather, Mask, Whole, within

#: Stations that had a part in the shipped calibration; they are judged left out in turn.
FITTED_ON = frozenset(
    ("ATHENRY", "CLAREMORRIS", "DUNSANY", "MACE HEAD", "MOORE PARK", "MULLINGAR", "VALENTIA OBSERVATORY")
)
#: Years of De Bilt that had a part in it; each decade is judged by the other.
FITTED_YEARS = (1980, 1999)
#: A station without a place on record is taken for the middle of the country: only the sun asks.
_MIDDLE = (53.3, -7.8)
_NIGHT_H = 25
_QUANTITY = "ground frost"
#: Mean and spread of grass less air minimum where there is nothing else to fit them to: De Bilt 1980 to 1999.
_AIR_DE_BILT = (-1.86, 1.36)


def rows(folder: Path) -> list[Row]:
    """Rows of the stations with hours, and of the record of daily means."""
    return [*_of_stations(folder), *_of_days(folder)]


def nights(folder: Path) -> tuple[Nights | None, list[str]]:
    """Nights of all stations of the folder that have hours and a grass minimum, and the stations' names."""
    places = {
        str(row["station"]): (float(row["latitude_deg"]), float(row["longitude_deg"]))
        for _, table in tables(folder, "ireland*stations*", ("station", "latitude_deg", "longitude_deg"))
        for _, row in table.iterrows()
    }
    read: dict[str, dict[int, float]] = {}
    for _, table in tables(folder, "ireland*daily*", ("date", "station", "grass_min_09utc_to_09utc_c")):
        days, lowest = days_since_1970(table, "date"), column(table, "grass_min_09utc_to_09utc_c")
        for station, day, value in zip(table["station"], days.tolist(), lowest.tolist(), strict=True):
            if not np.isnan(value):
                read.setdefault(str(station), {})[day] = value
    found: list[Nights] = []
    names: list[str] = []
    for _, table in tables(folder, "ireland*hourly*", ("time", "station", "air_temp_c", "rel_humidity_pct")):
        for name, part in table.groupby("station"):
            station = str(name)
            if station in read and station not in names:
                hours = measured(part, *places.get(station, _MIDDLE), station)
                found.append(_nights_of(hours, read[station], len(names)))
                names.append(station)
    if not found:
        return None, []
    whole: dict[str, Any] = {
        field: np.concatenate([getattr(part, field) for part in found]) for field in Nights.__slots__
    }
    return Nights(**whole), names


def measured(part: pd.DataFrame, latitude_deg: float, longitude_deg: float, name: str) -> Quantities:
    """Quantities of the sky over measured hours of one station; all of them are past, and none is a model's."""
    names = ("air_temp_c", "rel_humidity_pct", "wind_10m_ms", "wind_dir_deg")
    columns = {one: column(part, one) for one in names}
    # The rain stands at the end of its hour.
    columns["rain_mm"] = np.append(column(part, "rain_hour_before_mm")[1:], np.nan)
    columns["cloud_pct"] = column(part, "cloud_inferred_pct")
    columns["pressure_hpa"] = column(part, "pressure_station_hpa")
    weather = HourlyWeather.from_columns(epoch_s=hours_since_1970(part, "time") * HOUR_S, columns=columns)
    site = Site(
        name=name,
        latitude_deg=latitude_deg,
        longitude_deg=longitude_deg,
        elevation_m=0.0,
        timezone="Europe/Dublin",
    )
    return Quantities(weather, site, INDEX, now=weather.end, constants={"past_spread_k": 0.0})


def _nights_of(q: Quantities, read: dict[int, float], station: int) -> Nights:
    bounds = [*q.nights.first_hour, q.weather.hours]
    names = ("air_temp_c", "surface_temp_c", "wind_10m_ms", "sun_altitude_deg", "dew_point_c")
    columns = [q[name][0] for name in names]
    chance = q["frost_chance_ground"][0]
    kept: list[tuple[int, int, float, float]] = []
    hours: list[Array] = []
    for number, evening in enumerate(q.nights.dates):
        begin, end = bounds[number], bounds[number + 1]
        morning = (evening - type(evening)(1970, 1, 1)).days + 1
        stack = np.stack([one[begin:end] for one in columns])
        if morning not in read or end - begin < _NIGHT_H - 2 or np.isnan(stack).any():
            continue
        padded = np.full((len(columns), _NIGHT_H), np.nan)
        padded[:, : end - begin] = stack
        hours.append(padded)
        kept.append((morning, evening.month, read[morning], float(chance[begin])))
    laid = np.array(hours).reshape(-1, len(columns), _NIGHT_H)
    told = np.array(kept, dtype=np.float64).reshape(-1, 4)
    return Nights(
        station=np.full(len(kept), station, dtype=np.int64),
        day=told[:, 0].astype(np.int64),
        month=told[:, 1].astype(np.int64),
        grass_min_c=told[:, 2],
        air_c=laid[:, 0],
        surface_c=laid[:, 1],
        wind_ms=laid[:, 2],
        sun_deg=laid[:, 3],
        dew_c=laid[:, 4],
        chance=told[:, 3],
    )


def days(folder: Path) -> Days | None:
    """Days of De Bilt with all that the daily calibration reads."""
    columns = ("date", "air_temp_min_c", "air_temp_mean_c", "grass_min_10cm_c", "wind_mean_ms", "cloud_okta")
    found: dict[str, list[Array]] = {}
    for _, table in tables(folder, "debilt*daily*", columns):
        low, mean, grass, wind = (column(table, name) for name in columns[1:5])
        # Nine eighths: the sky could not be seen.
        cloud = within(np.minimum(column(table, "cloud_okta") / 8.0, 1.0), 0.0, 1.0)
        # Vapour of the day's mean stays through the night, up to saturation.
        vapour = vapour_pressure_hpa(mean, column(table, "rel_humidity_mean_pct"))
        humidity = np.minimum(100.0 * vapour / saturation_vapour_pressure_hpa(low), 100.0)
        pressure = column(table, "pressure_msl_hpa")
        surface = surface_temp_c(low, humidity, wind, cloud, mean, np.nan_to_num(pressure, nan=1013.25))
        number = days_since_1970(table, "date")
        dates = pd.to_datetime(table["date"].astype(str))
        known = ~np.isnan(low + mean + grass + wind + cloud)
        parts = {
            "day": number,
            "month": dates.dt.month.to_numpy(),
            "year": dates.dt.year.to_numpy(),
            "grass_min_c": grass,
            "air_min_c": low,
            "air_mean_c": mean,
            "wind_ms": wind,
            "cloud": cloud,
            "surface_c": surface,
        }
        for name, part in parts.items():
            found.setdefault(name, []).append(np.asarray(part)[known])
    whole: dict[str, Any] = {name: np.concatenate(parts) for name, parts in found.items()}
    return Days(**whole) if found else None


def chance_of(nights: Nights, calibration: HourlyGrass) -> Array:
    """The chance of each night under another calibration, as the pipeline makes it, shape (nights,)."""
    grass = grass_temp_c(
        nights.surface_c, nights.air_c, nights.wind_ms, nights.sun_deg, calibration=calibration
    )
    spread = grass_spread_k(nights.wind_ms, calibration=calibration)
    return np.asarray(np.nanmax(frost_chance(np.minimum(grass, 40.0), spread), axis=1))


def _of_stations(folder: Path) -> list[Row]:
    found, names = nights(folder)
    if found is None:
        return []
    of_days = days(folder)
    in_fit = np.array([name in FITTED_ON for name in names])[found.station]
    learned = None if of_days is None else of_days.cut(_in_years(of_days))
    chance, fitted = found.chance.copy(), "none"
    if learned is not None and learned.day.size and np.unique(found.station[in_fit]).size > 1:
        fitted = "left out in turn"
        for station in np.unique(found.station[in_fit]):
            here = found.station == station
            chance[here] = chance_of(found.cut(here), fitted_hourly(found.cut(in_fit & ~here), learned))
    elif in_fit.any():
        fitted = "these"
    happened = found.grass_min_c < 0.0
    several = len(names) > 1
    groups: Whole = found.station

    air = _left_out(groups, several, lambda fit: _of_error(found.grass_min_c - found.air_min_c, fit))
    by_air = frost_chance(found.air_min_c + air[:, 0], air[:, 1])
    by_month = _left_out(groups, several, lambda fit: _of_month(found.month, happened, fit))[:, 0]
    evening = _left_out(groups, several, lambda fit: _of_evening(found, fit))
    by_evening = frost_chance(evening[:, 0], evening[:, 1])
    place = f"{len(names)} Irish stations" if several else names[0].title()
    years = np.unique((found.day.astype("datetime64[D]").astype("datetime64[Y]").astype(int)) + 1970)
    return [
        _row(
            f"{place}, {_span(years)}, hours",
            chance,
            happened,
            (name, base),
            blocks_of(found.day // 7),
            fitted,
            "nights",
        )
        for name, base in (
            ("air minimum less a constant", by_air),
            ("regression on the evening", by_evening),
            ("share of the month", by_month),
        )
    ]


def _of_days(folder: Path) -> list[Row]:
    found = days(folder)
    if found is None:
        return []
    happened = found.grass_min_c < 0.0
    in_fit = _in_years(found)
    made: list[Row] = []
    for part, fitted in ((in_fit, "left out in turn"), (~in_fit, "none")):
        if not part.any():
            continue
        here = found.cut(part)
        # The other decade where these years had a part in the fit; else the years that had.
        decade = here.year // 10 if fitted != "none" else np.zeros(here.year.size, dtype=np.int64)
        chance, by_air, by_month = (np.empty(here.day.size) for _ in range(3))
        for number in np.unique(decade):
            judged = decade == number
            fit = found.cut(in_fit & (found.year // 10 != number)) if fitted != "none" else found.cut(in_fit)
            inputs = (here.air_min_c, here.air_mean_c, here.wind_ms, here.cloud)
            if fitted != "none" and fit.day.size:
                shares = daily_ground_frost_chance(*inputs, calibration=fitted_daily(fit))
            else:
                shares = daily_ground_frost_chance(*inputs)
            mean, spread = _error_or(fit.grass_min_c - fit.air_min_c)
            chance[judged] = shares[judged]
            by_air[judged] = frost_chance(here.air_min_c + mean, spread)[judged]
            source = fit if fit.day.size else here
            by_month[judged] = _of_month_from(source.month, source.grass_min_c < 0.0, here.month)[judged]
        made += [
            _row(
                f"De Bilt, {_span(np.unique(here.year))}, daily means",
                chance,
                happened[part],
                (name, base),
                blocks_of(here.day // 7),
                fitted,
                "days",
                indices=(),
            )
            for name, base in (("air minimum less a constant", by_air), ("share of the month", by_month))
        ]
    return made


def _row(
    data: str,
    chance: Array,
    happened: Mask,
    against: tuple[str, Array],
    block: Whole,
    fitted: str,
    of: str,
    indices: tuple[str, ...] = ("frost_chance_ground",),
) -> Row:
    known = ~np.isnan(chance + against[1])
    loss, base = brier(chance, happened)[known], brier(against[1], happened)[known]
    gain, low, high = loss_gain(loss, base, blocks_of(block[known]))
    return Row(
        quantity=_QUANTITY,
        indices=indices,
        data=data,
        measure="Brier",
        cases=int(known.sum()),
        of=of,
        score=float(loss.mean()),
        baseline=against[0],
        baseline_score=float(base.mean()),
        gain=gain,
        gain_low=low,
        gain_high=high,
        fitted=fitted,
        bins=bins_of(chance[known], happened[known]),
    )


def _left_out(groups: Whole, several: bool, fit: Callable[[Mask], Array]) -> Array:
    """For each case what its own group had no part in; all of it where there is but one group."""
    if not several:
        return fit(np.ones(groups.size, dtype=bool))
    out = np.empty((groups.size, 2))
    for group in np.unique(groups):
        here = groups == group
        out[here] = fit(~here)[here]
    return out


def _of_error(error: Array, fit: Mask) -> Array:
    return np.broadcast_to([error[fit].mean(), error[fit].std()], (error.size, 2))


def _of_evening(found: Nights, fit: Mask) -> Array:
    air, dew = found.of_evening_c
    lowest = fit_radiation_frost(air[fit], dew[fit], found.grass_min_c[fit]).lowest_c(air, dew)
    spread = np.full(lowest.size, (found.grass_min_c - lowest)[fit].std())
    return np.stack([lowest, spread], axis=1)


def _of_month(month: Whole, happened: Mask, fit: Mask) -> Array:
    share = _of_month_from(month[fit], happened[fit], month)
    return np.stack([share, share], axis=1)


def _of_month_from(month: Whole, happened: Mask, wanted: Whole) -> Array:
    cases = np.bincount(month, minlength=13)
    share = np.bincount(month, weights=happened, minlength=13) / np.maximum(cases, 1)
    return np.asarray(np.where(cases > 0, share, happened.mean())[wanted])


def _error_or(error: Array) -> tuple[float, float]:
    return (float(error.mean()), float(error.std())) if error.size else _AIR_DE_BILT


def _in_years(found: Days) -> Mask:
    return (found.year >= FITTED_YEARS[0]) & (found.year <= FITTED_YEARS[1])


def _span(years: Array | Whole) -> str:
    # A few nights of the years before and after belong to the turn of the year.
    return f"{years[0]:.0f}" if years.size == 1 else f"{years[0]:.0f} to {years[-1]:.0f}"
