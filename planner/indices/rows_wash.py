"""Rain that washes seed: adapters to the formulas."""

from __future__ import annotations

import numpy as np

from planner.indices import emergence, rain_energy, rain_wash, soil_water
from planner.indices.frame import Quantities
from planner.indices.rain_energy import RainEvents
from planner.indices.rows_sky import liquid_rain_mm
from planner.indices.site_constants import SITE_CONSTANTS
from planner.site import Sowing
from planner.weather import Array


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
    surface, constants = q.ground, _constants(q)
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


def wash_bare(q: Quantities) -> Array:
    return _wash(q, "middle")


def wash_risk(q: Quantities) -> Array:
    return q["wash_bare"] * q["seed_exposure"]


def wash_low(q: Quantities) -> Array:
    return _wash(q, "low") * q["seed_exposure"]


def wash_high(q: Quantities) -> Array:
    return _wash(q, "high") * q["seed_exposure"]


def seed_exposure(q: Quantities) -> Array:
    """Share of the seed that rain can take, of the sowing that has most to lose."""
    constants = _constants(q)
    most = np.full((1, q.weather.hours), constants.established)
    for sowing in q.sowings:
        rooted = emergence.established(_way_to_emergence(q, sowing))
        open_seed = rain_wash.seed_exposure(sowing.cover_pct, sowing.tackifier, rooted, constants=constants)
        lies = q.hours_since(sowing.at) > -1.0
        most = np.maximum(most, np.where(lies, open_seed, constants.established))
    return most


def _way_to_emergence(q: Quantities, sowing: Sowing) -> Array:
    """Share of the way to emergence at the start of each hour. An hour that is not known brings no growth."""
    grass, soil = sowing.grass, q["soil_temp_c"]
    rate = emergence.emergence_rate_per_day(
        soil, grass.emergence_days, grass.emergence_optimum_c, grass.emergence_base_c
    )
    hourly = np.nan_to_num(rate) / 24.0
    since = q.hours_since(sowing.at)
    lain = np.clip(since + 1.0, 0.0, 1.0)
    # Before the first hour the soil is taken to have been as warm as in the first day.
    before = hourly[:, :24].mean(axis=-1, keepdims=True) * max(float(since[0, 0]), 0.0)
    grown = hourly * lain
    return np.asarray(before + np.cumsum(grown, axis=-1) - grown)
