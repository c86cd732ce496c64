"""Measured nights with a grass minimum, by the hour and by the day, and the chance that a pass tells of them."""

from __future__ import annotations

from functools import lru_cache
from pathlib import Path
from typing import Any

import numpy as np
import pandas as pd

from planner.indices import INDEX
from planner.indices.frost import frost_chance
from planner.indices.grass_min import (
    AIR_ALONE_K,
    AIR_ALONE_SPREAD_K,
    HourlyGrass,
    air_less_c,
    grass_spread_k,
    grass_temp_c,
)
from planner.indices.humidity import saturation_vapour_pressure_hpa, vapour_pressure_hpa
from planner.indices.quantities import Quantities
from planner.indices.surface_temp import surface_temp_c
from planner.indices.table_frost import balance_c
from planner.site import Site
from planner.verification.data import (
    CARRIED,
    DE_BILT_DAYS,
    IRISH_DAYS,
    IRISH_HOURS,
    IRISH_PLACES,
    column,
    days_since_1970,
    grid_of,
    hours_since_1970,
    laid,
    merged,
    month_of,
)
from planner.verification.grass_fit import Days, Nights
from planner.weather import HOUR_S, Array, HourlyWeather, within

#: A station without a place on record is taken for the middle of the country: only the sun asks.
_MIDDLE = (53.3, -7.8)
_NIGHT_H = 25


@lru_cache(maxsize=1)
def carried_nights() -> Nights | None:
    """The nights that the project carries; None where it is installed without them."""
    return nights(CARRIED)


@lru_cache(maxsize=1)
def carried_days() -> Days | None:
    """The days that the project carries; None where it is installed without them."""
    return days(CARRIED)


def nights(folder: Path) -> Nights | None:
    """Nights of all stations of the folder that have hours and a grass minimum, as far as a pass tells a chance."""
    listed = merged(folder, IRISH_PLACES)
    places = {
        str(name): (float(latitude), float(longitude))
        for name, latitude, longitude in zip(
            listed["station"],
            column(listed, "latitude_deg"),
            column(listed, "longitude_deg"),
            strict=True,
        )
        if not np.isnan(latitude + longitude)
    }
    daily = merged(folder, IRISH_DAYS)
    lowest = column(daily, "grass_min_09utc_to_09utc_c")
    read: dict[str, dict[int, float]] = {}
    for station, day, value in zip(
        daily["station"], days_since_1970(daily, "date").tolist(), lowest.tolist(), strict=True
    ):
        if not np.isnan(value):
            read.setdefault(str(station), {})[day] = value
    found = []
    for name, part in merged(folder, IRISH_HOURS).groupby("station"):
        station = str(name)
        if station in read:
            hours = measured(part, *places.get(station, _MIDDLE), station)
            found.append(_nights_of(hours, read[station], station))
    found = [part for part in found if part.day.size]
    if not found:
        return None
    whole: dict[str, Any] = {
        field: np.concatenate([getattr(part, field) for part in found]) for field in Nights.__slots__
    }
    return Nights(**whole)


def measured(part: pd.DataFrame, latitude_deg: float, longitude_deg: float, name: str) -> Quantities:
    """Quantities of the sky over measured hours of one station; all of them are past, so no forecast errs."""
    stamps = hours_since_1970(part, "time")
    hours = grid_of(stamps)

    def of(column_name: str) -> Array:
        return laid(stamps, column(part, column_name), hours)

    columns = {one: of(one) for one in ("air_temp_c", "rel_humidity_pct", "wind_10m_ms", "wind_dir_deg")}
    # The rain stands at the end of its hour.
    columns["rain_mm"] = np.append(of("rain_hour_before_mm")[1:], np.nan)
    columns["cloud_pct"] = of("cloud_inferred_pct")
    columns["pressure_hpa"] = of("pressure_station_hpa")
    weather = HourlyWeather.from_columns(epoch_s=hours * HOUR_S, columns=columns)
    site = Site(
        name=name,
        latitude_deg=latitude_deg,
        longitude_deg=longitude_deg,
        elevation_m=0.0,
        timezone="Europe/Dublin",
    )
    return Quantities(weather, site, INDEX, now=weather.end, constants={"past_spread_k": 0.0})


