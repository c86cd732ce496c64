"""Weather by recipe: a quiet day as the base, and what a case tells laid over it, written as a CSV of hours.

The base, `quiet(low, high)`, is an ordinary working day for a keeper, told in local hours of the site:

- air: `low` at 03 and `high` at 15, joined by half waves; where two days differ, the night joins them;
- relative humidity: 88 % at 03 and 52 % at 15, the same wave;
- wind from the west: 7 km/h at 2 m from 07 to 19, 4 km/h by night; gust 15 km/h at 10 m;
- cloud 40 %, no rain, chance of rain 0; soil at 6 cm at the middle of the day's low and high.

Everything else is laid over it, the later over the earlier. Days count from the day of asking, which is 0; the
three days before it are like it unless a case tells otherwise. Wind is given in km/h at 2 m and written as m/s at
10 m (FAO-56 equation 47: factor 0.748); gusts are given in km/h at the height of 10 m. What a forecast may leave
out and the recipe does not tell (sunlight, pressure, evaporation) is left out.
"""

from __future__ import annotations

from collections.abc import Iterable
from datetime import UTC, date, datetime, timedelta
from pathlib import Path
from zoneinfo import ZoneInfo

import numpy as np

from planner.indices.soil_water import SERVICE_CAPACITY, SERVICE_WILTING, SOILS

#: Wind at 2 m as a share of that at 10 m over short grass, FAO-56 equation 47.
AT_2M = 0.748
Days = int | Iterable[int] | None
Hours = int | Iterable[int] | None


def _each(told: int | Iterable[int]) -> list[int]:
    return [told] if isinstance(told, int) else list(told)


