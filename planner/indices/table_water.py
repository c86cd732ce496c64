"""Rows of the water in the root zone, each surface for itself."""

from __future__ import annotations

from dataclasses import dataclass, replace
from datetime import timedelta

import numpy as np

from planner.indices import leaf_wetness, soil_water
from planner.indices.quantities import Quantities, Zones
from planner.indices.table import Rows
from planner.site import Grass, Surface
from planner.terms import short_date
from planner.weather import Array, mean_of_members

rows = Rows()
#: Days kept that the water of the root zone is counted through.
_LOOK_BACK = timedelta(days=150)


def _crop_factor(grass: Grass) -> tuple[float, float]:
    water = soil_water.TURF_WATER
    if grass.season == "warm":
        return water.warm_crop_factor, water.warm_ready_share
    return water.cool_crop_factor, water.cool_ready_share


def _ready_mm(
    q: Quantities, et0: Array, soil_name: str, depth_m: float, factor: float, share: float
) -> Array:
    soil = soil_water.soil_named(soil_name)
    total = 1000.0 * (soil.field_capacity - soil.wilting_point) * depth_m
    day_use = q.days.mean_of_known(et0) * 24.0 * factor
    return soil_water.readily_available_mm(total, q.days.spread(day_use), share)


def _zone(surface: Surface) -> tuple[str, float, float, float]:
    """What decides how a root zone fills and empties: soil, depth, crop factor and ready share."""
    return (surface.soil, surface.root_depth_m, *_crop_factor(surface.grass))


def _own_zone(q: Quantities, surface: Surface) -> tuple[str, float, float, float, str]:
    """The same, by itself where water of its own is on record."""
    return (*_zone(surface), surface.name if surface.name in q.told_water else "")


def _zone_here(q: Quantities) -> tuple[str, float, float, float, str]:
    return _own_zone(q, q.surface_here)


def _zones_of_site(q: Quantities) -> Zones:
    return tuple(dict.fromkeys(_own_zone(q, surface) for surface in (*q.site.surfaces, q.surface_here)))


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
    zones = _zones_of_site(q)
    stacked = q.of_site("water_mm", zones, lambda: _run_zones(q, zones))
    members = stacked.shape[0] // len(zones)
    place = zones.index(_own_zone(q, q.surface_here)) * members
    return stacked[place : place + members]


@dataclass(frozen=True, slots=True, kw_only=True)
class RootZones:
    """The root zones of a site, each of shape (zones,), and the water that each began with."""

    zones: Zones
    total_mm: Array
    surplus_mm: Array
    capacity_mm: Array
    drains_h: Array
    near_mm: Array
    start_mm: Array
    """The least, the likely and the most that each held at the first hour, shape (3, zones)."""

    @property
    def is_settled(self) -> bool:
        """Whether the days kept before tell what each held."""
        return bool((self.start_mm[2] - self.start_mm[0] <= self.near_mm).all())


def _root_zones(q: Quantities, zones: Zones) -> RootZones:
    kinds = [(soil_water.soil_named(name), depth) for name, depth, *_ in zones]
    total, surplus, capacity = (
        np.array([1000.0 * depth * share for share, depth in shares])
        for shares in (
            [(soil.field_capacity - soil.wilting_point, depth) for soil, depth in kinds],
            [(soil.saturated - soil.field_capacity, depth) for soil, depth in kinds],
            [(soil.field_capacity, depth) for soil, depth in kinds],
        )
    )
    made = RootZones(
        zones=zones,
        total_mm=total,
        surplus_mm=surplus,
        capacity_mm=capacity,
        drains_h=np.array([soil.drains_h for soil, _ in kinds]),
        near_mm=soil_water.MEETS_SHARE * capacity,
        start_mm=np.stack(
            [-total, _taken_mm(float(mean_of_members(q["soil_moisture_m3m3"])[0]), total), surplus]
        ),
    )
    return replace(made, start_mm=q.of_site("water_at_first_hour", zones, lambda: _carried_mm(q, made)))


def _taken_mm(moisture_m3m3: float, total_mm: Array) -> Array:
    """A start that is taken, not known: by the service's moisture, else a part of the available water down."""
    if np.isnan(moisture_m3m3):
        return -soil_water.TURF_WATER.start_depleted * total_mm
    return soil_water.from_service_mm(moisture_m3m3, total_mm)


