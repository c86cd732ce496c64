"""The one vocabulary: what an hour of weather is.

Time is the last axis, one value an hour, the label is the START of the hour in UTC; forecast members are the
leading axis (one member is the plain forecast). Rain is the sum over the hour, radiation its mean, everything
else the value at the label. A value that is missing is NaN: never zero, never dropped.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass, field
from datetime import UTC, datetime
from itertools import pairwise
from zoneinfo import ZoneInfo

import numpy as np
from numpy.typing import ArrayLike, NDArray

from planner.errors import ForecastMalformed

Array = NDArray[np.float64]
Mask = NDArray[np.bool_]
Whole = NDArray[np.int64]
HOUR_S = 3600


def within(values: ArrayLike, low: float, high: float) -> Array:
    """The values as floats of the same shape, NaN where they lie outside low..high."""
    array = np.asarray(values, dtype=np.float64)
    return np.where((array >= low) & (array <= high), array, np.nan)


def flag(true: ArrayLike, known: ArrayLike) -> Array:
    """1 where true, 0 where known not to be, NaN where neither can be said."""
    return np.where(true, 1.0, np.where(known, 0.0, np.nan))


@dataclass(frozen=True, slots=True, kw_only=True)
class Variable:
    """One column of the hour of weather."""

    name: str
    unit: str
    standard_name: str
    over_hour: str
    """`instant`, `sum`, `mean` or `max` of the hour that starts at the label."""
    low: float
    high: float
    needed: bool
    spike: float | None = None
    """A single hour that leaves both neighbours by more than this, one way, is a fault of the record."""


def _v(
    name: str,
    unit: str,
    std: str,
    over: str,
    low: float,
    high: float,
    *,
    need: bool = False,
    spike: float | None = None,
) -> Variable:
    return Variable(
        name=name, unit=unit, standard_name=std, over_hour=over, low=low, high=high, needed=need, spike=spike
    )


#: The only list of weather columns. Standard names are those of the CF conventions.
VARIABLES: tuple[Variable, ...] = (
    _v("air_temp_c", "C", "air_temperature", "instant", -60, 55, need=True, spike=12.0),
    _v("rel_humidity_pct", "%", "relative_humidity", "instant", 0, 105, need=True),
    _v("dew_point_c", "C", "dew_point_temperature", "instant", -70, 40, spike=15.0),
    _v("wind_10m_ms", "m/s", "wind_speed", "instant", 0, 75, need=True, spike=25.0),
    _v("gust_10m_ms", "m/s", "wind_speed_of_gust", "max", 0, 75),
    _v("wind_dir_deg", "degrees", "wind_from_direction", "instant", 0, 360),
    _v("rain_mm", "mm", "precipitation_amount", "sum", 0, 200, need=True),
    _v("rain_chance_pct", "%", "precipitation_probability", "mean", 0, 100),
    _v("snow_mm", "mm", "lwe_thickness_of_snowfall_amount", "sum", 0, 200),
    _v("cloud_pct", "%", "cloud_area_fraction", "instant", 0, 113),
    _v("shortwave_wm2", "W/m2", "surface_downwelling_shortwave_flux_in_air", "mean", -5, 1400),
    _v("pressure_hpa", "hPa", "surface_air_pressure", "instant", 500, 1100),
    _v("soil_temp_6cm_c", "C", "soil_temperature", "instant", -30, 60),
    _v("soil_moisture_m3m3", "m3/m3", "volume_fraction_of_condensed_water_in_soil", "instant", 0, 0.7),
    _v("et0_mm", "mm", "water_evapotranspiration_amount", "sum", -0.1, 2),
    _v("air_temp_80m_c", "C", "air_temperature", "instant", -60, 55),
)
VARIABLE: Mapping[str, Variable] = {variable.name: variable for variable in VARIABLES}
NEEDED: tuple[str, ...] = tuple(variable.name for variable in VARIABLES if variable.needed)
#: Readings a little outside what the quantity allows, which instruments do give, are brought to the edge.
_CLIPPED: Mapping[str, tuple[float, float]] = {
    "rel_humidity_pct": (0.0, 100.0),
    "cloud_pct": (0.0, 100.0),
    "shortwave_wm2": (0.0, 1400.0),
    "et0_mm": (0.0, 2.0),
}


@dataclass(frozen=True, slots=True, kw_only=True)
class Flaw:
    """A fault of the record that was set to unknown on entry, named so that it can be shown."""

    column: str
    at: datetime
    value: float
    why: str

    def __str__(self) -> str:
        return f"{self.column} at {self.at:%Y-%m-%d %H:%M}Z is {self.value:g}: {self.why}; read as unknown"


class HourlyWeather:
    """Hours of weather, without holes in the hour axis: an hour that was not delivered is NaN in every column.

    Columns are arrays of shape (members, hours), or (1, hours) where all members share them. They are read
    only.
    """

    __slots__ = ("_absent", "_columns", "first_hour", "flaws", "hours", "members", "step_h")

    def __init__(
        self,
        *,
        first_hour: int,
        hours: int,
        columns: Mapping[str, Array],
        step_h: Array | None = None,
        flaws: tuple[Flaw, ...] = (),
    ) -> None:
        self.first_hour = first_hour
        self.hours = hours
        self.members = max((column.shape[0] for column in columns.values()), default=1)
        self.flaws = flaws
        self.step_h = np.ones(hours) if step_h is None else step_h
        self._columns = dict(columns)
        self._absent = np.full((1, hours), np.nan)
        for column in (*self._columns.values(), self._absent):
            column.setflags(write=False)

    @classmethod
    def from_columns(
        cls,
        *,
        epoch_s: Array | Whole | list[int],
        columns: Mapping[str, ArrayLike],
        step_h: ArrayLike | None = None,
    ) -> HourlyWeather:
        """Checked weather from labels (seconds since 1970, UTC) and columns of shape (hours,) or (members, hours).

        Raises ForecastMalformed for unknown columns, labels off the hour or given twice, wrong lengths, or a
        needed column that is absent. Values out of their credible range and one-hour spikes become NaN and are
        named in `flaws`. Hours that are not delivered become NaN.
        """
        labels = np.asarray(epoch_s, dtype=np.int64)
        _check_labels(labels)
        order = np.argsort(labels, kind="stable")
        labels = labels[order]
        first = int(labels[0]) // HOUR_S
        slots = labels // HOUR_S - first
        hours = int(slots[-1]) + 1
        _check_span(labels, hours)
        filled: dict[str, Array] = {}
        for name, raw in columns.items():
            if name not in VARIABLE:
                raise ForecastMalformed(
                    f'"{name}" is not a column of an hour of weather. Known: {", ".join(VARIABLE)}.'
                )
            values = np.atleast_2d(np.asarray(raw, dtype=np.float64))
            if values.shape[-1] != labels.size:
                raise ForecastMalformed(f'"{name}" has {values.shape[-1]} values for {labels.size} hours.')
            column = np.full((values.shape[0], hours), np.nan)
            column[:, slots] = values[:, order]
            filled[name] = column
        _require_needed(filled)
        steps = np.ones(hours)
        if step_h is not None:
            steps[slots] = np.asarray(step_h, dtype=np.float64)[order]
        flaws = [flaw for name in filled for flaw in _blank_flaws(VARIABLE[name], filled[name], first)]
        _complete_humidity(filled)
        return cls(first_hour=first, hours=hours, columns=filled, step_h=steps, flaws=tuple(flaws))

    def __contains__(self, name: str) -> bool:
        return name in self._columns

    def __getitem__(self, name: str) -> Array:
        """The column, shape (members or 1, hours); all NaN when the forecast does not carry it."""
        column = self._columns.get(name)
        if column is None:
            if name not in VARIABLE:
                raise KeyError(name)
            # One and the same array each time: what is computed from a column is kept by the column.
            column = self._absent
        return column

    def __iter__(self) -> Iterator[str]:
        return iter(self._columns)

    @property
    def epoch_s(self) -> Whole:
        """Labels in seconds since 1970, UTC, shape (hours,)."""
        return (np.arange(self.hours, dtype=np.int64) + self.first_hour) * HOUR_S

    @property
    def start(self) -> datetime:
        """Start of the first hour."""
        return datetime.fromtimestamp(self.first_hour * HOUR_S, UTC)

    @property
    def end(self) -> datetime:
        """End of the last hour."""
        return datetime.fromtimestamp((self.first_hour + self.hours) * HOUR_S, UTC)

    def time(self, index: int) -> datetime:
        """Start of hour `index`, UTC."""
        return datetime.fromtimestamp((self.first_hour + index) * HOUR_S, UTC)

    def index(self, moment: datetime) -> int:
        """Index of the hour that holds the moment; may lie outside 0..hours-1."""
        return int(moment.timestamp() // HOUR_S) - self.first_hour

    def cut(self, start: datetime, end: datetime) -> HourlyWeather:
        """The hours from start up to end, as a view."""
        low = max(0, self.index(start))
        high = max(low, min(self.hours, -(-int(end.timestamp()) // HOUR_S) - self.first_hour))
        return HourlyWeather(
            first_hour=self.first_hour + low,
            hours=high - low,
            columns={name: column[:, low:high] for name, column in self._columns.items()},
            step_h=self.step_h[low:high],
            flaws=tuple(flaw for flaw in self.flaws if start <= flaw.at < end),
        )

    def with_hour(self, hour: int, figures: Mapping[str, float]) -> HourlyWeather:
        """The same with these figures in one hour, by column, in all members; they are taken as they are.

        The dew point follows where temperature or humidity is among them.
        """
        columns = {name: column.copy() for name, column in self._columns.items()}
        for name, figure in figures.items():
            columns.setdefault(name, np.full((1, self.hours), np.nan))[:, hour] = figure
        if {"air_temp_c", "rel_humidity_pct"} & set(figures) and "dew_point_c" in columns:
            columns["dew_point_c"][:, hour] = np.nan
            _complete_humidity(columns)
        return HourlyWeather(
            first_hour=self.first_hour,
            hours=self.hours,
            columns=columns,
            step_h=self.step_h,
            flaws=self.flaws,
        )

    def align_to(self, other: HourlyWeather) -> HourlyWeather:
        """These hours on the axis of another forecast: unknown where they do not reach, and the other's own
        columns where these have none. So members carry their rain and wind, and share what they do not give.
        """
        columns: dict[str, Array] = {name: other[name] for name in other}
        shift = self.first_hour - other.first_hour
        low, high = max(0, shift), min(other.hours, shift + self.hours)
        for name, column in self._columns.items():
            aligned = np.full((column.shape[0], other.hours), np.nan)
            if high > low:
                aligned[:, low:high] = column[:, low - shift : high - shift]
            columns[name] = aligned
        return HourlyWeather(
            first_hour=other.first_hour, hours=other.hours, columns=columns, step_h=other.step_h
        )

    def local_offset_h(self, zone: ZoneInfo) -> Array:
        """Hours to add to UTC for the site's clock, shape (hours,). Every hour is asked only on days of change."""
        marks = [*range(0, self.hours, 24), self.hours - 1]
        at_marks = [self._offset_h(mark, zone) for mark in marks]
        offsets = np.empty(self.hours)
        for (low, high), (before, after) in zip(pairwise(marks), pairwise(at_marks), strict=True):
            offsets[low : high + 1] = before
            if before != after:
                offsets[low : high + 1] = [self._offset_h(index, zone) for index in range(low, high + 1)]
        if self.hours == 1:
            offsets[0] = at_marks[0]
        return offsets

    def _offset_h(self, index: int, zone: ZoneInfo) -> float:
        offset = self.time(index).astimezone(zone).utcoffset()
        return offset.total_seconds() / HOUR_S if offset is not None else 0.0

    def __repr__(self) -> str:
        return (
            f"HourlyWeather({self.start:%Y-%m-%dT%H:%MZ}, {self.hours} h, {self.members} member(s), "
            f"{', '.join(self._columns)})"
        )


