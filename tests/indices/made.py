"""Weather made up for tests, and the published tables."""

from __future__ import annotations

import csv
from collections.abc import Collection
from datetime import UTC, date, datetime
from pathlib import Path

import numpy as np

from planner.indices import INDEX
from planner.indices.grasses import GRASSES
from planner.indices.past import Day
from planner.indices.quantities import Quantities
from planner.site import Site, Sowing, Surface
from planner.weather import Array, HourlyWeather

PUBLISHED = Path(__file__).parents[2] / "fixtures" / "published"
START = datetime(2025, 4, 1, 22, tzinfo=UTC)
NOW = datetime(2025, 4, 2, 6, tzinfo=UTC)


def table(name: str) -> dict[str, Array]:
    """Columns of a published table; what is no number is NaN."""
    with (PUBLISHED / name).open(newline="") as file:
        rows = list(csv.DictReader(file))
    return {key: np.array([_number(row[key]) for row in rows]) for key in rows[0]}


def _number(text: str) -> float:
    try:
        return float(text)
    except ValueError:
        return float("nan")


def site(**surface: object) -> Site:
    """A site of one surface; keywords are fields of the surface that differ."""
    fields: dict[str, object] = {
        "name": "green",
        "kind": "green",
        "area_m2": 300.0,
        "grass": GRASSES["creeping_bent"],
        "cut_height_mm": 4.0,
    }
    green = Surface(**(fields | surface))  # type: ignore[arg-type]
    return Site(
        name="made",
        latitude_deg=51.5,
        longitude_deg=9.0,
        elevation_m=100.0,
        timezone="Europe/Berlin",
        dormant_from="11-15",
        surfaces=(green,),
    )


def weather(hours: int = 72, members: int = 1, start: datetime = START, **columns: object) -> HourlyWeather:
    """Mild, half cloudy days; keywords are columns as a number or an array. None leaves one out."""
    hour = np.arange(hours)
    wave = np.sin((hour - 8) / 24 * 2 * np.pi)
    laid: dict[str, object] = {
        "air_temp_c": 12 + 5 * wave,
        "rel_humidity_pct": 75 - 15 * wave,
        "wind_10m_ms": 3.0,
        "wind_dir_deg": 200.0,
        "rain_mm": 0.0,
        "cloud_pct": 50.0,
        "shortwave_wm2": np.maximum(500 * np.sin((hour - 6) / 24 * 2 * np.pi), 0.0),
    } | columns
    full = {
        name: np.broadcast_to(np.asarray(value, dtype=np.float64), (members, hours)).copy()
        for name, value in laid.items()
        if value is not None
    }
    return HourlyWeather.from_columns(epoch_s=int(start.timestamp()) + 3600 * hour, columns=full)


def quantities(
    made: HourlyWeather,
    place: Site | None = None,
    *,
    now: datetime = NOW,
    sowings: tuple[Sowing, ...] = (),
    constants: dict[str, float] | None = None,
    past: dict[date, Day] | None = None,
) -> Quantities:
    """Quantities of the first surface of the place."""
    place = place or site()
    return Quantities(
        made,
        place,
        INDEX,
        now=now,
        surface=place.surfaces[0],
        sowings=sowings,
        constants=constants,
        past=past,
    )


def payerne(without: Collection[str] = ()) -> tuple[dict[str, Array], Quantities]:
    """The measured hours of Payerne, June 2016, and the quantities of its sky; rain was not measured, taken 0."""
    june = table("payerne_2016_06_hourly.csv")
    columns = {
        "air_temp_c": june["air_temp_c"],
        "rel_humidity_pct": np.minimum(june["rel_humidity_pct"], 100.0),
        "wind_10m_ms": june["wind_10m_ms"],
        "cloud_pct": 100.0 * np.minimum(june["cloud_fraction"], 1.0),
        "shortwave_wm2": np.maximum(june["shortwave_wm2"], 0.0),
        "pressure_hpa": june["pressure_hpa"],
        "rain_mm": np.zeros(720),
    }
    start = datetime(2016, 6, 1, tzinfo=UTC)
    made = HourlyWeather.from_columns(
        epoch_s=int(start.timestamp()) + 3600 * np.arange(720),
        columns={name: column for name, column in columns.items() if name not in without},
    )
    place = Site(
        name="Payerne",
        latitude_deg=46.815,
        longitude_deg=6.944,
        elevation_m=491.0,
        timezone="Europe/Zurich",
    )
    return june, Quantities(made, place, INDEX, now=start)
