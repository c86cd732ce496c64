"""Every quantity that is known of a surface hour by hour, computed when first asked for.

`Quantities` answers `quantities["delta_t_k"]` with an array of shape (members or 1, hours): a weather column
as it came, or an index from the table in `planner.indices`. What depends on the sky alone is computed once
and shared by all surfaces of a site.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass, field
from datetime import UTC, date, datetime, timedelta
from functools import cached_property
from zoneinfo import ZoneInfo

import numpy as np

from planner.errors import NotKnown
from planner.indices.past import Day
from planner.site import Site, Sowing, Surface
from planner.weather import VARIABLE, Array, HourlyWeather, Whole

#: What comes from the diary and not from the weather: handed in, and unknown where nothing is on record.
DIARY_QUANTITIES: Mapping[str, str] = {
    "grass_height_ratio": "leaf length over cut height, from the growth since the last cut on record",
    "degree_days_since_regulator": "degree days since the last growth regulator on record, C d",
    "nitrogen_share_of_month": "nitrogen of the month, given, planned and of this pass, over what its growth can use",
}


#: What they are where no diary is handed in, for those of which that says something: nothing has been held back.
WITHOUT_RECORD: Mapping[str, float] = {"degree_days_since_regulator": np.inf}


@dataclass(frozen=True, slots=True, kw_only=True)
class Index:
    """One row of the table of indices."""

    name: str
    unit: str
    says: str
    """One line for people: what the figure says."""
    bounds: tuple[float, float] = (0.0, 1.0)
    """The lowest and the highest that it can be."""
    scope: str
    """`sky`: the same for all surfaces of the site; `surface`: its own for each."""
    needs: tuple[str, ...]
    """Weather columns and other indices that it reads."""
    compute: Callable[[Quantities], Array]
    source: str
    """Key in docs/references.md."""
    valid: str
    check: str
    """The test that holds it, as a pytest id: to a published number, or for sources that begin with `own-` to values
    worked by hand, measured data or properties."""
    alike: Callable[[Quantities], object] | None = None
    """What of a surface decides it, where that is not all of it: surfaces for which this is equal share the figures."""


@dataclass(frozen=True, slots=True, kw_only=True)
class LocalDays:
    """The site's days within a run of hours. A day has 23, 24 or 25 hours; the first and last may be cut."""

    dates: tuple[date, ...]
    first_hour: tuple[int, ...]
    """Index of each day's first hour."""
    of_hour: Whole
    """Day number of each hour, shape (hours,)."""

    def mean(self, values: Array) -> Array:
        """Mean of each day, shape (members, days); NaN where any hour of the day is unknown."""
        counts = np.diff([*self.first_hour, self.of_hour.size])
        sums: Array = np.add.reduceat(values, self.first_hour, axis=-1)
        out: Array = sums / counts
        return out

    def mean_of_known(self, values: Array, share: float = 0.8) -> Array:
        """Mean of each day's known hours, shape (members, days); NaN where less than `share` is known."""
        known = ~np.isnan(values)
        counts = np.add.reduceat(known.astype(np.float64), self.first_hour, axis=-1)
        sums = np.add.reduceat(np.where(known, values, 0.0), self.first_hour, axis=-1)
        enough = counts >= share * self.lengths
        return np.where(enough, sums / np.maximum(counts, 1.0), np.nan)

    @property
    def lengths(self) -> Whole:
        """Hours of each day that are there, shape (days,)."""
        ends = np.array([*self.first_hour[1:], self.of_hour.size], dtype=np.int64)
        return ends - np.array(self.first_hour, dtype=np.int64)

    def lowest(self, values: Array) -> Array:
        """Lowest of each day, shape (members, days); NaN where any hour is unknown."""
        return np.minimum.reduceat(values, self.first_hour, axis=-1)

    def highest(self, values: Array) -> Array:
        """Highest of each day, shape (members, days); NaN where any hour is unknown."""
        return np.maximum.reduceat(values, self.first_hour, axis=-1)

    def total(self, values: Array) -> Array:
        """Sum of each day, shape (members, days); NaN where any hour is unknown."""
        return np.add.reduceat(values, self.first_hour, axis=-1)

    def spread(self, daily: Array) -> Array:
        """Daily values repeated for each of their hours, shape (members, hours)."""
        return daily[..., self.of_hour]


def local_days(weather: HourlyWeather, zone: ZoneInfo, *, turn_h: int = 0) -> LocalDays:
    """The local days of the hours; with `turn_h` 12 the nights from noon to noon, dated by the evening."""
    labels = weather.epoch_s
    offsets = weather.local_offset_h(zone)
    numbers = np.floor_divide(labels + np.rint(offsets * 3600).astype(np.int64) - turn_h * 3600, 86400)
    starts = np.flatnonzero(np.diff(numbers, prepend=numbers[0] - 1))
    of_hour = np.cumsum(np.isin(np.arange(numbers.size), starts)) - 1
    dates = tuple(date(1970, 1, 1) + timedelta(days=int(numbers[start])) for start in starts)
    return LocalDays(dates=dates, first_hour=tuple(int(start) for start in starts), of_hour=of_hour)


