"""Whether the leaf is wet, when it dries, and the disease that wetness feeds."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from types import MappingProxyType

import numpy as np
from numpy.typing import ArrayLike

from planner.indices.surface_temp import GRASS_SURFACE, KELVIN, STEFAN_BOLTZMANN, SurfaceConstants
from planner.units import WIND_2M_PER_10M
from planner.weather import Array, flag, within


@dataclass(frozen=True, slots=True, kw_only=True)
class LeafConstants:
    """Constants of the leaf and of the water on it, looked at on two records: see `docs/indices/leaf-wetness.md`.

    A wetness sensor among a crop, May to September, and the surface of a meadow in June. Nothing published for short
    turf was found.
    """

    sky_share: float = 0.5
    """Part of the loss to the sky: a leaf has two sides, and one of them sees leaves as warm as itself."""
    under_wm2k: float = 1.0
    """Heat that reaches an upper leaf from below, a fifth of what reaches the surface of the sward."""
    holds_mm: float = 0.1
    """Water that a leaf keeps of any rain."""
    dry_below_mm: float = 0.004
    humid_pct: float = 90.0
    """Humidity that counts as wet where the store cannot be computed (Sentelhas 2008)."""
    wet_rain_mm: float = 0.1
    resumes_mm: float = 0.1
    """Water taken to lie on a leaf after an hour that humidity alone called wet."""


LEAF = LeafConstants()


def wet_by_humidity(
    rel_humidity_pct: ArrayLike, rain_mm: ArrayLike, *, constants: LeafConstants = LEAF
) -> Array:
    """Wet leaf by the humidity rule.

    Parameters   rel_humidity_pct : array. [%]
                 rain_mm : array. Rain in the hour. [mm]
    Returns      array, broadcast shape. 1 wet, 0 dry.
    Valid for    humidity 0 to 105 %
    Missing      NaN where humidity or rain is NaN, unless the other is wet
    Differs      an hour of rain is wet too
    Source       sentelhas-2008 (second-hand: conference abstract)
    Check        tests/indices/test_leaf_wetness.py::test_humidity_rule
    """
    humid, rain = within(rel_humidity_pct, 0.0, 105.0), np.asarray(rain_mm, dtype=np.float64)
    wet = (humid >= constants.humid_pct) | (rain >= constants.wet_rain_mm)
    return np.where(wet, 1.0, np.where(np.isnan(humid + rain), np.nan, 0.0))


def leaf_loss_mm_per_h(
    temp_c: ArrayLike,
    rel_humidity_pct: ArrayLike,
    wind_10m_ms: ArrayLike,
    shortwave_wm2: ArrayLike,
    longwave_down_wm2: ArrayLike,
    under_temp_c: ArrayLike,
    pressure_hpa: ArrayLike = 1013.25,
    *,
    constants: LeafConstants = LEAF,
    grass: SurfaceConstants = GRASS_SURFACE,
) -> Array:
    """Water that a wet leaf gives to the air in an hour; below 0 dew that falls on it.

    Parameters   temp_c, rel_humidity_pct, wind_10m_ms : arrays. [degC, %, m/s]
                 shortwave_wm2, longwave_down_wm2 : arrays. [W/m2]
                 under_temp_c : array. What lies under the leaves: mean air of the day up to the hour. [degC]
                 pressure_hpa : array or float. [hPa]
    Returns      array, broadcast shape. [mm/h]
    Valid for    -40 to 50 degC; outside that NaN
    Missing      NaN in, NaN out
    Differs      resistance of grass (fao-56 equation 4) for that of a single leaf, wind at 2 m at least 0.5 m/s; what
                 the leaf radiates, and takes from below, changes with its temperature
    Source       penman-monteith with no surface resistance (from memory)
    Check        tests/indices/test_leaf_wetness.py::test_leaf_loss_solves_the_balance_of_heat
    """
    temp, pressure = within(temp_c, -40.0, 50.0), within(pressure_hpa, 500.0, 1100.0)
    conductance = np.maximum(WIND_2M_PER_10M * within(wind_10m_ms, 0.0, 75.0), 0.5) / 208.0
    kelvin = temp + KELVIN
    full = 6.112 * np.exp(17.62 * temp / (243.12 + temp))
    slope = full * 17.62 * 243.12 / np.square(243.12 + temp)
    deficit = full * (1.0 - np.minimum(within(rel_humidity_pct, 0.0, 105.0), 100.0) / 100.0)
    seen = constants.sky_share * grass.emissivity
    sky = np.asarray(longwave_down_wm2, dtype=np.float64) - STEFAN_BOLTZMANN * kelvin**4
    below = constants.under_wm2k
    income = (1.0 - grass.albedo) * within(shortwave_wm2, -5.0, 1400.0) + seen * sky
    income = income + below * (within(under_temp_c, -50.0, 60.0) - temp)
    air = 100.0 * pressure / (287.05 * kelvin) * 1005.0
    # Heat leaves by the air and, the warmer the leaf, by radiation and downwards; vapour by the air alone.
    heat = air * conductance + 4.0 * seen * STEFAN_BOLTZMANN * kelvin**3 + below
    gamma = 1005.0 * pressure / (0.622 * 2.5e6) * heat / (air * conductance)
    return np.asarray((slope * income + heat * deficit) / (slope + gamma) * (3600.0 / 2.5e6))


def wet_leaf(
    rain_mm: Array,
    loss_mm: Array,
    by_humidity: Array,
    *,
    constants: LeafConstants = LEAF,
) -> Array:
    """Whether the leaf is wet at the start of the hour or becomes wet within it.

    Parameters   rain_mm : array (members, hours). [mm/h]
                 loss_mm : array (members, hours). `leaf_loss_mm_per_h`, below 0 dew. [mm/h]
                 by_humidity : array (members, hours). 1 or 0 of the humidity rule.
    Returns      array (members, hours). 1 wet, 0 dry.
    Valid for    consecutive hours, oldest first; dry leaf before the first
    Missing      the humidity rule stands in for hours whose rain or loss are not known; after an
                 hour of which nothing can be said, NaN until a full leaf would have dried
    Differs      none
    Source       own-leaf-store (after sentelhas-2008)
    Check        tests/indices/test_leaf_wetness.py::test_wet_nights_and_dry_days
    """
    rain, loss, rule = np.broadcast_arrays(rain_mm, loss_mm, by_humidity)
    known = ~np.isnan(rain + loss)
    change = np.where(known, rain - loss, 0.0)
    gained = np.where(known, rain + np.maximum(-loss, 0.0), 0.0) >= constants.dry_below_mm
    rests = np.where(rule == 1.0, constants.resumes_mm, 0.0)
    least = _store_mm(change, known, rests, constants.holds_mm) > constants.dry_below_mm
    wet = (least | gained).astype(np.float64)
    unsaid = np.isnan(rule) & ~known
    if unsaid.any():
        rests = np.where(unsaid, constants.holds_mm, rests)
        most = _store_mm(change, known, rests, constants.holds_mm) > constants.dry_below_mm
        wet = np.where((most | gained) == (wet == 1.0), wet, np.nan)
    return np.where(known, wet, rule)


def _store_mm(change: Array, known: Array, rests: Array, holds_mm: float) -> Array:
    """Water on the leaf at the start of each hour; after an hour that is not known, what `rests`."""
    change, known, rests = (np.ascontiguousarray(a.T) for a in (change, known, rests))
    store = np.zeros((change.shape[0] + 1, change.shape[1]))
    whole = known.all()
    for hour in range(change.shape[0]):
        after = np.minimum(np.maximum(store[hour] + change[hour], 0.0), holds_mm)
        store[hour + 1] = after if whole else np.where(known[hour], after, rests[hour])
    return store[:-1].T


#: Share of field capacity under which a soil carries wheels (from memory; no hard figure is in print). [%]
FIRM_PCT: Mapping[str, float] = MappingProxyType(
    {"sand": 100.0, "loamy_sand": 100.0}
    | dict.fromkeys(("sandy_loam", "loam", "silt_loam", "clay_loam", "clay"), 95.0)
)
#: Hours of coming rain that are set against an irrigation.
RAIN_AHEAD_H = 24


def hours_until(wanted: ArrayLike) -> Array:
    """Hours from each hour until the first at which something is so; 0 where it is so already.

    Parameters   wanted : array (..., hours). 1 so, 0 not, NaN not known.
    Returns      array, same shape. [h]
    Valid for    consecutive hours
    Missing      NaN when an unknown hour comes first, or when the hours end before it is so
    Differs      none
    Source       own-drying (counting)
    Check        tests/indices/test_drying.py::test_hours_are_counted_up_to_the_first
    """
    state = np.asarray(wanted, dtype=np.float64)
    hours = state.shape[-1]
    places = np.where(state == 0.0, hours, np.arange(hours))
    first = np.minimum.accumulate(places[..., ::-1], axis=-1)[..., ::-1]
    found = np.take_along_axis(state, np.minimum(first, hours - 1), axis=-1)
    return np.where((first < hours) & ~np.isnan(found), first - np.arange(hours), np.nan)


def firm_in_h(storage_pct_fc: ArrayLike, limit_pct: float) -> Array:
    """Hours until the root zone has drained and dried to where it carries wheels.

    Parameters   storage_pct_fc : array (members, hours). Water, of field capacity. [%]
                 limit_pct : float. `FIRM_PCT` of the soil, or the keeper's own. [%]
    Returns      array, same shape; 0 where it is firm. [h]
    Valid for    the model's own drainage and use; frost and traffic already done are left out
    Missing      NaN where the state on the way is not known, or not firm before the hours end
    Differs      none
    Source       own-drying (judgement; muller-2011 for the idea)
    Check        tests/indices/test_drying.py::test_loam_is_firm_a_day_or_more_after_rain_and_sand_sooner
    """
    storage = np.asarray(storage_pct_fc, dtype=np.float64)
    return hours_until(np.where(np.isnan(storage), np.nan, (storage <= limit_pct).astype(np.float64)))


def rain_ahead_mm(rain_mm: ArrayLike, hours: int = RAIN_AHEAD_H) -> Array:
    """Rain of each hour and those after it, `hours` in all.

    Parameters   rain_mm : array (..., hours). [mm]
    Returns      array, same shape. [mm]
    Valid for    consecutive hours
    Missing      NaN where one of the hours is not known or lies beyond the last
    Differs      none
    Source       own-drying (counting)
    Check        tests/indices/test_drying.py::test_rain_ahead_is_a_running_sum
    """
    rain = np.asarray(rain_mm, dtype=np.float64)
    beyond = np.full((*rain.shape[:-1], hours - 1), np.nan)
    padded = np.concatenate([rain, beyond], axis=-1)
    lead = np.zeros((*rain.shape[:-1], 1))
    sums = np.concatenate([lead, np.cumsum(np.nan_to_num(padded), axis=-1)], axis=-1)
    gaps = np.concatenate([lead, np.cumsum(np.isnan(padded), axis=-1)], axis=-1)
    total = sums[..., hours:] - sums[..., :-hours]
    return np.where(gaps[..., hours:] - gaps[..., :-hours] > 0.0, np.nan, np.maximum(total, 0.0))


def irrigation_mm(
    water_mm: ArrayLike, ready_mm: ArrayLike, coming_rain_mm: ArrayLike, *, trigger: float = 1.0
) -> Array:
    """Water that brings the root zone back to field capacity, once it has dried to the trigger.

    Parameters   water_mm : array. Water over field capacity, negative below. [mm]
                 ready_mm : array. Water that roots take up without stress. [mm]
                 coming_rain_mm : array. Rain to be set against it. [mm]
                 trigger : float. Share of the ready water at which one waters; 1 at the onset of stress.
    Returns      array, broadcast shape; 0 while the trigger is not reached. Net, without losses. [mm]
    Valid for    level turf
    Missing      NaN where the state is not known; where it is due, NaN too when the rain is not known
    Differs      coming rain is counted in full
    Source       fao-56, equations 83 and 85 and chapter 8 on timing (from memory)
    Check        tests/indices/test_drying.py::test_water_is_due_at_the_end_of_the_ready_water
    """
    lacking = np.maximum(-np.asarray(water_mm, dtype=np.float64), 0.0)
    due = lacking >= trigger * np.asarray(ready_mm, dtype=np.float64)
    need = np.maximum(lacking - np.asarray(coming_rain_mm, dtype=np.float64), 0.0)
    known = ~np.isnan(lacking + np.asarray(ready_mm, dtype=np.float64))
    return np.where(known, np.where(due & (lacking > 0.0), need, 0.0), np.nan)


#: Chance from which its paper treats, and index from which its paper warns.
DOLLAR_SPOT_FROM = 0.2
BROWN_PATCH_FROM = 6.0


def dollar_spot_chance(five_day_temp_c: ArrayLike, five_day_humidity_pct: ArrayLike) -> Array:
    """Chance of dollar spot, from the weather of five days.

    Parameters   five_day_temp_c : array. Mean of the daily mean air temperatures. [degC]
                 five_day_humidity_pct : array. Mean of the daily mean relative humidities. [%]
    Returns      array, broadcast shape. [0-1]
    Valid for    10 to 35 degC (from memory) and 0 to 105 %; colder or hotter means are no risk, 0
    Missing      NaN in, NaN out
    Differs      none
    Source       smith-2018 (abstract read; coefficients second-hand)
    Check        tests/indices/test_disease.py::test_dollar_spot_table
    """
    temp, humidity = within(five_day_temp_c, -60.0, 60.0), within(five_day_humidity_pct, 0.0, 105.0)
    chance = 1.0 / (1.0 + np.exp(11.4041 - 0.0894 * humidity - 0.1932 * temp))
    # NaN is neither below nor above, and stays.
    return np.where((temp < 10.0) | (temp > 35.0), 0.0 * humidity, chance)


def brown_patch_index(day_min_c: ArrayLike, day_humidity_pct: ArrayLike) -> Array:
    """Brown patch index E2 of a day; its paper warns from 6.

    Parameters   day_min_c : array. Lowest air temperature of the day. [degC]
                 day_humidity_pct : array. Mean relative humidity of the day. [%]
    Returns      array, broadcast shape.
    Valid for    -60 to 35 degC, 0 to 105 %; outside that NaN. Made on perennial ryegrass in summer: in the cold
                 it only falls, far below any risk.
    Missing      NaN in, NaN out
    Differs      none
    Source       fidanza-1996 (abstract)
    Check        tests/indices/test_disease.py::test_brown_patch_table
    """
    low, humidity = within(day_min_c, -60.0, 35.0), within(day_humidity_pct, 0.0, 105.0)
    return -21.5 + 0.15 * humidity + 1.4 * low - 0.033 * low * low


def pythium_risk(day_max_c: ArrayLike, humid_hours: ArrayLike, day_min_c: ArrayLike) -> Array:
    """Whether a noon-to-noon day allows pythium blight.

    Parameters   day_max_c, day_min_c : arrays. [degC]
                 humid_hours : array. Hours with more than 90 % relative humidity. [h]
    Returns      array, broadcast shape. 1 risk, 0 none.
    Valid for    noon-to-noon spans
    Missing      NaN in, NaN out
    Differs      none
    Source       nutter-1983 (abstract)
    Check        tests/indices/test_disease.py::test_pythium_needs_heat_then_a_warm_humid_night
    """
    high, hours, low = (np.asarray(a, dtype=np.float64) for a in (day_max_c, humid_hours, day_min_c))
    known = ~np.isnan(high + hours + low)
    return flag(known & (high > 30.0) & (hours >= 14.0) & (low > 20.0), known)


def disease_pressure(dollar_spot: ArrayLike, brown_patch: ArrayLike, pythium: ArrayLike) -> Array:
    """The highest of three disease figures, each as a share of what its own paper warns from.

    Parameters   dollar_spot : array. `dollar_spot_chance`. [0-1]
                 brown_patch : array. `brown_patch_index`.
                 pythium : array. `pythium_risk`. [0 or 1]
    Returns      array, broadcast shape; 1 at a threshold and beyond it. [0-1]
    Valid for    where the three are
    Missing      NaN where one is not known, unless another is at its threshold: more would change nothing
    Differs      a share of a threshold is no chance: 0.5 is not half as much disease
    Source       own-disease-pressure (thresholds of smith-2018, fidanza-1996, nutter-1983)
    Check        tests/indices/test_disease.py::test_pressure_is_one_at_each_published_threshold
    """
    parts = np.broadcast_arrays(
        np.asarray(dollar_spot, dtype=np.float64) / DOLLAR_SPOT_FROM,
        np.asarray(brown_patch, dtype=np.float64) / BROWN_PATCH_FROM,
        np.asarray(pythium, dtype=np.float64),
    )
    shares = np.clip(np.stack(parts), 0.0, 1.0)
    known = ~np.isnan(shares)
    highest = np.where(known, shares, 0.0).max(axis=0)
    return np.where(known.all(axis=0) | (highest >= 1.0), highest, np.nan)
