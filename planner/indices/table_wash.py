"""Rows of rain, melting snow, and the seed they wash."""

from __future__ import annotations

import numpy as np

from planner.indices import growth, rain_energy, rain_wash, runoff, soil_water
from planner.indices.quantities import Quantities
from planner.indices.rain_energy import RainEvents
from planner.indices.table import SITE_CONSTANTS, Rows
from planner.site import Sowing
from planner.weather import Array

rows = Rows()


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


def _constants(q: Quantities) -> rain_wash.WashConstants:
    own = {name: value for name, value in q.constants.items() if name not in SITE_CONSTANTS}
    return rain_wash.wash_constants(own)


def _melt(q: Quantities) -> tuple[Array | None, RainEvents]:
    """Melt water, where any snow falls in these hours, and the events that rain and melt make together."""
    melt = q["snow_melt_mm"]
    if not (melt > 0.0).any():
        return None, rain_energy.events_from_number(np.nan_to_num(q["rain_event"]))
    water = liquid_rain_mm(q) + melt
    return melt, rain_energy.rain_events(water)


def _wash(q: Quantities, end: str) -> Array:
    surface, constants = q.surface_here, _constants(q)
    soil = soil_water.soil_key(surface.soil)
    melt, events = _melt(q)
    rain = liquid_rain_mm(q)
    return rain_wash.wash_index(
        rain,
        slope_pct=surface.slope_pct,
        slope_length_m=surface.slope_length_m,
        curve_number=constants.curve_numbers[soil],
        sinks_in_mm_h=constants.sinks_in_mm_h.get(soil),
        constants=constants,
        end=end,
        events=events,
        melt_mm=melt,
        frozen=q["soil_frozen"] == 1.0,
    )


@rows.surface(
    unit="0-1",
    says="Index of the rain event washing fresh bare seed off this surface",
    needs=("rain_mm", "rain_event", "snow_melt_mm", "soil_frozen"),
    source="own-wash-index",
    valid="hourly rain; no probability",
    check="tests/indices/test_rain_wash.py::test_wash_index_worked_vectors",
)
def wash_bare(q: Quantities) -> Array:
    return _wash(q, "middle")


def _way_to_emergence(q: Quantities, sowing: Sowing) -> Array:
    """Share of the way to emergence at the start of each hour. An hour that is not known brings no growth."""
    grass, soil = sowing.grass, q["soil_temp_c"]
    rate = growth.emergence_rate_per_day(
        soil, grass.emergence_days, grass.emergence_optimum_c, grass.emergence_base_c
    )
    hourly = np.nan_to_num(rate) / 24.0
    since = q.hours_since(sowing.at)
    share_down = np.clip(since + 1.0, 0.0, 1.0)
    # Before the first hour the soil is taken to have been as warm as in the first day.
    before = hourly[:, :24].mean(axis=-1, keepdims=True) * max(float(since[0, 0]), 0.0)
    grown = hourly * share_down
    return np.asarray(before + np.cumsum(grown, axis=-1) - grown)


@rows.surface(
    unit="0-1",
    says="Share of the sown seed that rain can still take",
    needs=("soil_temp_c",),
    source="own-wash-index",
    valid="borrowed from soil loss",
    check="tests/indices/test_rain_wash.py::test_exposure_under_cover",
)
def seed_exposure(q: Quantities) -> Array:
    """Share of the seed that rain can take, of the sowing that has most to lose."""
    constants = _constants(q)
    most = np.full((1, q.weather.hours), constants.established)
    for sowing in q.sowings:
        rooted = growth.established(_way_to_emergence(q, sowing))
        open_seed = rain_wash.seed_exposure(sowing.cover_pct, sowing.tackifier, rooted, constants=constants)
        is_down = q.hours_since(sowing.at) > -1.0
        most = np.maximum(most, np.where(is_down, open_seed, constants.established))
    return most


@rows.surface(
    unit="0-1",
    says="Index of the rain event washing the seed that lies here",
    needs=("wash_bare", "seed_exposure"),
    source="own-wash-index",
    valid="hourly rain; no probability",
    check="tests/indices/test_rain_wash.py::test_wash_index_worked_vectors",
)
def wash_risk(q: Quantities) -> Array:
    return q["wash_bare"] * q["seed_exposure"]


@rows.surface(
    unit="0-1",
    says="Low end of the wash index",
    needs=("rain_mm", "rain_event", "seed_exposure", "snow_melt_mm", "soil_frozen"),
    source="own-wash-index",
    valid="hourly rain; no probability",
    check="tests/indices/test_rain_wash.py::test_band_holds_the_middle",
)
def wash_low(q: Quantities) -> Array:
    return _wash(q, "low") * q["seed_exposure"]


@rows.surface(
    unit="0-1",
    says="High end of the wash index",
    needs=("rain_mm", "rain_event", "seed_exposure", "snow_melt_mm", "soil_frozen"),
    source="own-wash-index",
    valid="hourly rain; no probability",
    check="tests/indices/test_rain_wash.py::test_band_holds_the_middle",
)
def wash_high(q: Quantities) -> Array:
    return _wash(q, "high") * q["seed_exposure"]
