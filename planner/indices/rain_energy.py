"""Rain events and the energy they bring to the ground."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

from planner.weather import Array, within

#: Less than this in six hours parts two events (RUSLE).
PARTING_MM = 1.27
PARTING_H = 6
#: Rain of an hour counts from here, the detection floor of a forecast.
_WET_MM = 1e-9

#: True EI30 per EI30 of hourly rain (Yin 2007).
HALF_HOUR_EI = 1.730

Numbers = NDArray[np.int64]


def rain_energy_mj_ha_mm(intensity_mm_h: ArrayLike) -> Array:
    """Kinetic energy of a millimetre of rain.

    Parameters   intensity_mm_h : array. [mm/h]
    Returns      array, same shape. [MJ/ha/mm]
    Valid for    0 to 300 mm/h; outside that NaN
    Missing      NaN in, NaN out
    Differs      none
    Source       brown-foster-1987
    Check        tests/indices/test_rain_energy.py::test_energy_of_the_worked_storm
    """
    rate = within(intensity_mm_h, 0.0, 300.0)
    return 0.29 * (1.0 - 0.72 * np.exp(-0.05 * rate))


@dataclass(frozen=True, slots=True, kw_only=True)
class RainEvents:
    """Events in runs of hours, and sums over each. Hours outside events have number 0."""

    number: Numbers
    """Event of each hour, shape (members, hours); numbers rise through all members."""
    first: Numbers
    """Place of each event's first hour in the flattened hours; event n stands at n - 1."""
    last: Numbers

    def on_hours(self, per_event: Array, outside: float = 0.0) -> Array:
        """A value of each event at each of its hours, `outside` elsewhere."""
        return np.concatenate([[outside], per_event])[self.number]

    def total(self, hourly: Array) -> Array:
        """Sum over each event."""
        sums = np.bincount(self.number.ravel(), hourly.ravel(), minlength=self.first.size + 1)
        return np.asarray(sums[1:], dtype=np.float64)

    def highest(self, hourly: Array) -> Array:
        """Highest of each event."""
        if not self.first.size:
            return np.zeros(0)
        bounds = np.column_stack([self.first, self.last + 1]).ravel()
        return np.maximum.reduceat(np.append(hourly.ravel(), -np.inf), bounds)[::2]


def events_from_number(number: Array) -> RainEvents:
    """The events again from the numbers at the hours, as in `RainEvents.number`, shape (members, hours)."""
    whole = number.astype(np.int64)
    flat = whole.ravel()
    places = np.flatnonzero(flat)
    count = int(flat.max(initial=0))
    first, last = np.zeros(count, dtype=np.int64), np.zeros(count, dtype=np.int64)
    last[flat[places] - 1] = places
    first[flat[places[::-1]] - 1] = places[::-1]
    return RainEvents(number=whole, first=first, last=last)


def rain_events(rain_mm: Array) -> RainEvents:
    """Rain of consecutive hours parted into events wherever six hours bring less than 1.27 mm.

    Parameters   rain_mm : array (members, hours). [mm]
    Returns      RainEvents
    Valid for    any number of hours
    Missing      an unknown hour belongs to no event and parts none
    Differs      an event has no least depth; six hours are counted from its first hour on
    Source       rusle-1997, chapter 2 (1.27 mm and 6 h; second-hand)
    Check        tests/indices/test_rain_energy.py::test_events_part_after_six_dry_hours
    """
    members, hours = rain_mm.shape
    known = ~np.isnan(rain_mm)
    depth = np.where(known, rain_mm, 0.0)
    wet = depth > _WET_MM
    lead = np.concatenate([np.zeros((members, PARTING_H + 1)), np.cumsum(depth, axis=-1)], axis=-1)
    quiet = (lead[:, PARTING_H:-1] - lead[:, :hours]) < PARTING_MM
    starts = np.zeros((members, hours), dtype=bool)
    begun = np.full(members, -PARTING_H, dtype=np.int64)
    may_start = wet & quiet
    for hour in np.flatnonzero(may_start.any(axis=0)):
        fresh = may_start[:, hour] & (hour - begun >= PARTING_H)
        starts[:, hour] = fresh
        begun[fresh] = hour
    label = np.cumsum(starts.ravel())
    first = np.flatnonzero(starts.ravel())
    number = np.zeros(label.size, dtype=np.int64)
    if not first.size:
        return RainEvents(number=number.reshape(members, hours), first=first, last=first)
    # Hours from the last wet hour of an event to the start of the next stand outside.
    places = np.flatnonzero(wet.ravel())
    last = places[np.flatnonzero(np.diff(label[places], append=label[-1] + 1))]
    inside = (label > 0) & (np.arange(label.size) <= last[np.maximum(label, 1) - 1]) & known.ravel()
    number[inside] = label[inside]
    return RainEvents(number=number.reshape(members, hours), first=first, last=last)