#: Root zones of a site: soil, depth, crop factor and ready share of each, and the surface where it has water of
#: its own on record.
Zones = tuple[tuple[str, float, float, float, str], ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class ToldWater:
    """Water of one surface that is on record and not in the forecast, each of shape (hours,)."""

    given_mm: Array
    """Given in the hour; NaN where some was given, and how much is not known."""
    probe_pct: Array
    """Water in the root zone by a probe, percent of the volume; NaN where none was read."""
    given_before: Mapping[date, float] = field(default_factory=dict)
    """Given on local days before the first hour, or before it on its own day; none from before that day's reading."""
    probed_before: Mapping[date, tuple[float, float]] = field(default_factory=dict)
    """Read on those days: percent of the volume, and the share of the day that was left."""


@dataclass(frozen=True, slots=True, kw_only=True)
class ToldNights:
    """Grass minima that the keeper has read, and what was expected of nights gone by, by the date of the morning."""

    read_c: Mapping[date, float] = field(default_factory=dict)
    expected: Mapping[date, tuple[float, float]] = field(default_factory=dict)
    """Lowest and spread of nights before those of the weather, by the shipped calibration."""


class Quantities:
    """Weather and indices of one surface (or of the sky alone, when `surface` is None)."""

    def __init__(
        self,
        weather: HourlyWeather,
        site: Site,
        table: Mapping[str, Index],
        *,
        now: datetime,
        surface: Surface | None = None,
        sky: Quantities | None = None,
        sowings: tuple[Sowing, ...] = (),
        diary_quantities: Mapping[str, Array] | None = None,
        constants: Mapping[str, float] | None = None,
        told_water: Mapping[str, ToldWater] | None = None,
        past: Mapping[date, Day] | None = None,
        told_nights: ToldNights | None = None,
    ) -> None:
        self.weather = weather
        self.site = site
        self.now = now
        self.surface = surface
        self.constants = dict(constants or {})
        self.told_water: Mapping[str, ToldWater] = dict(told_water or {})
        """By the name of the surface; none for a surface with nothing on record."""
        self.past: Mapping[date, Day] = past or {} if sky is None else sky.past
        """Local days before the hours, and such as the hours hold in part, as they were kept."""
        self.told_nights = told_nights or ToldNights()
        self.sowings = tuple(s for s in sowings if surface is not None and s.surface == surface.name)
        self._table = table
        self._sky = sky
        self._diary = dict(diary_quantities or {})
        self._known: dict[str, Array] = dict(self._diary)
        self._owners: dict[str, str] = {}
        self._days: dict[int, LocalDays] = {} if sky is None else sky._days
        self._of_site: dict[tuple[str, Zones], Array] = {} if sky is None else sky._of_site

    def __getitem__(self, name: str) -> Array:
        """The quantity, shape (members or 1, hours). NotKnown when no column and no index has that name."""
        known = self._known.get(name)
        if known is not None:
            return known
        if name in VARIABLE:
            return self.weather[name]
        index = self._table.get(name)
        if index is None and name in DIARY_QUANTITIES:
            self._known[name] = np.full((1, self.weather.hours), WITHOUT_RECORD.get(name, np.nan))
            return self._known[name]
        if index is None:
            raise NotKnown("quantity", name, [*VARIABLE, *self._table])
        if index.scope == "sky" and self._sky is not None:
            values = self._sky[name]
            self._known[name] = values
            return values
        values = np.atleast_2d(index.compute(self))
        values.setflags(write=False)
        self._known[name] = values
        return values

    def owner_of(self, name: str) -> str:
        """Whose the quantity is: empty where it is the same for all surfaces of the site, else the surface, or what
        surfaces must have in common to share it."""
        owner = self._owners.get(name)
        if owner is None:
            owner = self._owners[name] = self._owner(name)
        return owner

    def _owner(self, name: str) -> str:
        if self.surface is None or name not in self._own:
            return ""
        index = self._table.get(name)
        alike = None if index is None or name in self._diary else index.alike
        return self.surface.name if alike is None else repr(alike(self))

    @cached_property
    def _own(self) -> frozenset[str]:
        own = (name for name, index in self._table.items() if index.scope == "surface")
        return frozenset((*own, *self._diary))

    def of_site(self, name: str, zones: Zones, compute: Callable[[], Array]) -> Array:
        """A quantity computed in one run for all root zones of the site, once for all its surfaces."""
        if (name, zones) not in self._of_site:
            self._of_site[name, zones] = compute()
        return self._of_site[name, zones]

    @property
    def surface_here(self) -> Surface:
        """The surface, where there must be one."""
        if self.surface is None:
            raise NotKnown("surface", "(the sky alone)", [surface.name for surface in self.site.surfaces])
        return self.surface

    @property
    def days(self) -> LocalDays:
        """Local calendar days of the site."""
        return self._local(0)

    @property
    def nights(self) -> LocalDays:
        """Local noon-to-noon spans, dated by the evening they start in."""
        return self._local(12)

    def _local(self, turn_h: int) -> LocalDays:
        if turn_h not in self._days:
            self._days[turn_h] = local_days(self.weather, self.site.zone, turn_h=turn_h)
        return self._days[turn_h]

    @cached_property
    def local_offset_h(self) -> Array:
        """Hours the site's clock is ahead of UTC at each hour, shape (hours,)."""
        return self.weather.local_offset_h(self.site.zone) if self._sky is None else self._sky.local_offset_h

    @cached_property
    def parts_of_hours(self) -> tuple[float, ...]:
        """How far the site's clock stands off the full hours of UTC: half or three quarters of an hour in places."""
        if self._sky is not None:
            return self._sky.parts_of_hours
        return tuple(np.unique(self.local_offset_h % 1.0).tolist())

    def hours_since(self, moment: datetime) -> Array:
        """Hours from the moment to the start of each hour, shape (1, hours); negative before it."""
        return np.atleast_2d((self.weather.epoch_s - moment.astimezone(UTC).timestamp()) / 3600.0)