def _nights_of(q: Quantities, read: dict[int, float], station: str) -> Nights:
    bounds = [*q.nights.first_hour, q.weather.hours]
    names = ("air_temp_c", "wind_10m_ms", "sun_altitude_deg", "dew_point_c")
    columns = [balance_c(q)[0], *(q[name][0] for name in names)]
    chance = q["frost_chance_ground"][0]
    kept: list[tuple[int, int, float, float]] = []
    hours: list[Array] = []
    whole: list[bool] = []
    for number, evening in enumerate(q.nights.dates):
        begin, end = bounds[number], bounds[number + 1]
        morning = (evening - type(evening)(1970, 1, 1)).days + 1
        if morning not in read or np.isnan(chance[begin]):
            continue
        padded = np.full((len(columns), _NIGHT_H), np.nan)
        padded[:, : end - begin] = [one[begin:end] for one in columns]
        hours.append(padded)
        kept.append((morning, evening.month, read[morning], float(chance[begin])))
        whole.append(end - begin >= _NIGHT_H - 2 and not np.isnan(padded[:, : end - begin]).any())
    laid_hours = np.array(hours).reshape(-1, len(columns), _NIGHT_H)
    told = np.array(kept, dtype=np.float64).reshape(-1, 4)
    return Nights(
        station=np.full(len(kept), station),
        day=told[:, 0].astype(np.int64),
        month=told[:, 1].astype(np.int64),
        grass_min_c=told[:, 2],
        surface_c=laid_hours[:, 0],
        air_c=laid_hours[:, 1],
        wind_ms=laid_hours[:, 2],
        sun_deg=laid_hours[:, 3],
        dew_c=laid_hours[:, 4],
        chance=told[:, 3],
        whole=np.array(whole, dtype=bool),
    )


def days(folder: Path) -> Days | None:
    """Days of De Bilt with all that the daily calibration reads."""
    table = merged(folder, DE_BILT_DAYS)
    if not len(table):
        return None
    number = days_since_1970(table, "date")
    # A day that stands in several files counts once.
    once = np.unique(number, return_index=True)[1]
    table, number = table.iloc[once], number[once]
    low, mean, grass, wind = (column(table, name) for name in DE_BILT_DAYS.needed[1:5])
    # Nine eighths: the sky could not be seen.
    cloud = within(np.minimum(column(table, "cloud_okta") / 8.0, 1.0), 0.0, 1.0)
    # Vapour of the day's mean stays through the night, up to saturation.
    vapour = vapour_pressure_hpa(mean, column(table, "rel_humidity_mean_pct"))
    humidity = np.minimum(100.0 * vapour / saturation_vapour_pressure_hpa(low), 100.0)
    pressure = np.nan_to_num(column(table, "pressure_msl_hpa"), nan=1013.25)
    month = month_of(number)
    whole = Days(
        day=number,
        month=month % 12 + 1,
        year=month // 12 + 1970,
        grass_min_c=grass,
        air_min_c=low,
        air_mean_c=mean,
        wind_ms=wind,
        cloud=cloud,
        surface_c=surface_temp_c(low, humidity, wind, cloud, mean, pressure),
    )
    known = ~np.isnan(low + mean + grass + wind + cloud)
    return whole.cut(known) if known.any() else None


def chance_of(
    nights: Nights,
    calibration: HourlyGrass,
    air_alone: tuple[float, float] = (AIR_ALONE_K, AIR_ALONE_SPREAD_K),
    *,
    with_balance: bool = True,
) -> Array:
    """The chance of each night under other calibrations, as the pipeline makes it, shape (nights,).

    Without the balance: as where no cloud is known.
    """
    grass = grass_temp_c(
        nights.surface_c, nights.air_c, nights.wind_ms, nights.sun_deg, calibration=calibration
    )
    spread = grass_spread_k(nights.wind_ms, calibration=calibration)
    alone = np.isnan(grass) | (not with_balance)
    grass = np.where(alone, air_less_c(nights.air_c, nights.sun_deg, air_alone[0]), grass)
    chance = frost_chance(np.minimum(grass, 40.0), np.where(alone, air_alone[1], spread))
    return np.asarray(np.nanmax(chance, axis=1))
