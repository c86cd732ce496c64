"""Whether the leaf is wet: a small store that dew and rain fill and the air empties."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np

from planner.indices.surface_temp import GRASS_SURFACE, KELVIN, STEFAN_BOLTZMANN, SurfaceConstants
from planner.indices.validity import within
from planner.units import WIND_2M_PER_10M
from planner.weather import Array


@dataclass(frozen=True, slots=True, kw_only=True)
class LeafConstants:
    """Constants of the store (judgement; nothing published for short turf was found).

    The dry limit lies on a flat stretch, 0.005 to 0.02 mm, of the comparison with June 2016 at Payerne.
    """

    holds_mm: float = 0.5
    """Water that leaves keep of any rain."""
    dry_below_mm: float = 0.01
    humid_pct: float = 90.0
    """Humidity that counts as wet where the store cannot be reckoned (Sentelhas 2008)."""
    wet_rain_mm: float = 0.1
    resumes_mm: float = 0.2
    """Water taken to lie on a leaf after an hour that humidity alone called wet."""


LEAF = LeafConstants()


def wet_by_humidity(rel_humidity_pct: Any, rain_mm: Any, *, constants: LeafConstants = LEAF) -> Array:
    """Wet leaf by the humidity rule.

    Parameters   rel_humidity_pct : array. [%]
                 rain_mm : array. Rain in the hour. [mm]
    Returns      array, broadcast shape. 1 wet, 0 dry.
    Valid for    humidity 0 to 105 %
    Missing      NaN where humidity or rain is NaN, unless the other is wet
    Differs      an hour of rain is wet too
    Source       sentelhas-2008 (second-hand: conference abstract)
    Check        tests/indices/test_leaf_wetness.py::test_humidity_rule
    """
    humid, rain = within(rel_humidity_pct, 0.0, 105.0), np.asarray(rain_mm, dtype=np.float64)
    wet = (humid >= constants.humid_pct) | (rain >= constants.wet_rain_mm)
    return np.where(wet, 1.0, np.where(np.isnan(humid + rain), np.nan, 0.0))


def drying_mm_per_h(
    temp_c: Any,
    rel_humidity_pct: Any,
    wind_10m_ms: Any,
    shortwave_wm2: Any,
    longwave_down_wm2: Any,
    pressure_hpa: Any = 1013.25,
    *,
    constants: SurfaceConstants = GRASS_SURFACE,
) -> Array:
    """Water that a wet leaf gives to the air in an hour.

    Parameters   temp_c, rel_humidity_pct, wind_10m_ms : arrays. [degC, %, m/s]
                 shortwave_wm2, longwave_down_wm2 : arrays. [W/m2]
                 pressure_hpa : array or float. [hPa]
    Returns      array, broadcast shape, 0 or more. [mm/h]
    Valid for    -40 to 50 degC; outside that NaN
    Missing      NaN in, NaN out
    Differs      resistance of grass (fao-56 equation 4) for that of a single leaf
    Source       penman-monteith with no surface resistance (from memory)
    Check        tests/indices/test_leaf_wetness.py::test_wet_nights_and_dry_days
    """
    temp, pressure = within(temp_c, -40.0, 50.0), within(pressure_hpa, 500.0, 1100.0)
    conductance = np.maximum(WIND_2M_PER_10M * within(wind_10m_ms, 0.0, 75.0), 0.5) / 208.0
    kelvin = temp + KELVIN
    full = 6.112 * np.exp(17.62 * temp / (243.12 + temp))
    slope = full * 17.62 * 243.12 / np.square(243.12 + temp)
    deficit = full * (1.0 - np.minimum(within(rel_humidity_pct, 0.0, 105.0), 100.0) / 100.0)
    sky = np.asarray(longwave_down_wm2, dtype=np.float64) - STEFAN_BOLTZMANN * kelvin**4
    income = (1.0 - constants.albedo) * within(shortwave_wm2, -5.0, 1400.0) + constants.emissivity * sky
    capacity = 100.0 * pressure / (287.05 * kelvin) * 1005.0 * conductance
    gamma = 1005.0 * pressure / (0.622 * 2.5e6)
    out: Array = np.maximum((slope * income + capacity * deficit) / (slope + gamma), 0.0) * (3600.0 / 2.5e6)
    return out


def wet_leaf(
    rain_mm: Array,
    dew_mm: Array,
    drying_mm: Array,
    by_humidity: Array,
    *,
    constants: LeafConstants = LEAF,
) -> Array:
    """Whether the leaf is wet at the start of the hour or becomes wet within it.

    Parameters   rain_mm, dew_mm, drying_mm : arrays (members, hours). [mm/h]
                 by_humidity : array (members, hours). 1 or 0 of the humidity rule.
    Returns      array (members, hours). 1 wet, 0 dry.
    Valid for    consecutive hours, oldest first; dry leaf before the first
    Missing      the humidity rule stands in for hours whose dew, drying or rain are not known; after an
                 hour of which nothing can be said, NaN until a full leaf would have dried
    Differs      none
    Source       own-leaf-store (after sentelhas-2008)
    Check        tests/indices/test_leaf_wetness.py::test_wet_nights_and_dry_days
    """
    rain, dew, drying, rule = np.broadcast_arrays(rain_mm, dew_mm, drying_mm, by_humidity)
    known = ~np.isnan(rain + dew + drying)
    change = np.where(known, rain + dew - drying, 0.0)
    gained = np.where(known, rain + dew, 0.0) >= constants.dry_below_mm
    rests = np.where(rule == 1.0, constants.resumes_mm, 0.0)
    least = _store_mm(change, known, rests, constants.holds_mm) > constants.dry_below_mm
    wet = (least | gained).astype(np.float64)
    unsaid = np.isnan(rule) & ~known
    if unsaid.any():
        rests = np.where(unsaid, constants.holds_mm, rests)
        most = _store_mm(change, known, rests, constants.holds_mm) > constants.dry_below_mm
        wet = np.where((most | gained) == (wet == 1.0), wet, np.nan)
    return np.where(known, wet, rule)


def wet_spells(wet: Any) -> list[tuple[int, int | None]]:
    """Onset and dry-off of each wet spell in one run of hours.

    Parameters   wet : array (hours,). 1 wet, 0 dry, NaN not known.
    Returns      pairs of hours: first wet hour, and first dry hour after it (None when the hours end, or an
                 unknown hour comes, before it is dry)
    Valid for    consecutive hours
    Missing      a spell whose onset follows an unknown hour is left out: when it began is not known
    Differs      none
    Source       own-leaf-store (counting)
    Check        tests/indices/test_leaf_wetness.py::test_spells_have_onset_and_dry_off
    """
    state = np.asarray(wet, dtype=np.float64)
    spells: list[tuple[int, int | None]] = []
    for hour in np.flatnonzero(state == 1.0):
        if hour > 0 and state[hour - 1] != 0.0:
            continue
        ends = np.flatnonzero(state[hour:] != 1.0)
        end = int(hour + ends[0]) if ends.size else None
        spells.append((int(hour), end if end is not None and state[end] == 0.0 else None))
    return spells


def _store_mm(change: Array, known: Array, rests: Array, holds_mm: float) -> Array:
    """Water on the leaf at the start of each hour; after an hour that is not known, what `rests`."""
    change, known, rests = (np.ascontiguousarray(a.T) for a in (change, known, rests))
    store = np.zeros((change.shape[0] + 1, change.shape[1]))
    whole = known.all()
    for hour in range(change.shape[0]):
        after = np.minimum(np.maximum(store[hour] + change[hour], 0.0), holds_mm)
        store[hour + 1] = after if whole else np.where(known[hour], after, rests[hour])
    out: Array = store[:-1].T
    return out
