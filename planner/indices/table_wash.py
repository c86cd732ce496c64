"""Rows of rain, melting snow, and the seed they wash."""

from __future__ import annotations

from collections.abc import Callable

import numpy as np

from planner.indices import growth, infiltration, rain_energy, rain_wash, runoff, soil_water
from planner.indices.grasses import seed_mg
from planner.indices.quantities import Quantities
from planner.indices.seed_clock import seed_clock
from planner.indices.table import SITE_CONSTANTS, Rows
from planner.site import Grass
from planner.weather import Array

rows = Rows()

#: Ends of the band over the ways.
_LOW, _HIGH = 0.1, 0.9


def liquid_rain_mm(q: Quantities) -> Array:
    """Rain without what falls as snow, where that is known."""
    return np.maximum(q["rain_mm"] - np.nan_to_num(q["snow_mm"]), 0.0)


@rows.sky(
    unit="number",
    says="Number of the rain event that holds the hour, 0 between events",
    bounds=(0, 1000000000.0),
    needs=("rain_mm",),
    source="rusle-1997",
    valid="hourly rain",
    check="tests/indices/test_rain_energy.py::test_events_part_after_six_dry_hours",
)
def rain_event(q: Quantities) -> Array:
    events = rain_energy.rain_events(liquid_rain_mm(q))
    return np.where(np.isnan(q["rain_mm"]), np.nan, events.number.astype(np.float64))


@rows.sky(
    unit="mm",
    says="Water of the hour from snow that melts",
    bounds=(0, 10),
    needs=("snow_mm", "air_temp_c"),
    source="neh-630-11",
    valid="snow that fell in these hours",
    check="tests/indices/test_snow.py::test_snow_melts_by_the_degree_and_no_more_than_there_is",
)
def snow_melt_mm(q: Quantities) -> Array:
    snowing = q["snow_mm"]
    if not (snowing > 0.0).any():
        return np.where(np.isnan(snowing), np.nan, 0.0)
    factor = q.constants.get("snow_melt_mm_k_d", runoff.MELT_MM_K_D)
    return runoff.snow_melt_mm(snowing, q["air_temp_c"], melt_mm_k_d=factor)


def _events(q: Quantities) -> rain_energy.RainEvents:
    return rain_energy.events_from_number(np.nan_to_num(q["rain_event"]))


@rows.surface(
    unit="MJ mm/ha/h",
    says="Erosivity of the rain event on this slope, a second opinion: energy, hardest half hour, slope and length",
    bounds=(0, 1000000000.0),
    needs=("rain_mm", "rain_event"),
    source="rusle-1997",
    valid="hourly rain; made for a year's loss of soil, not for one event's loss of seed",
    check="tests/indices/test_rain_energy.py::test_erosivity_of_two_hours_on_a_slope",
)
def event_erosivity(q: Quantities) -> Array:
    surface, events, rain = q.surface_here, _events(q), np.nan_to_num(liquid_rain_mm(q))
    energy = events.total(rain_energy.rain_energy_mj_ha_mm(rain) * rain)
    factor = runoff.slope_length_factor(surface.slope_pct, min(surface.slope_length_m, 300.0))
    found = energy * events.highest(rain) * rain_energy.HALF_HOUR_EI * factor
    return np.where(np.isnan(q["rain_mm"]), np.nan, events.on_hours(found))


@rows.surface(
    unit="mm",
    says="Runoff of the rain event from bare ground by curve number, a second opinion",
    bounds=(0, 10000),
    needs=("rain_mm", "rain_event"),
    source="tr-55",
    valid="12.7 mm of runoff and more, say its authors",
    check="tests/indices/test_runoff.py::test_runoff_of_tr55_example",
)
def event_runoff_mm(q: Quantities) -> Array:
    events, rain = _events(q), np.nan_to_num(liquid_rain_mm(q))
    number = runoff.BARE_CURVE_NUMBERS[soil_water.soil_key(q.surface_here.soil)]
    found = runoff.runoff_mm(events.total(rain), number)
    return np.where(np.isnan(q["rain_mm"]), np.nan, events.on_hours(found))


def _constants(q: Quantities) -> rain_wash.WashConstants:
    own = {name: value for name, value in q.constants.items() if name not in SITE_CONSTANTS}
    return rain_wash.wash_constants(own)


def melt_mm(q: Quantities) -> Array:
    """Water from melting snow; none where no snow falls in these hours, or nobody tells."""
    melt = q["snow_melt_mm"]
    return melt if (melt > 0.0).any() else np.zeros((1, q.weather.hours))


def _excess_mm_h(q: Quantities) -> Array:
    """Hardest quarter hour of flow in each hour, (ways, members, hours); once for root zones that are alike."""
    return q.of_site(f"excess_mm_h of {q.owner_of('water_mm')}", (), lambda: _run_zone(q))


def _run_zone(q: Quantities) -> Array:
    constants, surface = _constants(q), q.surface_here
    key = soil_water.soil_key(surface.soil)
    soil, intake = soil_water.SOILS[key], infiltration.INTAKES[key]
    # A root zone that is not known counts as one at field capacity, the wet side of what rain finds.
    held = np.nan_to_num(q["water_mm"]) / (1000.0 * surface.root_depth_m)
    room = np.maximum(soil.saturated - soil.field_capacity - held, 0.0)
    frozen = (q["soil_frozen"] == 1.0).astype(np.float64)
    rain, melt, room, frozen = np.broadcast_arrays(liquid_rain_mm(q), melt_mm(q), room, frozen)
    each = np.ones(rain.shape[0])
    ways = rain_wash.ways(constants)
    return infiltration.peak_excess_mm_h(
        rain,
        melt,
        infiltration.Ground(
            room=room,
            suction_mm=intake.suction_mm * each,
            conductivity_mm_h=constants.conductivity_mm_h.get(key, intake.conductivity_mm_h) * each,
            spreads_h=soil.drains_h * each,
            frozen=frozen,
        ),
        quarters=ways.quarters,
        beds=ways.beds,
        hollows_mm=constants.hollows_mm,
    )


