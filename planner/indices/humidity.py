"""Moisture of the air: vapour pressure, wet bulb, Delta T, deficit."""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike

from planner.weather import Array, within

#: Magnus form over water and over ice, WMO-No. 8 constants (from memory).
_WATER = (6.112, 17.62, 243.12)
_ICE = (6.112, 22.46, 272.62)
#: Latent heat of the ASHRAE wet-bulb equation: at 0 C, fall per degree of bulb, per degree of water.
_OVER_WATER = (2501.0, 2.326, 4.186)
_OVER_ICE = (2830.0, 0.24, 2.1)
_MIX = 0.621945
#: Where the air is dry enough for both a thawed and a frozen bulb to balance, they lie this near to 0 C.
_BOTH_BULBS_C = 1.0


def saturation_vapour_pressure_hpa(temp_c: ArrayLike) -> Array:
    """Saturation vapour pressure over water.

    Parameters   temp_c : array of any shape. Temperature of the air or the wet surface. [degC]
    Returns      array, same shape. [hPa]
    Valid for    -60 to 60 degC; outside that NaN
    Missing      NaN in, NaN out
    Differs      used over water below 0 degC too
    Source       wmo-8, annex 4.B (from memory)
    Check        tests/indices/test_humidity.py::test_vapour_pressure_agrees_with_fao56_printed_values
    """
    temp = within(temp_c, -60.0, 60.0)
    a, b, c = _WATER
    return a * np.exp(b * temp / (c + temp))


def vapour_pressure_hpa(temp_c: ArrayLike, rel_humidity_pct: ArrayLike) -> Array:
    """Vapour pressure of air from its relative humidity.

    Parameters   temp_c : array. Air temperature. [degC]
                 rel_humidity_pct : array. [%]
    Returns      array, broadcast shape. [hPa]
    Valid for    -60 to 60 degC, 0 to 105 %; outside that NaN
    Missing      NaN in, NaN out
    Differs      none
    Source       wmo-8, definition of relative humidity
    Check        tests/indices/test_humidity.py::test_vapour_pressure_agrees_with_fao56_printed_values
    """
    return saturation_vapour_pressure_hpa(temp_c) * within(rel_humidity_pct, 0.0, 105.0) / 100.0


def vapour_pressure_deficit_kpa(temp_c: ArrayLike, rel_humidity_pct: ArrayLike) -> Array:
    """How far the air is from saturation.

    Parameters   temp_c, rel_humidity_pct : arrays. [degC, %]
    Returns      array, broadcast shape, 0 or more. [kPa]
    Valid for    -60 to 60 degC, 0 to 105 %; outside that NaN
    Missing      NaN in, NaN out
    Differs      none
    Source       fao-56, equation 11 less equation 17
    Check        tests/indices/test_humidity.py::test_vapour_pressure_agrees_with_fao56_printed_values
    """
    full = saturation_vapour_pressure_hpa(temp_c)
    return np.maximum(full - vapour_pressure_hpa(temp_c, rel_humidity_pct), 0.0) / 10.0


def pressure_at_hpa(elevation_m: float) -> float:
    """Air pressure to be expected at a height above the sea.

    Parameters   elevation_m : float. [m]
    Returns      float. [hPa]
    Valid for    -430 to 6000 m; outside that NaN
    Missing      NaN in, NaN out
    Differs      none
    Source       fao-56, equation 7
    Check        tests/indices/test_humidity.py::test_pressure_printed_in_fao56
    """
    height = float(within(elevation_m, -430.0, 6000.0))
    return float(1013.0 * ((293.0 - 0.0065 * height) / 293.0) ** 5.26)