@dataclass(frozen=True, slots=True, kw_only=True)
class Forecast:
    """Weather, where it came from, and how old it is."""

    weather: HourlyWeather
    provider: str
    issued_at: datetime | None
    """When the model run became available, where the provider says; else None."""
    fetched_at: datetime
    credit: str
    credit_url: str
    licence: str
    notes: tuple[str, ...] = field(default=())
    """What was odd about the answer, in plain words."""


def mean_of_members(values: Array) -> Array:
    """Mean over the members that know the hour (or the day), shape (hours,); NaN where none does."""
    if values.shape[0] == 1:
        return np.asarray(values[0])
    known = ~np.isnan(values)
    count = known.sum(axis=0)
    sums = np.where(known, values, 0.0).sum(axis=0)
    return np.where(count > 0, sums / np.maximum(count, 1), np.nan)


def of_members(values: Array, members: Mask) -> Array:
    """Values of these members alone, `members` of shape (members,); those that all share where they share them."""
    return values[members] if values.shape[0] == members.size else values


#: Hours that may be missing, and for each that is there: a station may be silent for a season.
_MISSING_H, _MISSING_EACH = 24 * 200, 3


def _check_span(labels: Whole, hours: int) -> None:
    if hours - labels.size > _MISSING_H + _MISSING_EACH * labels.size:
        gap = int(np.argmax(np.diff(labels)))
        ends = (datetime.fromtimestamp(int(one), UTC) for one in labels[gap : gap + 2])
        between = " to ".join(f"{one:%Y-%m-%d %H:%M}Z" for one in ends)
        raise ForecastMalformed(f"No hour is there from {between}. Is one of the two a slip?")