def _shares(q: Quantities, grass: Grass) -> rain_wash.SeedShares:
    surface = q.surface_here
    return rain_wash.seed_shares(
        _excess_mm_h(q),
        slope_pct=surface.slope_pct,
        slope_length_m=surface.slope_length_m,
        seed_mg=seed_mg(grass),
        constants=_constants(q),
    )


def _where_known(q: Quantities, values: Array) -> Array:
    return np.where(np.isnan(q["rain_mm"] + melt_mm(q)), np.nan, values)


@rows.surface(
    unit="0-1",
    says="Share of bare fresh seed that the flow of the hour can take, the mean of what is likely",
    needs=("rain_mm", "snow_melt_mm", "soil_frozen", "water_mm"),
    source="own-seed-wash",
    valid="hourly rain; nobody has measured it on turf seed",
    check="tests/indices/test_rain_wash.py::test_figures_of_the_bank_and_the_green",
)
def wash_bare(q: Quantities) -> Array:
    return _where_known(q, _shares(q, q.surface_here.grass).mean())


def _exposures(q: Quantities) -> dict[Grass, Array]:
    """Share of the seed that lies open at the start of each hour, by grass: of the sowing with most to lose."""
    constants, labels = _constants(q), q.weather.epoch_s.astype(np.float64)
    most: dict[Grass, Array] = {}
    for sowing in q.sowings:
        # Soil that is not known at all has rooted nothing.
        rooted = growth.established(np.nan_to_num(seed_clock(q, sowing).at(labels)))
        open_seed = rain_wash.seed_exposure(sowing.cover_pct, sowing.tackifier, rooted, constants=constants)
        is_down = q.hours_since(sowing.at) > -1.0
        lies = np.where(is_down, open_seed, constants.established)
        most[sowing.grass] = np.maximum(most.get(sowing.grass, constants.established), lies)
    return most


@rows.surface(
    unit="0-1",
    says="Share of the sown seed that rain can still take",
    needs=("soil_temp_c",),
    source="own-seed-wash",
    valid="borrowed from soil loss",
    check="tests/indices/test_rain_wash.py::test_exposure_under_cover",
)
def seed_exposure(q: Quantities) -> Array:
    """Share of the seed that rain can take, of the sowing that has most to lose."""
    nothing = np.full((1, q.weather.hours), _constants(q).established)
    return np.asarray(np.maximum.reduce([nothing, *_exposures(q).values()]))


def _of_sowings(q: Quantities, figure: Callable[[rain_wash.SeedShares, Array], Array]) -> Array:
    """The highest figure of any grass that is sown here; 0 where nothing is."""
    found = [figure(_shares(q, grass), exposure) for grass, exposure in _exposures(q).items()]
    nothing = np.zeros((1, q.weather.hours))
    return _where_known(q, np.maximum.reduce(np.broadcast_arrays(nothing, *found)))


_NEEDS = ("rain_mm", "seed_exposure", "snow_melt_mm", "soil_frozen", "water_mm")


@rows.surface(
    unit="0-1",
    says="Share of the seed that lies here at risk in the hour, the mean of what is likely",
    needs=_NEEDS,
    source="own-seed-wash",
    valid="hourly rain; nobody has measured it on turf seed",
    check="tests/indices/test_rain_wash.py::test_figures_of_the_bank_and_the_green",
)
def wash_risk(q: Quantities) -> Array:
    return _of_sowings(q, lambda shares, exposure: shares.mean() * exposure)


@rows.surface(
    unit="0-1",
    says="Low end of the share of seed at risk: nine in ten ways are worse",
    needs=_NEEDS,
    source="own-seed-wash",
    valid="hourly rain; nobody has measured it on turf seed",
    check="tests/indices/test_rain_wash.py::test_band_holds_the_middle",
)
def wash_low(q: Quantities) -> Array:
    return _of_sowings(q, lambda shares, exposure: shares.at(_LOW) * exposure)


@rows.surface(
    unit="0-1",
    says="High end of the share of seed at risk: one in ten ways is worse",
    needs=_NEEDS,
    source="own-seed-wash",
    valid="hourly rain; nobody has measured it on turf seed",
    check="tests/indices/test_rain_wash.py::test_band_holds_the_middle",
)
def wash_high(q: Quantities) -> Array:
    return _of_sowings(q, lambda shares, exposure: shares.at(_HIGH) * exposure)


@rows.surface(
    unit="0-1",
    says="Part of the ways in which a quarter of bare seed or more goes in the hour, times the share that lies open",
    needs=_NEEDS,
    source="own-seed-wash",
    valid="hourly rain; weights of the ways are judgement",
    check="tests/indices/test_rain_wash.py::test_chance_counts_the_ways_over_a_quarter_and_the_seed_that_lies_open",
)
def wash_chance(q: Quantities) -> Array:
    over = _constants(q).washed_share
    return _of_sowings(q, lambda shares, exposure: shares.chance(exposure, over))
