"""How fast grass grows in the warmth there is: growth potential, degree days, emergence, time between cuts."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike

from planner.weather import Array, within


def growth_potential(
    air_temp_c: ArrayLike, optimum_c: float = 20.0, width_c: float = 5.5, *, plateau: bool = False
) -> Array:
    """Growth potential of turf from the mean air temperature.

    Parameters   air_temp_c : array of any shape. Mean air temperature of the day or longer. [degC]
                 optimum_c, width_c : float. 20 and 5.5 cool-season, 31 and 7 warm-season grass. [degC]
                 plateau : hold 1 above the optimum (warm-season grass).
    Returns      array, same shape. Share of full growth. [0-1]
    Valid for    means of -30 to 45 degC; outside that NaN. Light, water and feed are left out.
    Missing      NaN in, NaN out
    Differs      the plateau, which the authors of the model added later
    Source       woods-2014 (after gelernter-stowell-2005)
    Check        tests/indices/test_growth.py::test_growth_potential_printed_by_woods
    """
    temp = within(air_temp_c, -30.0, 45.0)
    away = (temp - optimum_c) / width_c
    if plateau:
        away = np.minimum(away, 0.0)
    return np.exp(-0.5 * away * away)


def monthly_nitrogen_g_m2(growth: ArrayLike, most_g_m2: float = 3.0) -> Array:
    """Nitrogen that a month of such growth takes up.

    Parameters   growth : array. Growth potential of the month. [0-1]
                 most_g_m2 : float. In a month of full growth, 3 to 4 (arbitrary, says its author). [g/m2]
    Returns      array, same shape. [g/m2]
    Valid for    growth 0 to 1; outside that NaN
    Missing      NaN in, NaN out
    Differs      none
    Source       woods-2015
    Check        tests/indices/test_growth.py::test_month_of_nitrogen
    """
    return within(growth, 0.0, 1.0) * most_g_m2


def daily_nitrogen_g_m2(growth: ArrayLike, most_g_m2: float = 3.0, month_days: float = 30.4) -> Array:
    """Nitrogen that a day of such growth takes up.

    Parameters   growth : array. Growth potential of the day. [0-1]
                 most_g_m2 : float. In a month of full growth, 3 to 4 (arbitrary, says its author). [g/m2]
                 month_days : float. Days of the month that `most_g_m2` is spread over. [d]
    Returns      array, same shape. [g/m2/d]
    Valid for    growth 0 to 1; outside that NaN
    Missing      NaN in, NaN out
    Differs      none
    Source       woods-2015
    Check        tests/indices/test_growth.py::test_days_of_nitrogen_add_up_to_the_month
    """
    return monthly_nitrogen_g_m2(growth, most_g_m2) / month_days


def growth_in_light(growth: ArrayLike, light_mol_m2: ArrayLike, enough_mol_m2: float) -> Array:
    """Growth potential cut down where light is short: in proportion to the light, up to what is enough.

    Parameters   growth : array. Growth potential by warmth alone. [0-1]
                 light_mol_m2 : array. Light of the day at the turf. [mol/m2/d]
                 enough_mol_m2 : float. Least daily light that holds the turf in good order. [mol/m2/d]
    Returns      array, broadcast shape. [0-1]
    Valid for    light 0 to 100 mol, growth 0 to 1; outside that NaN
    Missing      NaN in, NaN out
    Differs      none; that growth falls in proportion is judgement, only the least light is measured
    Source       own-light-limit (least light: russell-2019, light-fairways-2021)
    Check        tests/indices/test_growth.py::test_shade_cuts_growth_in_proportion
    """
    share = np.minimum(within(light_mol_m2, 0.0, 100.0) / enough_mol_m2, 1.0)
    return within(growth, 0.0, 1.0) * share


def growing_degree_days(day_mean_c: ArrayLike, base_c: float = 0.0) -> Array:
    """Degree days of each day, not yet added up.

    Parameters   day_mean_c : array. Mean air temperature of the day. [degC]
                 base_c : float. 0 for cool-season turf, 10 for warm-season turf. [degC]
    Returns      array, same shape, 0 or more. [degC d]
    Valid for    means of -50 to 50 degC; outside that NaN. Sums over different bases must not be compared.
    Missing      NaN in, NaN out
    Differs      no cap on hot days
    Source       kreuser-soldat-2009 (base 0 and 200 degree days); mississippi-2018 (base 10)
    Check        tests/indices/test_degree_days.py::test_interval_in_summer_and_in_spring
    """
    return np.maximum(within(day_mean_c, -50.0, 50.0) - base_c, 0.0)


@dataclass(frozen=True, slots=True, kw_only=True)
class RegulatorInterval:
    """When a growth regulator is due again. A sum holds for its own base only."""

    base_c: float
    due_at: float
    """Degree days from one application to the next. [C d]"""
    rebounds_at: float
    """Degree days from which growth outruns that of untreated turf. [C d]"""


#: Trinexapac-ethyl on creeping bent greens; the rebound began at 250 to 300.
COOL_REGULATOR = RegulatorInterval(base_c=0.0, due_at=200.0, rebounds_at=275.0)


def days_to_emerge(soil_temp_c: ArrayLike, days_at_best: float, best_c: float, base_c: float) -> Array:
    """Days from sowing to emergence at a steady soil temperature.

    Parameters   soil_temp_c : array. [degC]
                 days_at_best : float. Days at the best temperature. [d]
                 best_c, base_c : float. Best temperature, and the one at which nothing happens. [degC]
    Returns      array, same shape; infinite at the base and below. [d]
    Valid for    -20 to 45 degC; outside that NaN
    Missing      NaN in, NaN out
    Differs      no slowing above the best temperature
    Source       own-emergence (thermal time; days from popular tables and memory)
    Check        tests/indices/test_emergence.py::test_ryegrass_worked_example
    """
    rate = emergence_rate_per_day(soil_temp_c, days_at_best, best_c, base_c)
    with np.errstate(divide="ignore", over="ignore"):
        return np.asarray(1.0 / rate)


def emergence_rate_per_day(
    soil_temp_c: ArrayLike, days_at_best: float, best_c: float, base_c: float
) -> Array:
    """Share of the way to emergence that a day at this soil temperature brings.

    Parameters   as days_to_emerge
    Returns      array, same shape, 0 or more. [1/d]
    Valid for    -20 to 45 degC; outside that NaN
    Missing      NaN in, NaN out
    Differs      none
    Source       own-emergence
    Check        tests/indices/test_emergence.py::test_ryegrass_worked_example
    """
    temp = within(soil_temp_c, -20.0, 45.0)
    return np.clip(temp - base_c, 0.0, best_c - base_c) / (days_at_best * (best_c - base_c))


def established(way: ArrayLike) -> Array:
    """How far seed has rooted: 0 until first emergence, 1 at three times the time that took.

    Parameters   way : array. Time since sowing in units of the time to emergence.
    Returns      array, same shape. [0-1]
    Valid for    any
    Missing      NaN in, NaN out
    Differs      none
    Source       own-emergence (judgement)
    Check        tests/indices/test_emergence.py::test_established_between_once_and_three_times
    """
    return np.clip((np.asarray(way, dtype=np.float64) - 1.0) / 2.0, 0.0, 1.0)


#: Leaf over cut height at which a third comes off.
ONE_THIRD = 1.5


@dataclass(frozen=True, slots=True, kw_only=True)
class FullGrowth:
    """Growth in a day of full growth, learned from cuts, and how far single cuts lie from it."""

    mm_d: float
    spread_mm: float
    cuts: int


def fit_full_growth(grown_mm: ArrayLike, growth_days: ArrayLike) -> FullGrowth:
    """The keeper's own pace of growth from a log of cuts.

    Parameters   grown_mm : array (cuts,). Leaf length before the cut less the height of the cut before. [mm]
                 growth_days : array (cuts,). Growth potential summed over the days between the two. [d]
    Returns      FullGrowth: slope through the origin by least squares, and the spread of what it leaves
    Valid for    one surface, one height, one way of feeding; three cuts or more, else ValueError
    Missing      cuts with a NaN, or with no growth computed between them, are left out
    Differs      none; that length follows the index is the assumption of its author
    Source       own-mowing-log (after woods-2014)
    Check        tests/indices/test_mowing.py::test_pace_is_found_again_from_a_noisy_log
    """
    grown, sums = np.broadcast_arrays(
        np.asarray(grown_mm, dtype=np.float64), np.asarray(growth_days, dtype=np.float64)
    )
    known = ~np.isnan(grown + sums) & (sums > 0.0)
    count = int(known.sum())
    if count < 3:
        raise ValueError(f"{count} cuts are too few to learn a pace of growth from: log at least three.")
    grown, sums = grown[known], sums[known]
    pace = max(float((grown * sums).sum() / (sums * sums).sum()), 0.0)
    left = grown - pace * sums
    return FullGrowth(
        mm_d=pace, spread_mm=float(np.sqrt((left * left).sum() / max(count - 1, 1))), cuts=count
    )
