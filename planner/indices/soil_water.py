"""Water in the root zone: a bucket that fills, drains and is drunk from."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from types import MappingProxyType
from typing import Any

import numpy as np

from planner.errors import NotKnown
from planner.weather import Array


@dataclass(frozen=True, slots=True, kw_only=True)
class Soil:
    """Water a soil holds, as shares of its volume, and how slowly the surplus drains."""

    saturated: float
    field_capacity: float
    wilting_point: float
    drains_h: float
    """Hours in which two thirds of the surplus over field capacity are gone (judgement)."""


#: Texture classes; field capacity and wilting point within FAO-56 table 19, from memory.
SOILS: Mapping[str, Soil] = MappingProxyType(
    {
        "sand": Soil(saturated=0.40, field_capacity=0.18, wilting_point=0.06, drains_h=4.0),
        "loamy_sand": Soil(saturated=0.41, field_capacity=0.19, wilting_point=0.07, drains_h=6.0),
        "sandy_loam": Soil(saturated=0.43, field_capacity=0.23, wilting_point=0.10, drains_h=12.0),
        "loam": Soil(saturated=0.45, field_capacity=0.27, wilting_point=0.12, drains_h=24.0),
        "silt_loam": Soil(saturated=0.47, field_capacity=0.30, wilting_point=0.14, drains_h=30.0),
        "clay_loam": Soil(saturated=0.47, field_capacity=0.34, wilting_point=0.20, drains_h=40.0),
        "clay": Soil(saturated=0.48, field_capacity=0.37, wilting_point=0.23, drains_h=60.0),
    }
)


def soil_named(name: str, soils: Mapping[str, Soil] = SOILS) -> Soil:
    """The soil of that name; spaces and hyphens count as underscores. NotKnown lists the soils there are."""
    key = name.strip().lower().replace(" ", "_").replace("-", "_")
    if key not in soils:
        raise NotKnown("soil", name, tuple(soils))
    return soils[key]


def readily_available_mm(total_mm: Any, day_use_mm: Any, share: float) -> Array:
    """Water that roots take up without stress.

    Parameters   total_mm : array. Water between field capacity and wilting point. [mm]
                 day_use_mm : array. Evapotranspiration of the day. [mm/d]
                 share : float. Tabled share, 0.40 cool-season and 0.50 warm-season turf.
    Returns      array, broadcast shape. [mm]
    Valid for    share held between 0.1 and 0.8
    Missing      NaN in, NaN out
    Differs      none
    Source       fao-56, table 22 and equations 82 and 83 (from memory)
    Check        tests/indices/test_soil_water.py::test_stress_in_the_worked_sand
    """
    part = np.clip(share + 0.04 * (5.0 - np.asarray(day_use_mm, dtype=np.float64)), 0.1, 0.8)
    return np.asarray(total_mm * part)


def stress_factor(depletion_mm: Any, total_mm: Any, ready_mm: Any) -> Array:
    """Share of its need that turf can still draw from a dry root zone.

    Parameters   depletion_mm, total_mm, ready_mm : arrays. [mm]
    Returns      array, broadcast shape. [0-1]
    Valid for    ready below total
    Missing      NaN in, NaN out
    Differs      none
    Source       fao-56, equation 84
    Check        tests/indices/test_soil_water.py::test_stress_in_the_worked_sand
    """
    left = np.asarray(total_mm) - np.asarray(depletion_mm)
    return np.asarray(np.clip(left / (np.asarray(total_mm) - np.asarray(ready_mm)), 0.0, 1.0))


def water_over_capacity_mm(
    rain_mm: Array,
    use_mm: Array,
    ready_mm: Array,
    *,
    soil: Soil,
    root_depth_m: float,
    start_mm: Array,
    measured_mm: Array | None = None,
) -> Array:
    """Water of the root zone over field capacity at the start of each hour; below it negative.

    Parameters   rain_mm, use_mm : arrays (members, hours). Rain, and need of unstressed turf. [mm]
                 ready_mm : array (members or 1, hours). Readily available water. [mm]
                 soil, root_depth_m : the root zone. [m]
                 start_mm : array (members or 1). State at the first hour. [mm]
                 measured_mm : array (members or 1, hours). Taken up again where the state was lost. [mm]
    Returns      array (members, hours). [mm]
    Valid for    level turf that takes all rain until it is full; what is more runs off
    Missing      an unknown hour of rain or use makes all later hours unknown, until a measured one
    Differs      surplus over field capacity drains in the soil's own time, FAO-56 lets it go at once
    Source       fao-56, equation 85; own-drainage (judgement)
    Check        tests/indices/test_soil_water.py::test_surplus_drains_and_drought_is_bounded
    """
    rain, use, ready = np.broadcast_arrays(rain_mm, use_mm, ready_mm)
    members, hours = rain.shape
    total = 1000.0 * (soil.field_capacity - soil.wilting_point) * root_depth_m
    surplus = 1000.0 * (soil.saturated - soil.field_capacity) * root_depth_m
    kept = float(np.exp(-1.0 / soil.drains_h))
    rain_by_hour, use_by_hour = np.ascontiguousarray(rain.T), np.ascontiguousarray(use.T)
    draw_by_hour = np.ascontiguousarray((use / (total - ready)).T)
    resume = None if measured_mm is None else np.broadcast_to(measured_mm, (members, hours)).T
    out = np.empty((hours, members))
    state = np.broadcast_to(np.asarray(start_mm, dtype=np.float64), (members,)).copy()
    for hour in range(hours):
        if resume is not None and np.isnan(state).any():
            state = np.where(np.isnan(state), resume[hour], state)
        out[hour] = state
        state = np.minimum(state + rain_by_hour[hour], surplus)
        # Turf takes its need; below the readily available water the draw shrinks with what is left.
        state -= np.minimum(use_by_hour[hour], draw_by_hour[hour] * np.maximum(state + total, 0.0))
        np.maximum(state, -total, out=state)
        state = np.where(state > 0.0, state * kept, state)
    return np.ascontiguousarray(out.T)


@dataclass(frozen=True, slots=True, kw_only=True)
class TurfWater:
    """Use of water by turf. Crop factors: Meyer 1985 means (read); shares from memory."""

    cool_crop_factor: float = 0.80
    warm_crop_factor: float = 0.65
    cool_ready_share: float = 0.40
    warm_ready_share: float = 0.50
    start_depleted: float = 0.25
    """Share of the available water taken to be gone at the first hour, when no soil moisture is forecast."""


TURF_WATER = TurfWater()
