"""Rows of growth, light, emergence and disease, each surface for itself."""

from __future__ import annotations

import numpy as np

from planner.indices import growth, leaf_wetness, sun
from planner.indices.grasses import light_enough_mol, most_nitrogen_g_m2
from planner.indices.quantities import Quantities
from planner.indices.table import Rows
from planner.indices.table_frost import night_lowest
from planner.weather import Array

#: Days to emergence are given up to here; beyond it the seed waits for warmth.
LONGEST_D = 365.0
rows = Rows()


def mean_of_days(daily: Array, days: int) -> Array:
    """Mean of each day and those before it, at most `days`, fewer at the start; NaN where one is NaN."""
    padded = np.concatenate(
        [np.zeros((daily.shape[0], 1)), np.cumsum(np.nan_to_num(daily), axis=-1)], axis=-1
    )
    gaps = np.concatenate([np.zeros((daily.shape[0], 1)), np.cumsum(np.isnan(daily), axis=-1)], axis=-1)
    last = np.arange(1, daily.shape[1] + 1)
    first = np.maximum(last - days, 0)
    mean = (padded[:, last] - padded[:, first]) / (last - first)
    return np.where(gaps[:, last] - gaps[:, first] > 0, np.nan, mean)


def _grass_growth(q: Quantities) -> tuple[float, float, str]:
    """What of a grass decides its growth potential."""
    grass = q.surface_here.grass
    return grass.optimum_c, grass.width_c, grass.season


def _season(q: Quantities) -> str:
    return q.surface_here.grass.season


def _day_growth(q: Quantities) -> Array:
    grass = q.surface_here.grass
    mean = q.days.mean_of_known(q["air_temp_c"])
    return growth.growth_potential(mean, grass.optimum_c, grass.width_c, plateau=grass.season == "warm")


@rows.surface(
    unit="0-1",
    says="Growth that the day's warmth allows",
    needs=("air_temp_c",),
    source="woods-2014",
    valid="day means of -30 to 45 C",
    check="tests/indices/test_growth.py::test_growth_potential_printed_by_woods",
    alike=_grass_growth,
)
def growth_potential(q: Quantities) -> Array:
    return q.days.spread(_day_growth(q))


@rows.surface(
    unit="0-1",
    says="Growth potential of the day and the two before",
    needs=("air_temp_c",),
    source="woods-2014",
    valid="day means of -30 to 45 C",
    check="tests/indices/test_growth.py::test_growth_potential_printed_by_woods",
    alike=_grass_growth,
)
def growth_potential_3d(q: Quantities) -> Array:
    return q.days.spread(mean_of_days(_day_growth(q), 3))


@rows.surface(
    unit="C d",
    says="Warmth over the grass's base, added up from the first hour",
    bounds=(0, 40000),
    needs=("air_temp_c",),
    source="kreuser-soldat-2009",
    valid="one base only",
    check="tests/indices/test_degree_days.py::test_interval_in_summer_and_in_spring",
)
def growing_degree_days(q: Quantities) -> Array:
    """Summed from the first hour up to the start of each."""
    daily = growth.growing_degree_days(
        q.days.mean_of_known(q["air_temp_c"]), q.surface_here.grass.degree_day_base_c
    )
    hourly = q.days.spread(daily) / 24.0
    return np.asarray(np.cumsum(hourly, axis=-1) - hourly)


@rows.surface(
    unit="mol/m2",
    says="Light for growth in the whole day, less shade",
    bounds=(0, 95),
    needs=("sunlight_mj",),
    source="thimijan-heins-1983",
    valid="days known whole",
    check="tests/indices/test_sun.py::test_daily_light_of_twenty_megajoule",
)
def light_dli_mol(q: Quantities) -> Array:
    total = np.where(q.days.lengths >= 23, q.days.total(q["sunlight_mj"]), np.nan)
    return q.days.spread(sun.daily_light_mol_m2(total * (1.0 - q.surface_here.shade)))


@rows.surface(
    unit="g/m2",
    says="Nitrogen that the growth of the day takes up",
    bounds=(0, 1),
    needs=("growth_potential",),
    source="woods-2015",
    valid="the month's most is arbitrary, says its author",
    check="tests/indices/test_growth.py::test_days_of_nitrogen_add_up_to_the_month",
)
def nitrogen_g_m2(q: Quantities) -> Array:
    most = q.constants.get("nitrogen_most_g_m2", most_nitrogen_g_m2(q.surface_here.grass))
    return growth.daily_nitrogen_g_m2(q["growth_potential"], most)