def wet_bulb_c(temp_c: ArrayLike, rel_humidity_pct: ArrayLike, pressure_hpa: ArrayLike = 1013.25) -> Array:
    """Thermodynamic wet-bulb temperature, the ASHRAE equation solved by two Newton steps.

    Parameters   temp_c : array. Air temperature. [degC]
                 rel_humidity_pct : array. [%]
                 pressure_hpa : array or float. [hPa]
    Returns      array, broadcast shape. [degC]
    Valid for    -20 to 50 degC, 5 to 105 % (above 100 read as 100), 500 to 1100 hPa; outside that NaN
    Missing      NaN in, NaN out
    Differs      Magnus vapour pressure in place of Hyland and Wexler's, but for bulbs near 0 degC: there a
                 thawed and a frozen bulb can both balance, and the one is taken that halving the interval
                 from frost point to air temperature meets, as the reference code does. Like it, humidity of
                 air below 0 degC is taken over ice; weather services mean water (0.2 K at -5 degC).
    Source       ashrae-2017, chapter 1 equations 33 and 35 (second-hand: as coded in psychrolib)
    Check        tests/indices/test_humidity.py::test_wet_bulb_oracle_values
    """
    temp, humidity, pressure = np.broadcast_arrays(
        within(temp_c, -20.0, 50.0),
        np.minimum(within(rel_humidity_pct, 5.0, 105.0), 100.0) / 100.0,
        within(pressure_hpa, 500.0, 1100.0),
    )
    shape = temp.shape
    temp, humidity, pressure = temp.ravel(), humidity.ravel(), pressure.ravel()
    a, b, c = _WATER
    vapour = a * np.exp(b * temp / (c + temp))
    freezing = np.flatnonzero(temp < 0.0)
    vapour[freezing] = _ICE[0] * np.exp(_ICE[1] * temp[freezing] / (_ICE[2] + temp[freezing]))
    vapour *= humidity
    mixing = _MIX * vapour / (pressure - vapour)
    bulb = temp - (1.0 - humidity) * (
        6.486 + temp * (0.35617 + 0.0021703 * temp) - humidity * (1.0345 + 0.20579 * temp)
    )
    for _ in range(2):
        bulb = bulb - _newton_step(bulb, temp, mixing, pressure, _WATER, _OVER_WATER)
    cold = np.flatnonzero(bulb < _BOTH_BULBS_C)
    if cold.size:
        bulb[cold] = _frozen_or_thawed(bulb[cold], temp[cold], humidity[cold], mixing[cold], pressure[cold])
    out: Array = np.minimum(bulb, temp).reshape(shape)
    return out


def _newton_step(
    bulb: Array,
    temp: Array,
    mixing: Array,
    pressure: Array,
    magnus: tuple[float, float, float],
    latent: tuple[float, float, float],
) -> Array:
    """What to take from the bulb so that the heat it loses by evaporation is the heat the air gives it."""
    a, b, c = magnus
    heat, per_bulb, per_water = latent
    inverse = 1.0 / (c + bulb)
    full = a * np.exp(b * bulb * inverse)
    over = 1.0 / (pressure - full)
    full_mixing = _MIX * full * over
    here = heat - per_bulb * bulb
    balance = here * full_mixing - 1.006 * (temp - bulb) - mixing * (heat + 1.86 * temp - per_water * bulb)
    slope = here * full_mixing * pressure * over * (b * c) * inverse * inverse
    slope += 1.006 - per_bulb * full_mixing + per_water * mixing
    return balance / slope


def _frozen_or_thawed(thawed: Array, temp: Array, humidity: Array, mixing: Array, pressure: Array) -> Array:
    frozen = thawed.copy()
    for _ in range(3):
        frozen = frozen - _newton_step(frozen, temp, mixing, pressure, _ICE, _OVER_ICE)
    bulb = np.where(thawed > 0.0, thawed, np.minimum(frozen, 0.0))
    # The frozen bulb's balance steps up at 0 C, so between the two roots both stand.
    both = np.flatnonzero((frozen < 0.02) & (thawed > -0.02))
    if both.size:
        bulb[both] = _by_halving(temp[both], humidity[both], pressure[both])
    return bulb


def _by_halving(temp: Array, humidity: Array, pressure: Array) -> Array:
    vapour = humidity * _hyland_wexler_hpa(temp)
    log = np.log(vapour / _ICE[0])
    low, high = _ICE[2] * log / (_ICE[1] - log), temp
    for _ in range(2):
        slope = _ICE[1] * _ICE[2] / (_ICE[2] + low) ** 2
        low = low - np.log(_hyland_wexler_hpa(low) / vapour) / slope
    mixing = _MIX * vapour / (pressure - vapour)
    for _ in range(17):
        bulb = 0.5 * (low + high)
        full = _hyland_wexler_hpa(bulb)
        full = _MIX * full / (pressure - full)
        heat, per_bulb, per_water = (
            np.where(bulb >= 0.0, w, i) for w, i in zip(_OVER_WATER, _OVER_ICE, strict=True)
        )
        held = ((heat - per_bulb * bulb) * full - 1.006 * (temp - bulb)) / (
            heat + 1.86 * temp - per_water * bulb
        )
        high, low = np.where(held > mixing, bulb, high), np.where(held > mixing, low, bulb)
    return 0.5 * (low + high)


def _hyland_wexler_hpa(temp: Array) -> Array:
    """Saturation vapour pressure, over ice up to the triple point (ASHRAE chapter 1 equations 5 and 6)."""
    k = temp + 273.15
    log = np.log(k)
    ice = -5.6745359e3 / k + 6.3925247 - 9.677843e-3 * k + 6.2215701e-7 * k**2
    ice += 2.0747825e-9 * k**3 - 9.484024e-13 * k**4 + 4.1635019 * log
    water = -5.8002206e3 / k + 1.3914993 - 4.8640239e-2 * k + 4.1764768e-5 * k**2 - 1.4452093e-8 * k**3
    water += 6.5459673 * log
    return np.exp(np.where(temp <= 0.01, ice, water)) / 100.0
