"""Rain that sinks into bare ground, and what is left to run off: Green and Ampt under rain that comes and goes."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from types import MappingProxyType

import numpy as np
from numpy.typing import ArrayLike

from planner.indices.rain_energy import PARTING_H, PARTING_MM
from planner.weather import Array, within

#: An hour with less rain than this lets the wet front spread and the hollows empty: what parts two events (RUSLE).
LIGHT_MM_H = PARTING_MM / PARTING_H
#: Steps of Newton's method from the right of the root, on a curve bent one way: 0.0001 mm for any soil and rain.
_STEPS = 2
#: Water in the soil below which it counts as none: nothing is divided by it. [mm]
_NONE_MM = 1e-9


@dataclass(frozen=True, slots=True, kw_only=True)
class Intake:
    """How a soil drinks: mean suction at the wet front, and conductivity once the ground is wet."""

    suction_mm: float
    conductivity_mm_h: float


#: Rawls, Brakensiek and Miller 1983, by texture class.
INTAKES: Mapping[str, Intake] = MappingProxyType(
    {
        "sand": Intake(suction_mm=49.5, conductivity_mm_h=117.8),
        "loamy_sand": Intake(suction_mm=61.3, conductivity_mm_h=29.9),
        "sandy_loam": Intake(suction_mm=110.1, conductivity_mm_h=10.9),
        "loam": Intake(suction_mm=88.9, conductivity_mm_h=3.4),
        "silt_loam": Intake(suction_mm=166.8, conductivity_mm_h=6.5),
        "clay_loam": Intake(suction_mm=208.8, conductivity_mm_h=1.0),
        "clay": Intake(suction_mm=316.3, conductivity_mm_h=0.3),
    }
)


def ponding_mm(rate_mm_h: ArrayLike, conductivity_mm_h: ArrayLike, thirst_mm: ArrayLike) -> Array:
    """Water that has sunk in when steady rain begins to stand on the ground.

    Parameters   rate_mm_h : array. Rain. [mm/h]
                 conductivity_mm_h : array. Of the wet soil. [mm/h]
                 thirst_mm : array. Suction at the wet front times the share of the volume still to be filled. [mm]
    Returns      array, broadcast shape; infinite for rain that the soil takes for ever. [mm]
    Valid for    0 to 1000 mm/h; outside that NaN
    Missing      NaN in, NaN out
    Differs      none
    Source       mein-larson-1973
    Check        tests/indices/test_infiltration.py::test_printed_clay_ponds_after_an_hour
    """
    rate = within(rate_mm_h, 0.0, 1000.0)
    conductivity, thirst = np.asarray(conductivity_mm_h), np.asarray(thirst_mm)
    over = rate - conductivity
    with np.errstate(divide="ignore", invalid="ignore"):
        return np.asarray(np.where(over <= 0.0, np.inf, conductivity * thirst / over))


def sunk_in_mm(
    before_mm: ArrayLike,
    rate_mm_h: ArrayLike,
    hours: float,
    conductivity_mm_h: ArrayLike,
    thirst_mm: ArrayLike,
) -> Array:
    """Water that has sunk in after a span of steady rain, standing on the ground for part of it or not at all.

    Parameters   before_mm : array. Sunk in before, since the ground was as dry as `thirst_mm` says. [mm]
                 rate_mm_h : array. Rain. [mm/h]
                 hours : float. Length of the span. [h]
                 conductivity_mm_h, thirst_mm : arrays, as for ponding_mm.
    Returns      array, broadcast shape; never more than came. [mm]
    Valid for    0 to 1000 mm/h on deep soil alike from top to bottom
    Missing      NaN in, NaN out
    Differs      none
    Source       mein-larson-1973, green-ampt-1911; rain that changes by chu-1978 (span after span)
    Check        tests/indices/test_infiltration.py::test_printed_storm_on_sandy_loam
    """
    before, rate, conductivity, thirst = np.broadcast_arrays(
        np.asarray(before_mm, dtype=np.float64),
        within(rate_mm_h, 0.0, 1000.0),
        np.asarray(conductivity_mm_h, dtype=np.float64),
        np.asarray(thirst_mm, dtype=np.float64),
    )
    with np.errstate(divide="ignore", invalid="ignore"):
        sunk = _sunk_in(before, rate, hours, conductivity, thirst)
    return np.asarray(np.where(np.isnan(conductivity + thirst), np.nan, sunk))


def _sunk_in(before: Array, rate: Array, hours: float, conductivity: Array, thirst: Array) -> Array:
    """The same on arrays of one shape, for the loop over hours."""
    out: Array = np.asarray(before + rate * hours)
    over = rate - conductivity
    stands_from = np.maximum(np.where(over > 0.0, conductivity * thirst / over, np.inf), before)
    # Where it stands before the span is over, the rest of the span is infiltration under standing water.
    stands = stands_from < out
    if not stands.any():
        return out
    first, rain, k, b = stands_from[stands], rate[stands], conductivity[stands], thirst[stands]
    left = hours - (first - before[stands]) / rain
    wet, known = np.maximum(first + b, _NONE_MM), first + k * left
    # Suction alone and gravity alone, added: never less than both together, and close.
    sunk = np.sqrt(first * first + 2.0 * k * b * left) + k * left
    for _ in range(_STEPS):
        sunk -= (sunk - b * np.log((sunk + b) / wet) - known) * (sunk + b) / np.maximum(sunk, _NONE_MM)
    out[stands] = np.minimum(np.maximum(sunk, first), out[stands])
    return out


@dataclass(frozen=True, slots=True, kw_only=True)
class Ground:
    """Ground of many rows (a root zone and member each), arrays of shape (rows,) or (rows, hours)."""

    room: Array
    """Share of the volume that water could still fill at the start of each hour, (rows, hours). [0-1]"""
    suction_mm: Array
    conductivity_mm_h: Array
    spreads_h: Array
    """Hours in which two thirds of the water at the wet front have spread on, once the rain is over. [h]"""
    frozen: Array
    """Nonzero where nothing sinks in, (rows, hours)."""


@np.errstate(divide="ignore", invalid="ignore")
def peak_excess_mm_h(
    rain_mm: Array, melt_mm: Array, ground: Ground, *, quarters: Array, beds: Array, hollows_mm: float
) -> Array:
    """Hardest quarter hour of the water that neither sinks in nor stays in hollows, in each hour.

    Parameters   rain_mm, melt_mm : arrays (rows, hours). Rain, and snow that melts evenly. [mm]
                 ground : of the same rows.
                 quarters : array (ways, 4). Shares of the hour's rain in its quarters.
                 beds : array (ways,). Conductivity of the bed as a share of the soil's.
                 hollows_mm : float. Water that the hollows of the bed hold. [mm]
    Returns      array (ways, rows, hours), 0 without water. [mm/h]
    Valid for    hourly rain of 0 to 200 mm
    Missing      an hour that is not known counts as dry, and the wet front stays where it is
    Differs      room is that of each hour, not of the event's first: in a long rain, so, too little sinks in rather
                 than too much; the wet front spreads in hours of less than 0.21 mm
    Source       mein-larson-1973, chu-1978; own-seed-wash (spread, hollows)
    Check        tests/indices/test_infiltration.py::test_second_storm_finds_wetter_ground
    """
    unknown = np.isnan(rain_mm) | np.isnan(melt_mm)
    rain, melt = np.where(unknown, 0.0, rain_mm), np.where(unknown, 0.0, melt_mm)
    ways, rows = beds.size, rain.shape[0]
    out = np.zeros((ways, *rain.shape))
    water, hardest = rain + melt, 4.0 * float(quarters.max()) * rain + melt
    frozen = (ground.frozen != 0.0) & (water > 0.0)
    # Soil that takes the hardest quarter hour, however wet it is, sheds nothing.
    if not (frozen | (hardest > float(beds.min()) * ground.conductivity_mm_h[:, None])).any():
        return out
    rates = 4.0 * quarters
    kept = np.exp(-1.0 / ground.spreads_h)
    conductivity = beds[:, None] * ground.conductivity_mm_h
    thirst = ground.suction_mm[:, None] * ground.room
    sunk, held, last = np.zeros((ways, rows)), np.zeros((ways, rows)), -1
    for hour in np.flatnonzero((water > 0.0).any(axis=0)).tolist():
        # Dry hours between, and hours that are not known, which change nothing.
        dry = (hour - last - 1) - unknown[:, last + 1 : hour].sum(axis=1)
        if dry.any():
            sunk *= kept**dry
            held[:, dry > 0] = 0.0
        last, fell, after = hour, water[:, hour], sunk + water[:, hour]
        passes = np.where(frozen[:, hour], 0.0, conductivity)
        # What the ground takes at the end of the hour it takes all through it: only the rest is stepped through.
        takes = passes * (1.0 + thirst[:, hour] / np.maximum(after, _NONE_MM))
        runs = np.flatnonzero(hardest[:, hour] > takes.min(axis=0))
        if runs.size:
            k, front, full = passes[:, runs], sunk[:, runs], held[:, runs]
            b, most = np.broadcast_to(thirst[runs, hour], k.shape), np.zeros(k.shape)
            for quarter in range(4):
                rate = rates[:, quarter, None] * rain[runs, hour] + melt[runs, hour]
                wetter = _sunk_in(front, rate, 0.25, k, b)
                excess = 0.25 * rate - (wetter - front)
                stays = np.minimum(excess, hollows_mm - full)
                np.maximum(most, excess - stays, out=most)
                front, full = wetter, full + stays
            after[:, runs], held[:, runs], out[:, runs, hour] = front, full, 4.0 * most
        light = (fell < LIGHT_MM_H) & ~unknown[:, hour]
        after[:, light] *= kept[light]
        held[:, light] = 0.0
        sunk = after
    return out
