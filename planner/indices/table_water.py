"""Rows of the water in the root zone, each surface for itself."""

from __future__ import annotations

import numpy as np

from planner.indices import leaf_wetness, soil_water
from planner.indices.quantities import Quantities, Zones
from planner.indices.table import Rows
from planner.site import Grass, Surface
from planner.weather import Array

rows = Rows()


def _crop_factor(grass: Grass) -> tuple[float, float]:
    water = soil_water.TURF_WATER
    if grass.season == "warm":
        return water.warm_crop_factor, water.warm_ready_share
    return water.cool_crop_factor, water.cool_ready_share


def _ready_mm(q: Quantities, soil_name: str, depth_m: float, factor: float, share: float) -> Array:
    soil = soil_water.soil_named(soil_name)
    total = 1000.0 * (soil.field_capacity - soil.wilting_point) * depth_m
    day_use = q.days.mean_of_known(q["et0_hour_mm"]) * 24.0 * factor
    return soil_water.readily_available_mm(total, q.days.spread(day_use), share)


def _zone(surface: Surface) -> tuple[str, float, float, float]:
    """What decides how a root zone fills and empties: soil, depth, crop factor and ready share."""
    return (surface.soil, surface.root_depth_m, *_crop_factor(surface.grass))


def _own_zone(q: Quantities, surface: Surface) -> tuple[str, float, float, float, str]:
    """The same, by itself where water of its own is on record."""
    return (*_zone(surface), surface.name if surface.name in q.told_water else "")


def _zone_here(q: Quantities) -> tuple[str, float, float, float, str]:
    return _own_zone(q, q.surface_here)


@rows.surface(
    unit="mm",
    says="Water in the root zone over field capacity",
    bounds=(-1000, 1000),
    needs=("rain_mm", "et0_hour_mm"),
    source="fao-56",
    valid="level ground",
    check="tests/indices/test_soil_water.py::test_surplus_drains_and_drought_is_bounded",
    alike=_zone_here,
)
def water_mm(q: Quantities) -> Array:
    """Water over field capacity in the root zone, negative below. All surfaces of the site in one run."""
    zones = tuple(dict.fromkeys(_own_zone(q, surface) for surface in (*q.site.surfaces, q.surface_here)))
    stacked = q.of_site("water_mm", zones, lambda: _run_zones(q, zones))
    members = stacked.shape[0] // len(zones)
    place = zones.index(_own_zone(q, q.surface_here)) * members
    return stacked[place : place + members]


def _run_zones(q: Quantities, zones: Zones) -> Array:
    water = soil_water.TURF_WATER
    rain, measured_share = q["rain_mm"], q["soil_moisture_m3m3"]
    et0 = q["et0_hour_mm"]
    shape = np.broadcast_shapes(rain.shape, et0.shape, measured_share.shape)
    parts: list[list[Array]] = [[] for _ in range(10)]
    for name, depth, factor, share, surface in zones:
        soil = soil_water.soil_named(name)
        total = 1000.0 * (soil.field_capacity - soil.wilting_point) * depth
        surplus = 1000.0 * (soil.saturated - soil.field_capacity) * depth
        # The forecast's soil is another than ours, so of its surplus nothing can be said.
        measured = np.clip((measured_share - soil.field_capacity) * depth * 1000.0, -total, 0.0)
        start = np.where(np.isnan(measured[:, 0]), -water.start_depleted * total, measured[:, 0])
        told = q.told_water.get(surface)
        fed = rain if told is None else rain + told.given_mm
        rows = (fed, et0 * factor, _ready_mm(q, name, depth, factor, share))
        for part, values in zip(parts, rows, strict=False):
            part.append(np.broadcast_to(values, shape))
        kept = np.exp(-1.0 / soil.drains_h)
        near = soil_water.MEETS_SHARE * 1000.0 * soil.field_capacity * depth
        for part, value in zip(parts[3:], (total, surplus, kept, start, near), strict=False):
            part.append(np.broadcast_to(np.asarray(value, dtype=np.float64), shape[:1]))
        parts[8].append(np.broadcast_to(measured, shape))
        by_probe = np.nan if told is None else (told.probe_pct / 100.0 - soil.field_capacity) * depth * 1000.0
        parts[9].append(np.broadcast_to(np.clip(by_probe, -total, surplus), shape))
    rain_mm, use_mm, ready_mm, total_mm, surplus_mm, kept_share, start_mm, near_mm, measured_mm, probe_mm = (
        np.concatenate(part) for part in parts
    )
    known = None if np.isnan(measured_mm).all() else measured_mm
    probed = probe_mm if q.told_water else None
    return soil_water.run_buckets(
        rain_mm, use_mm, ready_mm, total_mm, surplus_mm, kept_share, start_mm, known, near_mm, probed
    )


@rows.surface(
    unit="%",
    says="Water in the root zone, of field capacity",
    bounds=(0, 250),
    needs=("water_mm",),
    source="fao-56",
    valid="level ground",
    check="tests/indices/test_soil_water.py::test_surplus_drains_and_drought_is_bounded",
    alike=_zone_here,
)
def storage_pct_fc(q: Quantities) -> Array:
    soil = soil_water.soil_named(q.surface_here.soil)
    return 100.0 + q["water_mm"] / (10.0 * soil.field_capacity * q.surface_here.root_depth_m)


@rows.surface(
    unit="ratio",
    says="Depletion of the root zone, of the water that is easily had",
    bounds=(0, 12),
    needs=("water_mm", "et0_hour_mm"),
    source="fao-56",
    valid="level ground",
    check="tests/indices/test_soil_water.py::test_stress_in_the_worked_sand",
    alike=_zone_here,
)
def depletion_raw(q: Quantities) -> Array:
    return np.maximum(-q["water_mm"], 0.0) / _ready_mm(q, *_zone(q.surface_here))


@rows.surface(
    unit="h",
    says="Hours until the ground carries wheels",
    bounds=(0, 100000),
    needs=("storage_pct_fc",),
    source="own-drying",
    valid="no hard figure is in print",
    check="tests/indices/test_drying.py::test_loam_is_firm_a_day_or_more_after_rain_and_sand_sooner",
)
def firm_in_h(q: Quantities) -> Array:
    soil = soil_water.soil_key(q.surface_here.soil)
    return leaf_wetness.firm_in_h(
        q["storage_pct_fc"], q.constants.get("firm_pct", leaf_wetness.FIRM_PCT[soil])
    )


@rows.surface(
    unit="mm",
    says="Water to give, once the easily had water is gone, less the rain of the next 24 hours",
    bounds=(0, 1000),
    needs=("water_mm", "et0_hour_mm", "rain_mm"),
    source="fao-56",
    valid="where the rain of the next 24 hours is known",
    check="tests/indices/test_drying.py::test_water_is_due_at_the_end_of_the_ready_water",
)
def irrigation_mm(q: Quantities) -> Array:
    return leaf_wetness.irrigation_mm(
        q["water_mm"],
        _ready_mm(q, *_zone(q.surface_here)),
        leaf_wetness.rain_ahead_mm(q["rain_mm"]),
        trigger=q.constants.get("irrigation_trigger", 1.0),
    )
