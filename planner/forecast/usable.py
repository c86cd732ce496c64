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
    document = json.loads(answer.raw)
    if not isinstance(document, Mapping):
        return
    far_km = apart_km(document, request.latitude_deg, request.longitude_deg)
    if far_km is not None and far_km > FARTHEST_KM:
        raise ForecastMalformed(f"The answer of {who} is for a place {far_km:,.0f} km from the site.")
    height = elevation_m(document)
    if height is not None and abs(height - request.elevation_m) > FURTHEST_M:
        raise ForecastMalformed(
            f"The answer of {who} is for a height of {height:,.0f} m; the site lies at {request.elevation_m:,.0f} m."
        )


def elevation_m(answer: Mapping[str, object]) -> float | None:
    """The height that an answer is for [m]; None where it does not tell one."""
    return _number(_part(answer, 2, "elevation"))


def apart_km(answer: Mapping[str, object], latitude_deg: float, longitude_deg: float) -> float | None:
    """Great-circle distance of an answer's place from another [km]; None where it does not tell one."""
    east_deg, north_deg = (
        _number(_part(answer, at, name)) for at, name in enumerate(("longitude", "latitude"))
    )
    if east_deg is None or north_deg is None:
        return None
    east, north = radians(east_deg), radians(north_deg)
    here_north, here_east = radians(latitude_deg), radians(longitude_deg)
    across = sin((east - here_east) / 2) * abs(cos(north) * cos(here_north)) ** 0.5
    return 2 * _EARTH_KM * asin(min(1.0, hypot(sin((north - here_north) / 2), across)))


def _part(answer: Mapping[str, object], number: int, name: str) -> object:
    """A part of the place: of the point, where the answer is a GeoJSON feature, else under its own name."""
    geometry = answer.get("geometry")
    if not isinstance(geometry, Mapping):
        return answer.get(name)
    point = geometry.get("coordinates")
    return point[number] if isinstance(point, list) and len(point) > number else None


def _number(value: object) -> float | None:
    try:
        number = float(value)  # type: ignore[arg-type]
    except (TypeError, ValueError, OverflowError):
        return None
    return number if np.isfinite(number) else None
