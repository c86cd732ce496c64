"""Water in the root zone: a bucket that fills, drains and is drunk from."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from types import MappingProxyType

import numpy as np
from numpy.typing import ArrayLike

from planner.errors import NotKnown
from planner.weather import Array

#: Bounds of a lost state that lie within this share of field capacity count as one state again.
MEETS_SHARE = 0.05
#: Water at wilting and at field capacity of the soil that a service most often takes for granted: the medium texture
#: of a global model (from memory; another service or place may mean another soil). [m3/m3]
SERVICE_WILTING, SERVICE_CAPACITY = 0.15, 0.35
#: Most that turf can use in a day whose use is not known (judgement).
_MOST_DAY_USE_MM = 12.0
#: Most that turf can use in an hour whose use is not known: reference evapotranspiration of a desert noon.
_MOST_USE_MM = 1.2


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


def soil_key(name: str, soils: Mapping[str, Soil] = SOILS) -> str:
    """The name as in the table; spaces and hyphens count as underscores. NotKnown lists the soils."""
    key = name.strip().lower().replace(" ", "_").replace("-", "_")
    if key not in soils:
        raise NotKnown("soil", name, tuple(soils))
    return key


def soil_named(name: str, soils: Mapping[str, Soil] = SOILS) -> Soil:
    """The soil of that name, read as `soil_key` reads it."""
    return soils[soil_key(name, soils)]


def readily_available_mm(total_mm: ArrayLike, day_use_mm: ArrayLike, share: float) -> Array:
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
    return np.asarray(np.asarray(total_mm, dtype=np.float64) * part)


def from_service_mm(moisture_m3m3: ArrayLike, total_mm: ArrayLike) -> Array:
    """Water over field capacity in our soil where a service tells that of its own soil.

    Parameters   moisture_m3m3 : array. Of the service's soil. [m3/m3]
                 total_mm : array. Water between field capacity and wilting point of ours. [mm]
    Returns      array, broadcast shape, 0 or less. [mm]
    Valid for    a start where nothing better is known: the same share of the available water is taken to be gone
    Missing      NaN in, NaN out
    Differs      of a surplus nothing is said, as drainage is the soil's own
    Source       own-service-moisture (judgement)
    Check        tests/indices/test_carried_water.py::test_a_services_moisture_is_read_on_its_own_scale
    """
    share = (np.asarray(moisture_m3m3, dtype=np.float64) - SERVICE_WILTING) / (
        SERVICE_CAPACITY - SERVICE_WILTING
    )
    return np.asarray((np.clip(share, 0.0, 1.0) - 1.0) * np.asarray(total_mm, dtype=np.float64))


def carried_water_mm(
    rain_mm: Array,
    use_mm: Array,
    ready_mm: Array,
    total_mm: Array,
    surplus_mm: Array,
    kept: Array,
    start_mm: Array,
    probe_mm: Array,
) -> Array:
    """Water over field capacity after a row of days: the least, the likely and the most that it can be.

    Parameters   rain_mm, use_mm, ready_mm : arrays (rows, days). Rain with water given; use; easily had water. [mm]
                 total_mm, surplus_mm : arrays (rows,). Available water; water held above field capacity. [mm]
                 kept : array (rows, days). Share of the surplus left after the day. [0-1]
                 start_mm : array (rows,). Likely water before the first day; the bounds begin empty and full. [mm]
                 probe_mm : array (rows, days). Water by a probe at the start of the day, NaN where none was read. [mm]
    Returns      array (3, rows). [mm]
    Valid for    as `run_buckets`, in steps of a day: within 1 mm of it after a month
    Missing      a day without rain widens the bounds to full, one without use by 12 mm; the likely one takes no rain
                 and the mean use of the other days
    Differs      the use of a day is taken after its rain
    Source       fao-56, equation 85; own-drainage (judgement)
    Check        tests/indices/test_carried_water.py::test_days_come_to_what_hours_come_to
    """
    no_rain, no_use = np.isnan(rain_mm), np.isnan(use_mm)
    counts = np.maximum((~no_use).sum(axis=1, keepdims=True), 1)
    middle_use = np.where(no_use, 0.0, use_mm).sum(axis=1, keepdims=True) / counts
    flood = np.where(no_rain, (total_mm + surplus_mm)[:, None], 0.0)
    rain = np.stack([np.where(no_rain, 0.0, rain_mm)] * 3) + np.stack([0.0 * flood, 0.0 * flood, flood])
    unknown = (np.full_like(use_mm, _MOST_DAY_USE_MM), np.broadcast_to(middle_use, use_mm.shape), 0.0 * flood)
    use = np.stack([np.where(no_use, value, use_mm) for value in unknown])
    ready = np.where(np.isnan(ready_mm), 0.5 * total_mm[:, None], ready_mm)
    draw = np.minimum(use / (total_mm[:, None] - ready), 1.0)
    # Counted from wilting on, as in the hours.
    full = total_mm + surplus_mm
    state = np.stack([np.zeros_like(total_mm), start_mm + total_mm, full])
    for day in range(rain_mm.shape[1]):
        read = probe_mm[:, day]
        state = np.where(np.isnan(read), state, read + total_mm)
        state = np.minimum(state + rain[:, :, day], full)
        state = state - np.minimum(use[:, :, day], state * draw[:, :, day])
        state = np.minimum(state, total_mm + kept[:, day] * np.maximum(state - total_mm, 0.0))
    return np.asarray(state - total_mm)


def run_buckets(
    rain_mm: Array,
    use_mm: Array,
    ready_mm: Array,
    total_mm: Array,
    surplus_mm: Array,
    kept: Array,
    start_mm: Array,
    measured_mm: Array | None,
    meet_mm: ArrayLike = 0.0,
    probe_mm: Array | None = None,
) -> Array:
    """Water of many root zones over field capacity at the start of each hour, negative below; a zone and member a row.

    Parameters   rain_mm, use_mm, ready_mm : arrays (rows, hours). [mm]
                 total_mm, surplus_mm : arrays (rows,). Available water; water held above field capacity. [mm]
                 kept : array (rows,). Share of the surplus left after an hour. [0-1]
                 start_mm : array (rows,). [mm]
                 measured_mm : array (rows, hours) or None. Taken up again where the state was lost, as far as the
                 bounds of what it can be allow. [mm]
                 meet_mm : array (rows,) or float. Bounds as near as this count as one. [mm]
                 probe_mm : array (rows, hours) or None. Water by a probe, which the row then has, whatever
                 it was; NaN where none was read. [mm]
    Returns      array (rows, hours). [mm]
    Valid for    level turf that takes all rain until it is full; what is more runs off
    Missing      after an unknown hour of rain or use the row is NaN until a measured hour, or until the
                 driest and the fullest it can be lie within `meet_mm`; from then on the middle of the two
    Differs      surplus over field capacity drains in the soil's own time, FAO-56 lets it go at once
    Source       fao-56, equation 85; own-drainage (judgement)
    Check        tests/indices/test_soil_water.py::test_surplus_drains_and_drought_is_bounded
    """
    gaps = np.isnan(rain_mm + use_mm).any(axis=1) | np.isnan(start_mm)
    probe = np.full(rain_mm.shape, np.nan) if probe_mm is None else probe_mm
    if not gaps.any():
        return _run_known(rain_mm, use_mm, ready_mm, total_mm, surplus_mm, kept, start_mm, probe)
    out = np.empty(rain_mm.shape)
    whole = ~gaps
    columns = (rain_mm, use_mm, ready_mm, total_mm, surplus_mm, kept, start_mm, probe)
    if whole.any():
        out[whole] = _run_known(*(column[whole] for column in columns))
    measured = None if measured_mm is None else measured_mm[gaps]
    near = np.broadcast_to(np.asarray(meet_mm, dtype=np.float64), start_mm.shape)[gaps]
    row = tuple(column[gaps] for column in columns)
    out[gaps] = _run_between(row, measured, near)
    return out


def _run_known(
    rain_mm: Array,
    use_mm: Array,
    ready_mm: Array,
    total_mm: Array,
    surplus_mm: Array,
    kept: Array,
    start_mm: Array,
    probe_mm: Array,
) -> Array:
    rows, hours = rain_mm.shape
    probed = set(np.flatnonzero(~np.isnan(probe_mm).all(axis=0)).tolist())
    rain_by_hour, use_by_hour = np.ascontiguousarray(rain_mm.T), np.ascontiguousarray(use_mm.T)
    # Below the readily available water the draw shrinks with what is left, and never passes it.
    draw_by_hour = np.ascontiguousarray(np.minimum(use_mm / (total_mm[:, None] - ready_mm), 1.0).T)
    out = np.empty((hours, rows))
    # Counted from wilting on, so that nothing needs holding at 0.
    state, full = start_mm + total_mm, surplus_mm + total_mm
    drawn, drained = np.empty(rows), np.empty(rows)
    stays = total_mm * (1.0 - kept)
    for hour in range(hours):
        if hour in probed:
            state = np.where(np.isnan(probe_mm[:, hour]), state, probe_mm[:, hour] + total_mm)
        out[hour] = state
        state += rain_by_hour[hour]
        np.minimum(state, full, out=state)
        np.multiply(state, draw_by_hour[hour], out=drawn)
        np.minimum(use_by_hour[hour], drawn, out=drawn)
        state -= drawn
        # Of what stands above field capacity the share `kept` is left; below it this line is the higher.
        np.multiply(state, kept, out=drained)
        drained += stays
        np.minimum(state, drained, out=state)
    out -= total_mm
    return np.ascontiguousarray(out.T)


def _run_between(rows: tuple[Array, ...], measured_mm: Array | None, meet_mm: Array) -> Array:
    """The driest and the fullest that each root zone can be, and the middle once they have met.

    Two buckets under the same hours never part further, so what has met stays met until the next gap.
    """
    rain_mm, use_mm, ready_mm, total_mm, surplus_mm, kept, start_mm, probe_mm = rows
    probed = set(np.flatnonzero(~np.isnan(probe_mm).all(axis=0)).tolist())
    ready = np.where(np.isnan(ready_mm), 0.5 * total_mm[:, None], ready_mm)
    no_rain, no_use = np.isnan(rain_mm), np.isnan(use_mm)
    # Where a figure is unknown the dry bound takes the least water and the most use, the wet bound is full.
    rain = np.where(no_rain, 0.0, rain_mm)
    use = np.stack([np.where(no_use, _MOST_USE_MM, use_mm), np.where(no_use, 0.0, use_mm)])
    draw = use / (total_mm[:, None] - ready)
    rain_by_hour, full_by_hour = np.ascontiguousarray(rain.T), np.ascontiguousarray(no_rain.T)
    use_by_hour = np.ascontiguousarray(np.moveaxis(use, 2, 0))
    draw_by_hour = np.ascontiguousarray(np.moveaxis(draw, 2, 0))
    measured = None if measured_mm is None else np.ascontiguousarray(measured_mm.T)
    full_hours = np.asarray(full_by_hour.any(axis=1))
    out = np.empty(rain_by_hour.shape)
    unknown = np.isnan(start_mm)
    bounds = np.stack([np.where(unknown, -total_mm, start_mm), np.where(unknown, surplus_mm, start_mm)])
    drawn, drained = np.empty(bounds.shape), np.empty(bounds.shape)
    for hour in range(rain_by_hour.shape[0]):
        if hour in probed:
            bounds = np.where(np.isnan(probe_mm[:, hour]), bounds, probe_mm[:, hour])
        lost = bounds[1] - bounds[0] > meet_mm
        if measured is not None:
            found = lost & ~np.isnan(measured[hour])
            bounds = np.where(found, np.clip(measured[hour], bounds[0], bounds[1]), bounds)
            lost &= ~found
        np.add(bounds[0], bounds[1], out=out[hour])
        out[hour] *= 0.5
        out[hour, lost] = np.nan
        bounds += rain_by_hour[hour]
        np.minimum(bounds, surplus_mm, out=bounds)
        np.add(bounds, total_mm, out=drawn)
        np.maximum(drawn, 0.0, out=drawn)
        drawn *= draw_by_hour[hour]
        np.minimum(use_by_hour[hour], drawn, out=drawn)
        bounds -= drawn
        np.maximum(bounds, -total_mm, out=bounds)
        np.maximum(bounds, 0.0, out=drained)
        np.minimum(bounds, 0.0, out=bounds)
        drained *= kept
        bounds += drained
        if full_hours[hour]:
            bounds[1] = np.where(full_by_hour[hour], surplus_mm, bounds[1])
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
