"""Places far from those of the first cases: half-hour clocks, the tropics, a dry inland, the far north and south.

All are invented. Weather services give full hours of UTC; where the clock of a place stands half an hour off, its
local hours begin at half past, and `FarSky` lays a recipe over such hours.
"""

from __future__ import annotations

from datetime import UTC, date, timedelta

import numpy as np

from tests.casebook.recipes import Sky
from tests.casebook.sites import Row


def _place(name: str, latitude: float, longitude: float, elevation: float, zone: str) -> Row:
    return {
        "name": name,
        "latitude_deg": latitude,
        "longitude_deg": longitude,
        "elevation_m": elevation,
        "timezone": zone,
    }


GULF = _place("Saltbush Reach", -35.0, 138.7, 60, "Australia/Adelaide")
ROCK = _place("Capelin Tickle", 47.4, -52.9, 70, "America/St_Johns")
HILLS = _place("Deodar Terrace", 27.7, 85.4, 1350, "Asia/Kathmandu")
TROPIC = _place("Pandan Knoll", 1.4, 103.8, 20, "Asia/Singapore")
DESERT = _place("Ocotillo Wash", 32.2, -110.9, 730, "America/Phoenix")
FJORD = _place("Bjerkenes", 59.9, 10.7, 90, "Europe/Oslo")
SOUTHERN_ALPS = _place("Tussock Terrace", -44.7, 169.1, 300, "Pacific/Auckland")
PRAIRIE = _place("Bluestem Rise", 45.0, -93.2, 260, "America/Chicago")
CAPE = _place("Fynbos Corner", -33.9, 18.5, 30, "Africa/Johannesburg")


class FarSky(Sky):
    """A sky whose hours are full hours of UTC, whatever the local clock."""

    def __init__(
        self, zone: str, day: date, low: float, high: float, *, before: int = 3, after: int = 9
    ) -> None:
        super().__init__(zone, day, low, high, before=before, after=after)
        #: What an hour of UTC lies behind the local hour it is told for.
        self.off = timedelta(minutes=-self.times[0].minute % 60)
        self.times = [moment + self.off for moment in self.times]

    def rain(self, day: int, hour: int, *mm: float) -> Sky:
        """Rain of successive hours from a local hour of a day on; it may run past midnight."""
        start = self.at(day, hour).astimezone(UTC) + self.off
        for number, amount in enumerate(mm):
            on = np.array([moment == start + timedelta(hours=number) for moment in self.times])
            self._laid.append(("rain_mm", on, amount))
            self._laid.append(("cloud_pct", on, 100.0))
        return self


def under(place: Row, day: date, low: float, high: float, *, before: int = 3, after: int = 9) -> FarSky:
    """Quiet weather over a place."""
    return FarSky(place["timezone"], day, low, high, before=before, after=after)
