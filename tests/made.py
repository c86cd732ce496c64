"""Invented weather and ground for tests: small, told in a line, never loaded from a file."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace
from datetime import UTC, datetime, timedelta
from pathlib import Path
from typing import Any

import numpy as np

from planner.config.load import Config, load
from planner.plan import Ground, lay
from planner.weather import Forecast, HourlyWeather

ROOT = Path(__file__).resolve().parents[1]
DEMO = ROOT / "config" / "demo.toml"

#: A mild, dry, light-aired day, hour after hour.
PLAIN: Mapping[str, float] = {
    "air_temp_c": 16.0,
    "rel_humidity_pct": 65.0,
    "wind_10m_ms": 2.5,
    "gust_10m_ms": 4.0,
    "wind_dir_deg": 200.0,
    "rain_mm": 0.0,
    "cloud_pct": 50.0,
    "shortwave_wm2": 300.0,
    "soil_temp_6cm_c": 15.0,
}


def weather(start: datetime, hours: int, members: int = 1, **columns: Any) -> HourlyWeather:
    """Hours of plain weather, with the columns given laid over it: a value, a list, or {hour: value}."""
    epoch = [int((start + timedelta(hours=hour)).timestamp()) for hour in range(hours)]
    laid: dict[str, Any] = {}
    for name in {**PLAIN, **columns}:
        base = np.full((members, hours), PLAIN.get(name, 0.0))
        if name == "shortwave_wm2":
            clock = (start.astimezone(UTC).hour + np.arange(hours)) % 24
            base *= (clock >= 5) & (clock < 19)
        given = columns.get(name)
        if isinstance(given, dict):
            for hour, value in given.items():
                base[:, hour] = value
        elif given is not None:
            base[:] = given
        laid[name] = base
    return HourlyWeather.from_columns(epoch_s=epoch, columns=laid)


def config(**changes: Any) -> Config:
    """The demo's config without its diary, with the fields given replaced."""
    return replace(load(DEMO), **{"sowings": (), "done": (), "planned": (), **changes})


def ground(hours: HourlyWeather, *, now: datetime | None = None, **changes: Any) -> Ground:
    """The demo's site under the hours given."""
    found = config(**changes)
    return lay(hours, found.site, now=now or hours.start, sowings=found.sowings, constants=found.constants)


def forecast(hours: HourlyWeather, fetched_at: datetime) -> Forecast:
    """The hours as a forecast."""
    return Forecast(
        weather=hours,
        provider="made",
        issued_at=None,
        fetched_at=fetched_at,
        credit="invented",
        credit_url="",
        licence="none",
    )
