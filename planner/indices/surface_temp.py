"""Temperature of the grass surface from the balance of heat."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike

from planner.units import WIND_2M_PER_10M
from planner.weather import Array, within

STEFAN_BOLTZMANN = 5.670374e-8
KELVIN = 273.15
#: Magnus form over water, WMO-No. 8 constants (from memory).
_ES, _EB, _EC = 6.112, 17.62, 243.12
_GAS, _HEAT, _LATENT = 287.05, 1005.0, 2.5e6


@dataclass(frozen=True, slots=True, kw_only=True)
class SurfaceConstants:
    """Constants of the balance. The conductance was fitted to nights of Payerne, June 2016, and Bondville, summer 1998;
    it is not published."""

    emissivity: float = 0.985
    thatch_wm2k: float = 4.0
    """Conductance of thatch and top soil."""
    albedo: float = 0.23
    leaf_resistance_sm: float = 50.0
    """Surface resistance of clipped grass by day (ASCE-EWRI 2005, from memory)."""
    full_leaf_wm2: float = 50.0
    """Sunlight from which leaves transpire freely (judgement)."""


GRASS_SURFACE = SurfaceConstants()


def longwave_down_wm2(temp_c: ArrayLike, rel_humidity_pct: ArrayLike, cloud_fraction: ArrayLike) -> Array:
    """Longwave radiation of the sky: clear-sky form of Brutsaert, cloud by Unsworth and Monteith.

    Parameters   temp_c, rel_humidity_pct : arrays. Air at screen height. [degC, %]
                 cloud_fraction : array. [0-1]
    Returns      array, broadcast shape. [W/m2]
    Valid for    -60 to 60 degC, 0 to 105 %, cloud 0 to 1.13 (above 1 read as 1); outside that NaN
    Missing      NaN in, NaN out
    Differs      vapour pressure held at 0.05 hPa or more; a sky temperature above the air's is not forbidden
    Source       brutsaert-1975, equation 11; unsworth-monteith-1975 (both from memory)
    Check        tests/indices/test_surface_temp.py::test_longwave_of_payerne_nights
    """
    temp = within(temp_c, -60.0, 60.0)
    cloud = 0.84 * np.minimum(within(cloud_fraction, 0.0, 1.13), 1.0)
    kelvin = temp + KELVIN
    share = np.maximum(within(rel_humidity_pct, 0.0, 105.0), 0.1) / 100.0
    log_vapour = np.log(_ES * share) + _EB * temp / (_EC + temp)
    clear = 1.24 * np.exp((log_vapour - np.log(kelvin)) / 7.0)
    return (cloud + (1.0 - cloud) * clear) * STEFAN_BOLTZMANN * np.square(np.square(kelvin))


def surface_temp_c(
    temp_c: ArrayLike,
    rel_humidity_pct: ArrayLike,
    wind_10m_ms: ArrayLike,
    cloud_fraction: ArrayLike,
    ground_temp_c: ArrayLike,
    pressure_hpa: ArrayLike = 1013.25,
    shortwave_wm2: ArrayLike = 0.0,
    *,
    constants: SurfaceConstants = GRASS_SURFACE,
    longwave_wm2: ArrayLike | None = None,
) -> Array:
    """Temperature of a short grass surface, by clipped Newton steps on its heat balance.

    Parameters   temp_c, rel_humidity_pct : arrays. Air at screen height. [degC, %]
                 wind_10m_ms : array. [m/s]
                 cloud_fraction : array. [0-1]
                 ground_temp_c : array. Soil under the thatch. [degC]
                 pressure_hpa : array or float. [hPa]
                 shortwave_wm2 : array or float. Sunlight on the level; 0 at night. [W/m2]
                 longwave_wm2 : array, when the sky's longwave is measured. [W/m2]
    Returns      array, broadcast shape. [degC]
    Valid for    air -50 to 50 degC; not for high basins under a deep inversion, where it is several K too low
    Missing      NaN in, NaN out
    Differs      wind at 2 m is at least 0.5 m/s; by day leaves transpire through a surface resistance of 50 s/m
    Source       own-balance (parts: fao-56 equations 4 and 47, brutsaert-1975, unsworth-monteith-1975)
    Check        tests/indices/test_surface_temp.py::test_payerne_nights_better_than_air
    """
    sky = (
        longwave_down_wm2(temp_c, rel_humidity_pct, cloud_fraction) if longwave_wm2 is None else longwave_wm2
    )
    arrays = np.broadcast_arrays(
        within(temp_c, -50.0, 50.0),
        within(rel_humidity_pct, 0.0, 105.0) / 100.0,
        within(wind_10m_ms, 0.0, 75.0),
        sky,
        within(ground_temp_c, -50.0, 60.0),
        within(pressure_hpa, 500.0, 1100.0),
        within(shortwave_wm2, -5.0, 1400.0),
    )
    temp, humidity, wind, sky, ground, pressure, sun = (np.asarray(a, dtype=np.float64) for a in arrays)
    conductance = np.maximum(WIND_2M_PER_10M * wind, 0.5) / 208.0
    density = 100.0 * pressure / (_GAS * (temp + KELVIN))
    per_kelvin = density * _HEAT * conductance
    per_hpa = density * (_LATENT * 0.622) / pressure * conductance
    vapour = humidity * _ES * np.exp(_EB * temp / (_EC + temp))
    # Condensation meets the air's resistance alone; evaporation must first get out of the leaf.
    awake = np.clip(sun / constants.full_leaf_wm2, 0.0, 1.0)
    drying = per_hpa * awake / (1.0 + constants.leaf_resistance_sm * conductance)
    thatch = constants.thatch_wm2k
    emit = constants.emissivity * STEFAN_BOLTZMANN
    income = constants.emissivity * sky + (1.0 - constants.albedo) * sun + per_kelvin * temp + thatch * ground
    slope_fixed = per_kelvin + thatch
    surface = temp - 0.5
    for _ in range(8):
        inverse = 1.0 / (_EC + surface)
        full = _ES * np.exp(_EB * surface * inverse)
        kelvin = surface + KELVIN
        cubed = emit * kelvin * kelvin * kelvin
        deficit = full - vapour
        exchange = np.where(deficit > 0.0, drying, per_hpa)
        balance = income - cubed * kelvin - slope_fixed * surface - exchange * deficit
        step = balance / (4.0 * cubed + slope_fixed + exchange * full * (_EB * _EC) * inverse * inverse)
        step = np.clip(step, -15.0, 15.0)
        surface = surface + step
        if not (np.abs(step) > 0.1).any():
            break
    return surface
