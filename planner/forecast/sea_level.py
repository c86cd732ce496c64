"""Pressure at the site from pressure reduced to sea level."""

from __future__ import annotations

import numpy as np

from planner.weather import Array

#: Lapse rate of the standard atmosphere, K/m, and g M / (R L): constants of ISO 2533, from memory.
LAPSE_K_PER_M = 0.0065
EXPONENT = 5.2559


def pressure_at_site_hpa(sea_level_hpa: Array, air_temp_c: Array, elevation_m: float) -> Array:
    """Pressure at `elevation_m`, hPa, from sea-level pressure and the air temperature at the site.

    The hypsometric equation with a standard lapse of 6.5 K/km below the site. NaN where either is unknown.
    """
    kelvin = air_temp_c + 273.15
    below = LAPSE_K_PER_M * elevation_m
    with np.errstate(all="ignore"):
        return np.asarray(sea_level_hpa * (1.0 - below / (kelvin + below)) ** EXPONENT, dtype=np.float64)
