"""How fast grass can grow in the warmth there is."""

from __future__ import annotations

from typing import Any

import numpy as np

from planner.indices.validity import within
from planner.weather import Array


def growth_potential(
    air_temp_c: Any, optimum_c: float = 20.0, width_c: float = 5.5, *, plateau: bool = False
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
    out: Array = np.exp(-0.5 * away * away)
    return out


def monthly_nitrogen_g_m2(growth: Any, most_g_m2: float = 3.0) -> Array:
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


def daily_nitrogen_g_m2(growth: Any, most_g_m2: float = 3.0, month_days: float = 30.4) -> Array:
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


def growth_in_light(growth: Any, light_mol_m2: Any, enough_mol_m2: float) -> Array:
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
    out: Array = within(growth, 0.0, 1.0) * share
    return out
