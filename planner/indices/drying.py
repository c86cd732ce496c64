"""How long until the ground or the leaf is as wanted, and how much water the root zone wants."""

from __future__ import annotations

from collections.abc import Mapping
from types import MappingProxyType
from typing import Any

import numpy as np

from planner.weather import Array

#: Share of field capacity under which a soil carries wheels (from memory; no hard figure is in print). [%]
FIRM_PCT: Mapping[str, float] = MappingProxyType(
    {"sand": 100.0, "loamy_sand": 100.0}
    | dict.fromkeys(("sandy_loam", "loam", "silt_loam", "clay_loam", "clay"), 95.0)
)
#: Hours of coming rain that are set against an irrigation.
RAIN_AHEAD_H = 24


def hours_until(wanted: Any) -> Array:
    """Hours from each hour until the first at which something is so; 0 where it is so already.

    Parameters   wanted : array (..., hours). 1 so, 0 not, NaN not known.
    Returns      array, same shape. [h]
    Valid for    consecutive hours
    Missing      NaN when an unknown hour comes first, or when the hours end before it is so
    Differs      none
    Source       own-drying (counting)
    Check        tests/indices/test_drying.py::test_hours_are_counted_up_to_the_first
    """
    state = np.asarray(wanted, dtype=np.float64)
    hours = state.shape[-1]
    places = np.where(state == 0.0, hours, np.arange(hours))
    first = np.minimum.accumulate(places[..., ::-1], axis=-1)[..., ::-1]
    found = np.take_along_axis(state, np.minimum(first, hours - 1), axis=-1)
    return np.where((first < hours) & ~np.isnan(found), first - np.arange(hours), np.nan)


def firm_in_h(storage_pct_fc: Any, limit_pct: float) -> Array:
    """Hours until the root zone has drained and dried to where it carries wheels.

    Parameters   storage_pct_fc : array (members, hours). Water, of field capacity. [%]
                 limit_pct : float. `FIRM_PCT` of the soil, or the keeper's own. [%]
    Returns      array, same shape; 0 where it is firm. [h]
    Valid for    the model's own drainage and use; frost and traffic already done are left out
    Missing      NaN where the state on the way is not known, or not firm before the hours end
    Differs      none
    Source       own-drying (judgement; muller-2011 for the idea)
    Check        tests/indices/test_drying.py::test_loam_is_firm_a_day_or_more_after_rain_and_sand_sooner
    """
    storage = np.asarray(storage_pct_fc, dtype=np.float64)
    return hours_until(np.where(np.isnan(storage), np.nan, (storage <= limit_pct).astype(np.float64)))


def rain_ahead_mm(rain_mm: Any, hours: int = RAIN_AHEAD_H) -> Array:
    """Rain of each hour and those after it, `hours` in all.

    Parameters   rain_mm : array (..., hours). [mm]
    Returns      array, same shape. [mm]
    Valid for    consecutive hours
    Missing      NaN where one of the hours is not known or lies beyond the last
    Differs      none
    Source       own-drying (counting)
    Check        tests/indices/test_drying.py::test_rain_ahead_is_a_running_sum
    """
    rain = np.asarray(rain_mm, dtype=np.float64)
    beyond = np.full((*rain.shape[:-1], hours - 1), np.nan)
    padded = np.concatenate([rain, beyond], axis=-1)
    lead = np.zeros((*rain.shape[:-1], 1))
    sums = np.concatenate([lead, np.cumsum(np.nan_to_num(padded), axis=-1)], axis=-1)
    gaps = np.concatenate([lead, np.cumsum(np.isnan(padded), axis=-1)], axis=-1)
    total = sums[..., hours:] - sums[..., :-hours]
    return np.where(gaps[..., hours:] - gaps[..., :-hours] > 0.0, np.nan, np.maximum(total, 0.0))


def irrigation_mm(water_mm: Any, ready_mm: Any, coming_rain_mm: Any, *, trigger: float = 1.0) -> Array:
    """Water that brings the root zone back to field capacity, once it has dried to the trigger.

    Parameters   water_mm : array. Water over field capacity, negative below. [mm]
                 ready_mm : array. Water that roots take up without stress. [mm]
                 coming_rain_mm : array. Rain to be set against it. [mm]
                 trigger : float. Share of the ready water at which one waters; 1 at the onset of stress.
    Returns      array, broadcast shape; 0 while the trigger is not reached. Net, without losses. [mm]
    Valid for    level turf
    Missing      NaN where the state is not known; where it is due, NaN too when the rain is not known
    Differs      coming rain is counted in full
    Source       fao-56, equations 83 and 85 and chapter 8 on timing (from memory)
    Check        tests/indices/test_drying.py::test_water_is_due_at_the_end_of_the_ready_water
    """
    lacking = np.maximum(-np.asarray(water_mm, dtype=np.float64), 0.0)
    due = lacking >= trigger * np.asarray(ready_mm, dtype=np.float64)
    need = np.maximum(lacking - np.asarray(coming_rain_mm, dtype=np.float64), 0.0)
    known = ~np.isnan(lacking + np.asarray(ready_mm, dtype=np.float64))
    return np.where(known, np.where(due & (lacking > 0.0), need, 0.0), np.nan)
