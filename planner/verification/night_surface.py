"""The radiating surface at night: the heat balance against infrared readings over grass and crop."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pandas as pd

from planner.indices.soil_temp import trailing_day_mean_c
from planner.indices.surface_temp import surface_temp_c
from planner.verification.base import Row, blocks_of, loss_gain
from planner.verification.data import column, hours_since_1970, tables
from planner.weather import Array, Whole

#: Name of a file -> place, and what of it had a part in the balance.
_FILES = {
    "payerne*hourly*": ("Payerne, grass", "these"),
    "bondville*hourly*": ("Bondville, crop", "these"),
    "meadow*hourly*": ("meadow", "none"),
}
#: Names under which a table may hold what is measured, the first that is there.
_SURFACE = ("grass_surface_temp_c", "surface_temp_ir_c", "surface_temp_c")
_TIME = ("time", "time_utc")
#: Sunlight below which it is night. [W/m2]
_DARK_WM2 = 1.0


def rows(folder: Path) -> list[Row]:
    """Rows of every table with measured surface, by the cloud and by measured longwave where there are both."""
    made: list[Row] = []
    for pattern, (place, fitted) in _FILES.items():
        for _, table in tables(folder, pattern, ("air_temp_c", "rel_humidity_pct", "wind_10m_ms")):
            surface, time = _first(table, _SURFACE), _first(table, _TIME)
            if surface is None or time is None:
                continue
            hours = hours_since_1970(table, time)
            measured, air = column(table, surface), column(table, "air_temp_c")
            sun = column(table, "shortwave_wm2")
            dark = ~np.isnan(measured + sun) & (sun < _DARK_WM2)
            span = f"{pd.Timestamp(int(hours[0]), unit='h'):%Y-%m} to {pd.Timestamp(int(hours[-1]), unit='h'):%Y-%m}"
            for name, balance in (("cloud", _balance(table, False)), ("longwave", _balance(table, True))):
                night = dark & ~np.isnan(balance + air)
                if night.any():
                    data = f"{place}, {span}, nights, from {name}"
                    parts = (balance[night], air[night], measured[night])
                    made.append(_row(data, parts, hours[night] // (7 * 24), fitted))
    return made


def _balance(table: pd.DataFrame, by_longwave: bool) -> Array:
    """The formula over the hours of a table; the day's mean air stands for the ground, as where no soil is forecast."""
    air = column(table, "air_temp_c")
    cloud = column(table, "cloud_fraction")
    if "cloud_pct" in table:
        cloud = column(table, "cloud_pct") / 100.0
    pressure = column(table, "pressure_hpa")
    return surface_temp_c(
        air,
        np.minimum(column(table, "rel_humidity_pct"), 100.0),
        column(table, "wind_10m_ms"),
        np.minimum(cloud, 1.0),
        trailing_day_mean_c(air[None, :])[0],
        np.where(np.isnan(pressure), 1013.25, pressure),
        longwave_wm2=column(table, "longwave_down_wm2") if by_longwave else None,
    )


def _row(data: str, parts: tuple[Array, Array, Array], week: Whole, fitted: str) -> Row:
    balance, air, measured = parts
    # The baseline may take its constant from the very data it is judged on.
    by_air = air - (air - measured).mean()
    loss, base = (balance - measured) ** 2, (by_air - measured) ** 2
    gain, low, high = loss_gain(loss, base, blocks_of(week), root=True)
    return Row(
        quantity="night surface",
        indices=("surface_temp_c",),
        data=data,
        measure="rmse",
        unit="K",
        cases=balance.size,
        of="hours",
        score=float(np.sqrt(loss.mean())),
        baseline="air less its mean error here",
        baseline_score=float(np.sqrt(base.mean())),
        gain=gain,
        gain_low=low,
        gain_high=high,
        fitted=fitted,
        says=f"Mean error {float((balance - measured).mean()):+.2f} K.",
    )


def _first(table: pd.DataFrame, names: tuple[str, ...]) -> str | None:
    return next((name for name in names if name in table), None)
