"""Whether an answer that can be read is a forecast to work with: of now, of this place, and with weather in it.

An answer that is not takes no earlier one's place.
"""

from __future__ import annotations

import json
from collections.abc import Mapping
from datetime import datetime, timedelta
from math import asin, cos, hypot, radians, sin

import numpy as np

from planner.errors import ForecastMalformed
from planner.forecast import brightsky, document
from planner.forecast.base import RawForecast, Request
from planner.weather import NEEDED, Forecast

_EARTH_KM = 6371.0
#: Grids of global models are about 25 km wide, and a service may answer for the next cell on land. Judgement.
FARTHEST_KM = 75.0
#: Services bring the temperature to the height that was asked for; a figure this far off is of another place.
FURTHEST_M = 500.0
#: A service may leave out the running hour, and it must know as many of those to come. Judgement.
_LATE_H, REACH_H = 2, 12
#: So long nothing in the sky stands still. Judgement.
_STILL_H = 12


def require_usable(forecast: Forecast, answer: RawForecast, request: Request, now: datetime) -> None:
    """Raises ForecastMalformed, saying why, unless the forecast is one to work with from `now` on."""
    weather, who = forecast.weather, forecast.provider
    known = known_hours(forecast)
    ahead = known[max(0, weather.index(now)) :]
    if weather.start - now > timedelta(hours=_LATE_H):
        raise ForecastMalformed(
            f"The forecast of {who} begins only at {weather.start:%Y-%m-%d %H:%M}Z: the hours until then are missing."
        )
    if int(ahead.sum()) < REACH_H:
        raise ForecastMalformed(
            f"The forecast of {who} holds {int(ahead.sum())} whole hours from {now:%Y-%m-%d %H:%M}Z on, until "
            f"{weather.end:%Y-%m-%d %H:%M}Z; at least {REACH_H} with {', '.join(NEEDED)} are wanted."
        )
    _require_place(answer, request, who)
    still = [name for name in NEEDED if name != "rain_mm" and _stands_still(weather[name])]
    if len(still) == len(NEEDED) - 1:
        raise ForecastMalformed(
            f"The forecast of {who} has the same figure in every hour for {', '.join(still)}: it is none."
        )


def known_hours(forecast: Forecast) -> np.ndarray[tuple[int], np.dtype[np.bool_]]:
    """The hours in which some member knows every needed column, shape (hours,)."""
    whole = np.ones(forecast.weather.hours, dtype=bool)
    for name in NEEDED:
        whole &= ~np.isnan(forecast.weather[name]).all(axis=0)
    return whole


def _stands_still(values: np.ndarray[tuple[int, int], np.dtype[np.float64]]) -> bool:
    known = values[~np.isnan(values)]
    return known.size >= _STILL_H and float(np.ptp(known)) == 0.0


def _require_place(answer: RawForecast, request: Request, who: str) -> None:
    told = json.loads(answer.raw)
    if not isinstance(told, Mapping):
        return
    far_km = apart_km(told, request.latitude_deg, request.longitude_deg)
    if far_km is not None and far_km > FARTHEST_KM:
        raise ForecastMalformed(f"The answer of {who} is for a place {far_km:,.0f} km from the site.")
    height = elevation_m(told)
    if height is not None and abs(height - request.elevation_m) > FURTHEST_M:
        raise ForecastMalformed(
            f"The answer of {who} is for a height of {height:,.0f} m; the site lies at {request.elevation_m:,.0f} m."
        )


def elevation_m(answer: Mapping[str, object]) -> float | None:
    """The height that an answer is for [m]; None where it does not tell one."""
    return _place(answer)[2]


def apart_km(answer: Mapping[str, object], latitude_deg: float, longitude_deg: float) -> float | None:
    """Great-circle distance of an answer's place from another [km]; None where it does not tell one."""
    north_deg, east_deg, _ = _place(answer)
    if east_deg is None or north_deg is None:
        return None
    east, north = radians(east_deg), radians(north_deg)
    here_north, here_east = radians(latitude_deg), radians(longitude_deg)
    across = sin((east - here_east) / 2) * abs(cos(north) * cos(here_north)) ** 0.5
    return 2 * _EARTH_KM * asin(min(1.0, hypot(sin((north - here_north) / 2), across)))


_Place = tuple[float | None, float | None, float | None]


def _place(answer: Mapping[str, object]) -> _Place:
    """Latitude, longitude and height of an answer's place: of its point or the corner of its cell (GeoJSON), of
    the station it is from, or under their own names."""
    geometry, properties = answer.get("geometry"), answer.get("properties")
    if isinstance(geometry, Mapping):
        point = geometry.get("coordinates")
        height: object = None
        # The corners of a cell lie in a ring, and its height stands apart, with a unit.
        while isinstance(point, list) and point and isinstance(point[0], list):
            point = point[0]
            told = properties.get("elevation") if isinstance(properties, Mapping) else None
            in_metres = isinstance(told, Mapping) and str(told.get("unitCode")).endswith(":m")
            height = told.get("value") if isinstance(told, Mapping) and in_metres else None
        if not isinstance(point, list):
            return None, None, None
        east, north, above = (*point, None, None, None)[:3]
        return (
            document.number(north),
            document.number(east),
            document.number(above if above is not None else height),
        )
    station = brightsky.station_of(answer)
    if station is not None:
        return station.latitude_deg, station.longitude_deg, station.height_m
    north, east, above = (
        document.number(answer.get(name)) for name in ("latitude", "longitude", "elevation")
    )
    return north, east, above