@rows.surface(
    unit="0-1",
    says="Growth that the warmth and the light of the day allow",
    needs=("growth_potential", "light_dli_mol"),
    source="own-light-limit",
    valid="days known whole; proportion is judgement",
    check="tests/indices/test_growth.py::test_shade_cuts_growth_in_proportion",
)
def growth_in_light(q: Quantities) -> Array:
    enough = q.constants.get("light_enough_mol", light_enough_mol(q.surface_here.grass))
    return growth.growth_in_light(q["growth_potential"], q["light_dli_mol"], enough)


@rows.surface(
    unit="d",
    says="Days from sowing to emergence in soil as warm as that day; 365 stands for none",
    bounds=(0, 365),
    needs=("soil_temp_c",),
    source="own-emergence",
    valid="soil of -20 to 45 C; popular tables",
    check="tests/indices/test_emergence.py::test_ryegrass_worked_example",
)
def days_to_emerge(q: Quantities) -> Array:
    """At the mean soil temperature of the day, for the grass sown last, else the surface's own."""
    sown = max(q.sowings, key=lambda sowing: sowing.at, default=None)
    grass = q.surface_here.grass if sown is None else sown.grass
    days = growth.days_to_emerge(
        q.days.mean_of_known(q["soil_temp_c"]),
        grass.emergence_days,
        grass.emergence_optimum_c,
        grass.emergence_base_c,
    )
    return q.days.spread(np.minimum(days, LONGEST_D))


@rows.surface(
    unit="0-1",
    says="Chance of dollar spot from five days' weather",
    needs=("air_temp_c", "rel_humidity_pct"),
    source="smith-2018",
    valid="no risk outside five-day means of 10 to 35 C; coefficients second-hand",
    check="tests/indices/test_disease.py::test_dollar_spot_table",
    alike=_season,
)
def dollar_spot_chance(q: Quantities) -> Array:
    temp = mean_of_days(q.days.mean_of_known(q["air_temp_c"]), 5)
    moist = mean_of_days(q.days.mean_of_known(q["rel_humidity_pct"]), 5)
    return q.days.spread(leaf_wetness.dollar_spot_chance(temp, moist))


@rows.surface(
    unit="index",
    says="Brown patch index of the day; its paper warns from 6",
    bounds=(-230, 10),
    needs=("air_temp_c", "rel_humidity_pct"),
    source="fidanza-1996",
    valid="day minimum up to 35 C; equation read",
    check="tests/indices/test_disease.py::test_brown_patch_table",
    alike=_season,
)
def brown_patch_index(q: Quantities) -> Array:
    lowest, moist = q.days.lowest(q["air_temp_c"]), q.days.mean_of_known(q["rel_humidity_pct"])
    return q.days.spread(leaf_wetness.brown_patch_index(lowest, moist))


@rows.surface(
    unit="0/1",
    says="Hot day, then a warm and humid night",
    needs=("air_temp_c", "rel_humidity_pct"),
    source="nutter-1983",
    valid="noon to noon; rule read",
    check="tests/indices/test_disease.py::test_pythium_needs_heat_then_a_warm_humid_night",
    alike=_season,
)
def pythium_risk(q: Quantities) -> Array:
    nights, moist = q.nights, q["rel_humidity_pct"]
    humid = np.where(np.isnan(moist), np.nan, (moist > 90.0).astype(np.float64))
    risk = leaf_wetness.pythium_risk(
        nights.highest(q["air_temp_c"]), nights.total(humid), night_lowest(q, "air_temp_c")
    )
    return nights.spread(risk)


@rows.surface(
    unit="0-1",
    says="Disease weather: the highest of three figures, 1 where one of their papers warns",
    needs=("dollar_spot_chance", "brown_patch_index", "pythium_risk"),
    source="own-disease-pressure",
    valid="as the three; on warm-season grass dollar spot alone",
    check="tests/indices/test_disease.py::test_pressure_is_one_at_each_published_threshold",
    alike=_season,
)
def disease_pressure(q: Quantities) -> Array:
    dollar_spot = q["dollar_spot_chance"]
    if q.surface_here.grass.season == "warm":
        # The other two were made on ryegrass and bent: of couch they say nothing.
        return leaf_wetness.disease_pressure(dollar_spot, 0.0, 0.0)
    return leaf_wetness.disease_pressure(dollar_spot, q["brown_patch_index"], q["pythium_risk"])
