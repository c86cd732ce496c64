"""Days of weather that reach further back than a forecast does: kept from pass to pass, and added up."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass
from datetime import UTC, date, datetime, time, timedelta
from zoneinfo import ZoneInfo

import numpy as np
from numpy.typing import NDArray

from planner.indices.past import Day
from planner.indices.quantities import local_days
from planner.weather import HOUR_S, Array, HourlyWeather, mean_of_members

#: Days kept; a season and more.
KEEP_DAYS = 400
#: A hole of so many days is bridged by a straight line; a longer one makes the sum unknown. Judgement.
BRIDGED_DAYS = 2
#: A day with fewer hours than this is not taken for a whole one.
_WHOLE_H = 20

Rate = Callable[[Array], Array]


def days_of(
    weather: HourlyWeather, zone: ZoneInfo, soil_c: Array | None = None, et0_hour_mm: Array | None = None
) -> dict[date, Day]:
    """The local days of the hours, means over members. `soil_c`, `et0_hour_mm` have shape (members or 1, hours)."""
    days = local_days(weather, zone)
    air = mean_of_members(days.mean_of_known(weather["air_temp_c"]))
    soil = np.full(air.shape, np.nan) if soil_c is None else mean_of_members(days.mean_of_known(soil_c))
    rain = mean_of_members(days.total(weather["rain_mm"]))
    et0 = np.full(air.shape, np.nan) if et0_hour_mm is None else mean_of_members(days.total(et0_hour_mm))
    moisture = mean_of_members(days.mean_of_known(weather["soil_moisture_m3m3"]))
    heard = np.atleast_2d((~np.isnan(weather["air_temp_c"])).any(axis=0)).astype(np.float64)
    known = days.total(heard)[0]
    return {
        day: Day(
            air_c=float(air[number]),
            soil_c=float(soil[number]),
            rain_mm=float(rain[number]),
            hours=int(known[number]),
            et0_mm=float(et0[number]),
            moisture_m3m3=float(moisture[number]),
        )
        for number, day in enumerate(days.dates)
    }


def kept(old: Mapping[date, Day], fresh: Mapping[date, Day], today: date) -> dict[date, Day]:
    """Days to keep: those known before, and those that the fresh forecast knows as well or better.

    The day itself and the next are kept as they are forecast: a service that gives no past hours gives no
    other chance.
    """
    days = dict(old)
    for day, figures in fresh.items():
        near = day <= today + timedelta(days=1) and figures.hours >= _WHOLE_H
        if near and (day not in days or figures.hours >= days[day].hours):
            days[day] = figures
    first = today - timedelta(days=KEEP_DAYS)
    return {day: days[day] for day in sorted(days) if first <= day <= today + timedelta(days=1)}


def as_json(days: Mapping[date, Day]) -> dict[str, list[float | None]]:
    """Days as JSON takes them: air, soil, rain, hours, use, moisture; null where not known."""
    return {
        day.isoformat(): [
            _plain(figures.air_c),
            _plain(figures.soil_c),
            _plain(figures.rain_mm),
            figures.hours,
            _plain(figures.et0_mm),
            _plain(figures.moisture_m3m3, 3),
        ]
        for day, figures in days.items()
    }


def from_json(rows: Mapping[str, list[float | None]]) -> dict[date, Day]:
    """Days from their JSON form; use and moisture are not known of days that a former version kept."""
    days = {}
    for day, row in rows.items():
        air, soil, rain, hours, et0, moisture = (*row, None, None)[:6]
        figures = [
            float("nan") if figure is None else float(figure) for figure in (air, soil, rain, et0, moisture)
        ]
        days[date.fromisoformat(day)] = Day(
            air_c=figures[0],
            soil_c=figures[1],
            rain_mm=figures[2],
            hours=int(hours or 0),
            et0_mm=figures[3],
            moisture_m3m3=figures[4],
        )
    return days


def _plain(value: float, digits: int = 2) -> float | None:
    return None if value != value else round(value, digits)


@dataclass(frozen=True, slots=True, kw_only=True)
class Timeline:
    """Past days and those of the forecast in one row, on the site's clock."""

    zone: ZoneInfo
    days: Mapping[date, Day]
    weather: HourlyWeather

    def air_c(self, first: date, last: date) -> Array:
        """Mean air temperature of each day from first to last, small holes bridged, shape (days,)."""
        # A hole at the edge can only be bridged by looking beyond it.
        margin = timedelta(days=BRIDGED_DAYS)
        count = (last - first).days + 1 + 2 * BRIDGED_DAYS
        wanted = [first - margin + timedelta(days=number) for number in range(count)]
        values = np.array([self.days[day].air_c if day in self.days else np.nan for day in wanted])
        return _bridged(values)[BRIDGED_DAYS : count - BRIDGED_DAYS]

    def since(self, moment: datetime, rate: Rate) -> Array:
        """What days of that rate add up to from the moment to the start of each hour, shape (hours,).

        `rate` turns the daily figures into a rate a day. 0 for the hour that holds the moment, NaN before it,
        and from the first day on that is not known.
        """
        labels = self.weather.epoch_s.astype(np.float64)
        holds = (labels <= moment.timestamp()) & (moment.timestamp() < labels + HOUR_S)
        return self._sums(moment, np.where(holds, moment.timestamp(), labels), rate)

    def from_hour_of(self, moment: datetime) -> NDArray[np.bool_]:
        """Which hours begin with the one that holds the moment, or come after it, shape (hours,)."""
        return np.asarray(self.weather.epoch_s > moment.timestamp() - HOUR_S)

    def between(self, begin: datetime, end: datetime, rate: Rate) -> float:
        """The same from one moment to another; NaN when a day on the way is not known."""
        return float(self._sums(begin, np.array([end.timestamp()]), rate)[0])

    def reaches(self, moment: datetime, wanted: float, rate: Rate) -> datetime | None:
        """The full hour by which the sum since the moment reaches a figure, also one long past.

        None when it does not within the forecast, or when a day on the way is not known.
        """
        first = -(-moment.timestamp() // HOUR_S) * HOUR_S
        labels = np.arange(first, self.weather.end.timestamp() + 1, HOUR_S)
        if not labels.size:
            return None
        over = np.flatnonzero(self._sums(moment, labels, rate) >= wanted - 1e-9)
        return datetime.fromtimestamp(float(labels[over[0]]), UTC) if over.size else None

    def _sums(self, moment: datetime, labels: Array, rate: Rate) -> Array:
        first = moment.astimezone(self.zone).date()
        last = datetime.fromtimestamp(float(labels.max()), self.zone).date()
        if last < first or (last - first).days > KEEP_DAYS + 40:
            return np.full(labels.shape, np.nan)
        count = (last - first).days + 1
        starts = np.array([self._start(first + timedelta(days=number)) for number in range(count + 1)])
        rates = np.asarray(rate(self.air_c(first, last)), dtype=np.float64)
        before = np.concatenate([[0.0], np.cumsum(rates)])
        lengths = np.diff(starts)

        def upto(at: Array) -> Array:
            number = np.clip(np.searchsorted(starts, at, side="right") - 1, 0, count - 1)
            part = (at - starts[number]) / lengths[number]
            # Nothing of a day that has not begun is needed, known or not.
            return before[number] + np.where(part > 0.0, rates[number] * part, 0.0)

        begun = upto(np.array([moment.timestamp()]))[0]
        return np.where(labels >= moment.timestamp(), upto(labels) - begun, np.nan)

    def _start(self, day: date) -> float:
        return datetime.combine(day, time(0), self.zone).timestamp()


def timeline_of(old: Mapping[date, Day], weather: HourlyWeather, zone: ZoneInfo) -> Timeline:
    """Kept days and the forecast's, whichever knows more of a day."""
    days = dict(old)
    for day, figures in days_of(weather, zone).items():
        before = days.get(day)
        if before is None or figures.hours >= before.hours or np.isnan(before.air_c):
            days[day] = figures
    return Timeline(zone=zone, days=days, weather=weather)


def _bridged(values: Array) -> Array:
    """Holes of up to BRIDGED_DAYS filled by a straight line between their neighbours."""
    out = values.copy()
    known = np.flatnonzero(~np.isnan(values))
    for left, right in zip(known[:-1], known[1:], strict=True):
        if 1 < right - left <= BRIDGED_DAYS + 1:
            out[left : right + 1] = np.linspace(values[left], values[right], right - left + 1)
    return out
