"""What differs from surface to surface: adapters to the formulas."""

from __future__ import annotations

import numpy as np

from planner.indices import degree_days, disease, drying, emergence, growth, soil_water, sun
from planner.indices.frame import Quantities
from planner.indices.rows_sky import mean_of_days
from planner.indices.rows_sky import night_lowest as _night_lowest
from planner.indices.site_constants import light_enough_mol, most_nitrogen_g_m2
from planner.site import Grass, Surface
from planner.weather import Array


def _day_growth(q: Quantities) -> Array:
    grass = q.ground.grass
    mean = q.days.mean_of_known(q["air_temp_c"])
    return growth.growth_potential(mean, grass.optimum_c, grass.width_c, plateau=grass.season == "warm")


def growth_potential(q: Quantities) -> Array:
    return q.days.spread(_day_growth(q))


def growth_potential_3d(q: Quantities) -> Array:
    return q.days.spread(mean_of_days(_day_growth(q), 3))


def nitrogen_g_m2(q: Quantities) -> Array:
    most = q.constants.get("nitrogen_most_g_m2", most_nitrogen_g_m2(q.ground.grass))
    return growth.daily_nitrogen_g_m2(q["growth_potential"], most)


def growth_in_light(q: Quantities) -> Array:
    enough = q.constants.get("light_enough_mol", light_enough_mol(q.ground.grass))
    return growth.growth_in_light(q["growth_potential"], q["light_dli_mol"], enough)


def growing_degree_days(q: Quantities) -> Array:
    """Summed from the first hour up to the start of each."""
    daily = degree_days.growing_degree_days(
        q.days.mean_of_known(q["air_temp_c"]), q.ground.grass.degree_day_base_c
    )
    hourly = q.days.spread(daily) / 24.0
    return np.asarray(np.cumsum(hourly, axis=-1) - hourly)


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


def water_mm(q: Quantities) -> Array:
    """Water over field capacity in the root zone, negative below. All surfaces of the site in one run."""
    zones = list(dict.fromkeys(_zone(surface) for surface in (*q.site.surfaces, q.ground)))
    stacked = q.shared(("water", *zones), lambda: np.concatenate(_run_zones(q, zones)))
    members = stacked.shape[0] // len(zones)
    place = zones.index(_zone(q.ground)) * members
    return stacked[place : place + members]


_Zone = tuple[str, float, float, float]


def _zone(surface: Surface) -> _Zone:
    """What decides how a root zone fills and empties: soil, depth, crop factor and ready share."""
    return (surface.soil, surface.root_depth_m, *_crop_factor(surface.grass))


def _run_zones(q: Quantities, zones: list[_Zone]) -> list[Array]:
    water = soil_water.TURF_WATER
    rain, measured_share = q["rain_mm"], q["soil_moisture_m3m3"]
    et0 = q["et0_hour_mm"]
    shape = np.broadcast_shapes(rain.shape, et0.shape, measured_share.shape)
    parts: list[list[Array]] = [[] for _ in range(9)]
    for name, depth, factor, share in zones:
        soil = soil_water.soil_named(name)
        total = 1000.0 * (soil.field_capacity - soil.wilting_point) * depth
        surplus = 1000.0 * (soil.saturated - soil.field_capacity) * depth
        # The forecast's soil is another than ours, so of its surplus nothing can be said.
        measured = np.clip((measured_share - soil.field_capacity) * depth * 1000.0, -total, 0.0)
        start = np.where(np.isnan(measured[:, 0]), -water.start_depleted * total, measured[:, 0])
        rows = (rain, et0 * factor, _ready_mm(q, name, depth, factor, share))
        for part, values in zip(parts, rows, strict=False):
            part.append(np.broadcast_to(values, shape))
        kept = np.exp(-1.0 / soil.drains_h)
        near = soil_water.MEETS_SHARE * 1000.0 * soil.field_capacity * depth
        for part, value in zip(parts[3:], (total, surplus, kept, start, near), strict=False):
            part.append(np.broadcast_to(np.asarray(value, dtype=np.float64), shape[:1]))
        parts[8].append(np.broadcast_to(measured, shape))
    rain_mm, use_mm, ready_mm, total_mm, surplus_mm, kept_share, start_mm, near_mm, measured_mm = (
        np.concatenate(part) for part in parts
    )
    known = None if np.isnan(measured_mm).all() else measured_mm
    run = soil_water.run_buckets(
        rain_mm, use_mm, ready_mm, total_mm, surplus_mm, kept_share, start_mm, known, near_mm
    )
    return [run]


def storage_pct_fc(q: Quantities) -> Array:
    soil = soil_water.soil_named(q.ground.soil)
    return 100.0 + q["water_mm"] / (10.0 * soil.field_capacity * q.ground.root_depth_m)


def depletion_raw(q: Quantities) -> Array:
    return np.maximum(-q["water_mm"], 0.0) / _ready_mm(q, *_zone(q.ground))


def firm_in_h(q: Quantities) -> Array:
    soil = soil_water.soil_key(q.ground.soil)
    return drying.firm_in_h(q["storage_pct_fc"], q.constants.get("firm_pct", drying.FIRM_PCT[soil]))


def irrigation_mm(q: Quantities) -> Array:
    return drying.irrigation_mm(
        q["water_mm"],
        _ready_mm(q, *_zone(q.ground)),
        drying.rain_ahead_mm(q["rain_mm"]),
        trigger=q.constants.get("irrigation_trigger", 1.0),
    )


#: Days to emergence are told up to here; beyond it the seed waits for warmth.
LONGEST_D = 365.0


def days_to_emerge(q: Quantities) -> Array:
    """At the mean soil temperature of the day, for the grass sown last, else the surface's own."""
    sown = max(q.sowings, key=lambda sowing: sowing.at, default=None)
    grass = q.ground.grass if sown is None else sown.grass
    days = emergence.days_to_emerge(
        q.days.mean_of_known(q["soil_temp_c"]),
        grass.emergence_days,
        grass.emergence_optimum_c,
        grass.emergence_base_c,
    )
    return q.days.spread(np.minimum(days, LONGEST_D))


def light_dli_mol(q: Quantities) -> Array:
    total = np.where(q.days.lengths >= 23, q.days.total(q["sunlight_mj"]), np.nan)
    return q.days.spread(sun.daily_light_mol_m2(total * (1.0 - q.ground.shade)))


def dollar_spot_chance(q: Quantities) -> Array:
    temp = mean_of_days(q.days.mean_of_known(q["air_temp_c"]), 5)
    moist = mean_of_days(q.days.mean_of_known(q["rel_humidity_pct"]), 5)
    return q.days.spread(disease.dollar_spot_chance(temp, moist))


def brown_patch_index(q: Quantities) -> Array:
    lowest, moist = q.days.lowest(q["air_temp_c"]), q.days.mean_of_known(q["rel_humidity_pct"])
    return q.days.spread(disease.brown_patch_index(lowest, moist))


def pythium_risk(q: Quantities) -> Array:
    nights, moist = q.nights, q["rel_humidity_pct"]
    humid = np.where(np.isnan(moist), np.nan, (moist > 90.0).astype(np.float64))
    risk = disease.pythium_risk(
        nights.highest(q["air_temp_c"]), nights.total(humid), _night_lowest(q, "air_temp_c")
    )
    return nights.spread(risk)