class Sky:
    """Hours of weather over a site, from `before` days before the day of asking to `after` days after it."""

    def __init__(
        self, zone: str, day: date, low: float, high: float, *, before: int = 3, after: int = 9
    ) -> None:
        self.zone, self.day, self.before, self.after = ZoneInfo(zone), day, before, after
        first = self._midnight(-before).astimezone(UTC)
        hours = (self._midnight(after + 1).astimezone(UTC) - first) // timedelta(hours=1)
        self.times = [first + timedelta(hours=number) for number in range(hours)]
        told = [moment.astimezone(self.zone) for moment in self.times]
        #: The day of each hour, counted from the day of asking, and its local hour.
        self.days = np.array([(moment.date() - day).days for moment in told])
        self.clock = np.array([moment.hour for moment in told])
        self._range = dict.fromkeys(range(-before - 1, after + 2), (low, high))
        self._moist = dict.fromkeys(self._range, (88.0, 52.0))
        self._laid: list[tuple[str, np.ndarray, np.ndarray | float]] = []
        self.wind(4.0).wind(7.0, hours=range(7, 19)).gust(15.0)
        for column, value in (
            ("wind_dir_deg", 270.0),
            ("cloud_pct", 40.0),
            ("rain_mm", 0.0),
            ("rain_chance_pct", 0.0),
        ):
            self.lay(column, value)

    def _midnight(self, days: int) -> datetime:
        return datetime.combine(self.day + timedelta(days=days), datetime.min.time(), self.zone)

    def at(self, day: int, hour: int, minute: int = 0) -> datetime:
        """A local moment, by its day from the day of asking."""
        return self._midnight(day).replace(hour=hour, minute=minute)

    def _hours(self, days: Days, hours: Hours) -> np.ndarray:
        on = np.ones(self.days.size, dtype=bool)
        if days is not None:
            on &= np.isin(self.days, _each(days))
        if hours is not None:
            on &= np.isin(self.clock, _each(hours))
        return on

    def quiet(self, low: float, high: float, days: Days) -> Sky:
        """Another quiet day on these days."""
        for number in _each([] if days is None else days):
            self._range[number] = (low, high)
        return self

    def moist(self, at_three: float, at_fifteen: float, days: Days = None) -> Sky:
        """Another humidity at 03 and at 15, in percent."""
        for number in self._moist if days is None else _each(days):
            self._moist[number] = (at_three, at_fifteen)
        return self

    def lay(self, column: str, value: float, days: Days = None, hours: Hours = None) -> Sky:
        """A value over these days and hours, in the unit of the column."""
        self._laid.append((column, self._hours(days, hours), value))
        return self

    def wind(
        self, kmh_2m: float, days: Days = None, hours: Hours = None, *, toward: float | None = None
    ) -> Sky:
        """Wind at 2 m in km/h; `toward` is the direction that the air moves to, in degrees."""
        self.lay("wind_10m_ms", kmh_2m / 3.6 / AT_2M, days, hours)
        if toward is not None:
            self.lay("wind_dir_deg", (toward + 180.0) % 360.0, days, hours)
        return self

    def gust(self, kmh_10m: float, days: Days = None, hours: Hours = None) -> Sky:
        """Gusts in km/h at 10 m."""
        return self.lay("gust_10m_ms", kmh_10m / 3.6, days, hours)

    def rain(self, day: int, hour: int, *mm: float) -> Sky:
        """Rain of successive hours from a local hour of a day on; it may run past midnight."""
        start = self.at(day, hour).astimezone(UTC)
        for number, amount in enumerate(mm):
            on = np.array([moment == start + timedelta(hours=number) for moment in self.times])
            self._laid.append(("rain_mm", on, amount))
            self._laid.append(("cloud_pct", on, 100.0))
        return self

    def clear_calm_night(self, mornings: Days) -> Sky:
        """The nights that end on these mornings: no cloud, 2 km/h at 2 m, from 19 to the end of the hour 07."""
        for morning in _each(mornings if mornings is not None else range(-self.before, self.after + 1)):
            for day, hours in ((morning - 1, range(19, 24)), (morning, range(8))):
                self.lay("cloud_pct", 0.0, day, hours).wind(2.0, day, hours).gust(6.0, day, hours)
        return self

    def ground(self, water_share: float) -> Sky:
        """Water of a sand at the first hour, as a share of its volume; what comes after is worked out from it.

        A service tells its own soil's water, so it is laid on the scale that its moisture is read on.
        """
        sand = SOILS["sand"]
        part = (water_share - sand.wilting_point) / (sand.field_capacity - sand.wilting_point)
        self.lay(
            "soil_moisture_m3m3",
            SERVICE_WILTING + part * (SERVICE_CAPACITY - SERVICE_WILTING),
            -self.before,
            0,
        )
        return self

    def air(self, told: dict[int, float], days: Days) -> Sky:
        """Air temperature by the local hour, straight lines between the hours told."""
        for day in _each([] if days is None else days):
            for hour in range(min(told), max(told) + 1):
                value = float(np.interp(hour, sorted(told), [told[h] for h in sorted(told)]))
                self.lay("air_temp_c", value, day, hour)
        return self

    def _wave(self, ends: dict[int, tuple[float, float]]) -> np.ndarray:
        """Half waves through the figure of 03 and the figure of 15 of each day."""
        marks = [(24 * day + hour, ends[day][n]) for day in sorted(ends) for n, hour in enumerate((3, 15))]
        at, values = np.array([mark for mark, _ in marks]), np.array([value for _, value in marks])
        moment = 24 * self.days + self.clock
        left = np.searchsorted(at, moment, side="right") - 1
        share = (moment - at[left]) / 12.0
        weight = (1.0 - np.cos(np.pi * share)) / 2.0
        return np.asarray(values[left] * (1.0 - weight) + values[left + 1] * weight)

    def columns(self) -> dict[str, np.ndarray]:
        """Every column, shape (hours,), in the units of an hour of weather; NaN where nothing is told."""
        middle = {day: sum(ends) / 2.0 for day, ends in self._range.items()}
        made = {
            "air_temp_c": self._wave(self._range),
            "rel_humidity_pct": self._wave(self._moist),
            "soil_temp_6cm_c": np.array([middle[day] for day in self.days]),
        }
        for column, on, value in self._laid:
            made.setdefault(column, np.full(self.days.size, np.nan))
            made[column][on] = value
        return made

    def write(self, path: Path) -> Path:
        """The hours as a CSV with a `time` column in UTC."""
        made = self.columns()
        lines = [",".join(["time", *made])]
        for number, moment in enumerate(self.times):
            cells = ["" if np.isnan(made[name][number]) else f"{made[name][number]:.3f}" for name in made]
            lines.append(",".join([f"{moment:%Y-%m-%dT%H:%MZ}", *cells]))
        path.write_text("\n".join(lines) + "\n", encoding="utf-8")
        return path