def _check_labels(labels: Whole) -> None:
    if labels.size == 0:
        raise ForecastMalformed("The forecast holds no hour at all.")
    off = labels[labels % HOUR_S != 0]
    if off.size:
        moment = datetime.fromtimestamp(int(off[0]), UTC)
        raise ForecastMalformed(f"The label {moment:%Y-%m-%dT%H:%M:%SZ} is not on a full hour UTC.")
    unique, counts = np.unique(labels, return_counts=True)
    if (counts > 1).any():
        moment = datetime.fromtimestamp(int(unique[counts > 1][0]), UTC)
        raise ForecastMalformed(f"The hour {moment:%Y-%m-%dT%H:%MZ} is there more than once.")
    if int(unique[-1] - unique[0]) // HOUR_S > 40 * 366 * 24:
        raise ForecastMalformed("The labels span more than forty years: are they seconds since 1970?")


def _require_needed(columns: Mapping[str, Array]) -> None:
    for name in NEEDED:
        if name in columns or (name == "rel_humidity_pct" and "dew_point_c" in columns):
            continue
        raise ForecastMalformed(f'The column "{name}" is needed and absent. Given: {", ".join(columns)}.')


def _blank_flaws(variable: Variable, column: Array, first_hour: int) -> list[Flaw]:
    """Set incredible values to NaN in place and say which they were."""
    flaws: list[Flaw] = []

    def blank(mask: Mask, why: str) -> None:
        for member, hour in np.argwhere(mask):
            moment = datetime.fromtimestamp((first_hour + int(hour)) * HOUR_S, UTC)
            flaws.append(Flaw(column=variable.name, at=moment, value=float(column[member, hour]), why=why))
        column[mask] = np.nan

    with np.errstate(invalid="ignore"):
        blank(np.isinf(column), "not a number")
        outside = (column < variable.low) | (column > variable.high)
        blank(outside, f"outside {variable.low:g} to {variable.high:g} {variable.unit}")
        if variable.spike is not None and column.shape[-1] >= 3:
            before, here, after = column[:, :-2], column[:, 1:-1], column[:, 2:]
            jump_in, jump_out = here - before, here - after
            lone = (np.minimum(np.abs(jump_in), np.abs(jump_out)) > variable.spike) & (jump_in * jump_out > 0)
            mask = np.zeros(column.shape, dtype=bool)
            mask[:, 1:-1] = lone
            blank(mask, f"leaves both neighbouring hours by more than {variable.spike:g} {variable.unit}")
        if variable.name in _CLIPPED:
            np.clip(column, *_CLIPPED[variable.name], out=column)
    return flaws


def _complete_humidity(columns: dict[str, Array]) -> None:
    """Fill relative humidity from dew point where it is missing, and the other way about.

    Magnus form with the WMO-No. 8 constants (17.62, 243.12), from memory.
    """
    temp = columns["air_temp_c"]
    humidity, dew = columns.get("rel_humidity_pct"), columns.get("dew_point_c")
    with np.errstate(invalid="ignore", divide="ignore"):
        if dew is not None:
            made = 100.0 * np.exp(17.62 * dew / (243.12 + dew) - 17.62 * temp / (243.12 + temp))
            made = np.where(made > 105.0, np.nan, np.minimum(made, 100.0))
            humidity = made if humidity is None else np.where(np.isnan(humidity), made, humidity)
        assert humidity is not None
        log = np.log(np.maximum(humidity, 0.1) / 100.0) + 17.62 * temp / (243.12 + temp)
        made = 243.12 * log / (17.62 - log)
        dew = made if dew is None else np.where(np.isnan(dew), made, dew)
    columns["rel_humidity_pct"], columns["dew_point_c"] = humidity, dew
