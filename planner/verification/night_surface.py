"""The radiating surface at night: the balance as a pass reads it, against infrared readings over grass and crop."""

from __future__ import annotations

from datetime import UTC, datetime
from pathlib import Path
from typing import NamedTuple

import numpy as np
import pandas as pd

from planner.indices import INDEX
from planner.indices.quantities import Quantities
from planner.indices.surface_temp import surface_temp_c
from planner.indices.table_leaf import sunlight_at_label, under_thatch_c
from planner.site import Site
from planner.verification.base import BLOCK_DAYS, Row, blocks_of, loss_gain
from planner.verification.data import (
    BONDVILLE_HOURS,
    MEADOW_HOURS,
    PAYERNE_HOURS,
    Kind,
    column,
    grid_of,
    hours_since_1970,
    laid,
    merged,
    month_of,
)
from planner.weather import HOUR_S, Array, HourlyWeather, Whole


class _Place(NamedTuple):
    kind: Kind
    name: str
    latitude_deg: float
    longitude_deg: float
    clock_h: int
    """Offset of the clock by which the record was cut into months."""
    fitted_on: tuple[str, ...]
    """Months that had a part in the balance."""


#: The sun alone asks where a place lies, and only where the record has no sunlight.
_PLACES = (
    _Place(PAYERNE_HOURS, "Payerne, grass", 46.81, 6.94, 0, ("2016-06",)),
    _Place(
        BONDVILLE_HOURS, "Bondville, crop", 40.01, -88.37, -6, tuple(f"1998-{m:02}" for m in range(5, 10))
    ),
    _Place(MEADOW_HOURS, "meadow", 50.0, 10.0, 0, ()),
)
#: Sunlight below which it is night. [W/m2]
_DARK_WM2 = 1.0


def rows(folder: Path) -> list[Row]:
    """Rows of every place with measured surface, by the cloud and by measured longwave where there are both."""
    made: list[Row] = []
    for place in _PLACES:
        table = merged(folder, place.kind)
        if not len(table) or "surface_temp_c" not in table:
            continue
        stamps = hours_since_1970(table, "time")
        hours = grid_of(stamps)
        air, measured, sun = (
            laid(stamps, column(table, name), hours)
            for name in ("air_temp_c", "surface_temp_c", "shortwave_wm2")
        )
        dark = ~np.isnan(measured + air) & (sun < _DARK_WM2)
        month = month_of((hours + place.clock_h) // 24)
        in_fit = np.isin(month, np.array(place.fitted_on, dtype="datetime64[M]").astype(np.int64))
        cloud, longwave = _balances(table, stamps, hours, place)
        for part, fitted in ((in_fit, "these"), (~in_fit, "none")):
            for name, balance in (("cloud", cloud), ("longwave", longwave)):
                night = dark & part & ~np.isnan(balance)
                if night.any():
                    span = [str(np.datetime64(int(one), "M")) for one in month[night][[0, -1]]]
                    data = f"{place.name}, {' to '.join(dict.fromkeys(span))}, nights, from {name}"
                    parts = (balance[night], air[night], measured[night])
                    made.append(_row(data, parts, hours[night] // (BLOCK_DAYS * 24), fitted))
    return made


def _balances(table: pd.DataFrame, stamps: Whole, hours: Whole, place: _Place) -> tuple[Array, Array]:
    """The surface as a pass reads it, by the cloud; and the same formula given the measured longwave."""
    names = (
        "air_temp_c",
        "rel_humidity_pct",
        "wind_10m_ms",
        "pressure_hpa",
        "shortwave_wm2",
        "cloud_pct",
        "cloud_fraction",
        "longwave_down_wm2",
    )
    row = {name: laid(stamps, column(table, name), hours) for name in names}
    humidity = np.minimum(row["rel_humidity_pct"], 100.0)
    cloud = np.where(np.isnan(row["cloud_pct"]), 100.0 * row["cloud_fraction"], row["cloud_pct"])
    weather = HourlyWeather.from_columns(
        epoch_s=hours * HOUR_S,
        columns={
            "air_temp_c": row["air_temp_c"],
            "rel_humidity_pct": humidity,
            "wind_10m_ms": row["wind_10m_ms"],
            "rain_mm": np.full(hours.size, np.nan),
            "cloud_pct": np.minimum(cloud, 100.0),
            "pressure_hpa": row["pressure_hpa"],
            "shortwave_wm2": np.maximum(row["shortwave_wm2"], 0.0),
        },
    )
    # The pressure is that of the place already.
    site = Site(
        name=place.name,
        latitude_deg=place.latitude_deg,
        longitude_deg=place.longitude_deg,
        elevation_m=0.0,
        timezone="UTC",
        surfaces=(),
    )
    q = Quantities(weather, site, INDEX, now=datetime.fromtimestamp(int(hours[-1]) * HOUR_S, UTC))
    by_longwave = surface_temp_c(
        q["air_temp_c"],
        q["rel_humidity_pct"],
        q["wind_10m_ms"],
        0.0,
        under_thatch_c(q),
        q["station_pressure_hpa"],
        sunlight_at_label(q),
        longwave_wm2=row["longwave_down_wm2"][None, :],
    )
    return q["surface_temp_c"][0], by_longwave[0]


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