def _carried_mm(q: Quantities, made: RootZones) -> Array:
    """Water at the first hour from the days kept before it, as `start_mm`; as it is where none is kept."""
    first = q.days.dates[0]
    since_midnight = float((q.weather.epoch_s[0] / 3600.0 + q.local_offset_h[0]) % 24.0) / 24.0
    # Of a day that the hours enter late, what they do not hold is what was kept of it and is not in them.
    last = first if since_midnight > 0.0 and first in q.past else first - timedelta(days=1)
    known = [
        day
        for day, figures in q.past.items()
        if first - _LOOK_BACK <= day <= last and not np.isnan(figures.rain_mm + figures.et0_mm)
    ]
    if not known:
        return made.start_mm
    dates = [min(known) + timedelta(days=number) for number in range((last - min(known)).days + 1)]
    kept = [q.past.get(day) for day in dates]
    rain = np.array([np.nan if day is None else day.rain_mm for day in kept])
    et0 = np.array([np.nan if day is None else day.et0_mm for day in kept])
    lasted = np.ones(len(dates))
    if last == first:
        lasted[-1] = since_midnight
        held = slice(0, int(q.days.lengths[0]))
        rain[-1] = max(rain[-1] - float(np.nansum(mean_of_members(q["rain_mm"])[held])), 0.0)
        et0[-1] = max(et0[-1] - float(np.nansum(mean_of_members(q["et0_hour_mm"])[held])), 0.0)
    count = (len(made.zones), len(dates))
    fed, use, ready, probe, left = (np.empty(count) for _ in range(5))
    for row, (_, _, factor, share, surface) in enumerate(made.zones):
        told = q.told_water.get(surface)
        given = (
            np.zeros(len(dates))
            if told is None
            else np.array([told.given_before.get(day, 0.0) for day in dates])
        )
        read = [
            (np.nan, 1.0) if told is None else told.probed_before.get(day, (np.nan, 1.0)) for day in dates
        ]
        pct, part = np.array(read).T
        # What a day brings before a reading is in the reading; of its rain that is not told apart. The part of the day
        # after the reading, as far as these hours are not in the weather.
        part = np.where(np.isnan(pct), lasted, np.maximum(part - (1.0 - lasted), 0.0))
        fed[row] = rain * part / lasted + given
        use[row] = et0 * factor * part / lasted
        ready[row] = soil_water.readily_available_mm(made.total_mm[row], et0 * factor / lasted, share)
        depth_mm = 1000.0 * made.zones[row][1]
        probe[row] = np.clip(
            pct / 100.0 * depth_mm - made.capacity_mm[row], -made.total_mm[row], made.surplus_mm[row]
        )
        left[row] = np.exp(-24.0 * part / made.drains_h[row])
    begins = kept[0]
    assert begins is not None
    return soil_water.carried_water_mm(
        fed,
        use,
        ready,
        made.total_mm,
        made.surplus_mm,
        left,
        _taken_mm(begins.moisture_m3m3, made.total_mm),
        probe,
    )


def _run_zones(q: Quantities, zones: Zones) -> Array:
    """Water of all zones hour by hour, shape (zones times members, hours)."""
    made = _root_zones(q, zones)
    return _run_from(q, made, made.start_mm[1], q["rain_mm"], q["et0_hour_mm"], q["soil_moisture_m3m3"])


def _run_from(
    q: Quantities, made: RootZones, start_mm: Array, rain: Array, et0: Array, moisture: Array
) -> Array:
    shape = np.broadcast_shapes(rain.shape, et0.shape, moisture.shape)
    parts: list[list[Array]] = [[] for _ in range(5)]
    for row, (name, depth, factor, share, surface) in enumerate(made.zones):
        told = q.told_water.get(surface)
        fed = rain if told is None else rain + told.given_mm
        total, surplus = made.total_mm[row], made.surplus_mm[row]
        by_probe = np.nan if told is None else told.probe_pct / 100.0 * depth * 1000.0 - made.capacity_mm[row]
        columns = (
            fed,
            et0 * factor,
            _ready_mm(q, et0, name, depth, factor, share),
            soil_water.from_service_mm(moisture, total),
            np.clip(by_probe, -total, surplus),
        )
        for part, values in zip(parts, columns, strict=True):
            part.append(np.broadcast_to(values, shape))
    rain_mm, use_mm, ready_mm, measured_mm, probe_mm = (np.concatenate(part) for part in parts)
    of_zone = np.repeat(np.arange(len(made.zones)), shape[0])
    return soil_water.run_buckets(
        rain_mm,
        use_mm,
        ready_mm,
        made.total_mm[of_zone],
        made.surplus_mm[of_zone],
        np.exp(-1.0 / made.drains_h)[of_zone],
        start_mm[of_zone],
        None if np.isnan(measured_mm).all() else measured_mm,
        made.near_mm[of_zone],
        probe_mm if q.told_water else None,
    )


@rows.surface(
    unit="0/1",
    says="Water in the root zone is a guess: no rain, reading or dry spell on record settles what it was",
    needs=("water_mm", "rain_mm", "et0_hour_mm"),
    source="own-service-moisture",
    valid="level ground",
    check="tests/indices/test_carried_water.py::test_water_is_a_guess_until_the_record_settles_it",
    alike=_zone_here,
)
def water_guess(q: Quantities) -> Array:
    zones = _zones_of_site(q)
    guesses = q.of_site("water_guess", zones, lambda: _guesses(q, zones))
    known = ~np.isnan(q["water_mm"]).all(axis=0)
    return np.where(known, guesses[zones.index(_zone_here(q))], np.nan)[None, :]


def record_begins(q: Quantities) -> str:
    """From when rain and use are on record, in words: `nothing is on record before Sun 3 May`."""
    first = q.days.dates[0]
    known = [
        day
        for day, figures in q.past.items()
        if day < first and not np.isnan(figures.rain_mm + figures.et0_mm)
    ]
    return f"nothing is on record before {short_date(max(min([first, *known]), first - _LOOK_BACK))}"


def _guesses(q: Quantities, zones: Zones) -> Array:
    """Whether the least and the most that a zone can hold lie apart, shape (zones, hours)."""
    made = _root_zones(q, zones)
    if made.is_settled:
        return np.zeros((len(zones), q.weather.hours))
    rain, et0 = (np.atleast_2d(mean_of_members(q[name])) for name in ("rain_mm", "et0_hour_mm"))
    least, most = (
        _run_from(q, made, made.start_mm[bound], rain, et0, np.full_like(rain, np.nan)) for bound in (0, 2)
    )
    return np.where(most - least <= made.near_mm[:, None], 0.0, 1.0)


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
    return np.maximum(-q["water_mm"], 0.0) / _ready_mm(q, q["et0_hour_mm"], *_zone(q.surface_here))


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
        _ready_mm(q, q["et0_hour_mm"], *_zone(q.surface_here)),
        leaf_wetness.rain_ahead_mm(q["rain_mm"]),
        trigger=q.constants.get("irrigation_trigger", 1.0),
    )
