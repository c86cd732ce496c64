"""Weather of the hours of a piece of work, from a forecast that was kept."""

from __future__ import annotations

import math
from datetime import UTC, datetime, timedelta
from typing import Any

import numpy as np

from planner.indices import INDEX
from planner.indices.frame import Quantities
from planner.site import Site
from planner.weather import Array, HourlyWeather

#: How this weather is marked wherever it is shown.
NOT_MEASURED = "forecast, not measured"
FIGURES: tuple[str, ...] = (
    "wind_2m_kmh",
    "wind_dir_deg",
    "air_temp_c",
    "rel_humidity_pct",
    "delta_t_k",
    "rain_mm",
)


def weather_at(weather: HourlyWeather, site: Site, begin: datetime, end: datetime) -> dict[str, Any] | None:
    """Figures of the hours touched: means, direction as a mean of arrows, rain as a sum.

    None when the forecast holds none of the hours; null for a figure that is not known.
    """
    first = weather.index(begin)
    last = max(first, weather.index(max(begin, end - timedelta(microseconds=1))))
    if last < 0 or first >= weather.hours:
        return None
    sky = Quantities(weather, site, INDEX, now=begin)
    hours = slice(max(first, 0), last + 1)
    told: dict[str, Any] = {
        "source": NOT_MEASURED,
        "hour": weather.time(hours.start).astimezone(UTC).isoformat(),
    }
    for name in FIGURES:
        values = np.asarray(sky[name][:, hours], dtype=np.float64)
        told[name] = _plain(_summed_up(name, values))
    return told


def _summed_up(name: str, values: Array) -> float:
    if name == "rain_mm":
        return float(values.sum(axis=1).mean())
    if name == "wind_dir_deg":
        east, north = np.sin(np.radians(values)).mean(), np.cos(np.radians(values)).mean()
        return float(np.degrees(np.arctan2(east, north)) % 360.0)
    return float(values.mean())


def _plain(value: float) -> float | None:
    return round(value, 1) if math.isfinite(value) else None
