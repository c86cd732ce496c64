"""Index of rain washing seed down a slope.

An index of our own, between 0 and 1; no probability. It joins two ways by which seed leaves: drops that break
the bed (erosivity of the event) and sheet flow that carries it (shear at the peak).
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field, fields, replace
from types import MappingProxyType

import numpy as np
from numpy.typing import ArrayLike

from planner.errors import NotKnown
from planner.indices.rain_energy import RainEvents, rain_energy_mj_ha_mm, rain_events
from planner.indices.runoff import runoff_mm, sheet_shear_pa, slope_length_factor, sloped_curve_number
from planner.weather import Array

#: Newly graded bare ground, TR-55 table 2-2a by hydrologic group; texture to group from memory.
_BARE_CURVE_NUMBERS: Mapping[str, float] = MappingProxyType(
    {"sand": 77.0, "loamy_sand": 77.0, "sandy_loam": 86.0, "loam": 86.0, "silt_loam": 86.0}
    | {"clay_loam": 94.0, "clay": 94.0}
)


@dataclass(frozen=True, slots=True, kw_only=True)
class WashConstants:
    """Every constant of the index. Calibrate `ei50` and `critical_shear_pa` first, against a log."""

    ei50: float = 10.0
    """Erosivity at which breaking of the bed counts half: the published line of an erosive storm."""
    critical_shear_pa: float = 0.25
    """Shear at which carrying counts half; derived for seed pressed into sand, not measured."""
    cover_per_pct: float = 0.035
    """b of exp(-b cover)."""
    roughness: float = 0.05
    """Manning's n of a raked bed."""
    tackifier: float = 0.43
    """Share of the loss left by a tackifier (soil loss, second-hand)."""
    established: float = 0.01
    """Share of the loss left by established turf."""
    half_hour_ei: float = 1.730
    """True EI30 per EI30 of hourly rain (Yin 2007)."""
    half_hour_peak: float = 1.668
    """True half-hour peak per hourly peak (Yin 2007)."""
    curve_numbers: Mapping[str, float] = field(default_factory=lambda: _BARE_CURVE_NUMBERS)
    sinks_in_mm_h: Mapping[str, float] = field(default_factory=dict)
    """Steady infiltration of the seedbed by soil, where the keeper knows it; adds the excess over it."""
    low_ei: float = 1.0
    low_shear_pa: float = 0.50
    high_ei: float = 2.3
    high_shear_pa: float = 0.16
    """Ends of the band: hourly rain as it is and coarse sand; showery rain and loose ryegrass seed."""


WASH = WashConstants()
#: Constants that are one number.
WASH_NAMES: tuple[str, ...] = tuple(
    item.name for item in fields(WashConstants) if isinstance(getattr(WASH, item.name), float)
)
_PER_SOIL: Mapping[str, str] = MappingProxyType(
    {"curve_number": "curve_numbers", "sinks_in_mm_h": "sinks_in_mm_h"}
)


def wash_constants(own: Mapping[str, float]) -> WashConstants:
    """The constants with those of a site put in.

    Keys are names of fields, or `curve_number_<soil>` and `sinks_in_mm_h_<soil>`. NotKnown
    names a key that is none of these.
    """
    if not own:
        return WASH
    plain = {name: float(value) for name, value in own.items() if name in WASH_NAMES}
    by_soil = {part: dict(getattr(WASH, attribute)) for part, attribute in _PER_SOIL.items()}
    for name, value in own.items():
        part = next((part for part in _PER_SOIL if name.startswith(f"{part}_")), None)
        soil = name[len(part) + 1 :] if part else ""
        if name not in plain and (part is None or soil not in _BARE_CURVE_NUMBERS):
            raise NotKnown("constant of the wash index", name, WASH_NAMES)
        if part is not None and name not in plain:
            by_soil[part][soil] = float(value)
    soils = {attribute: by_soil[part] for part, attribute in _PER_SOIL.items()}
    return replace(WASH, **plain, **soils)  # type: ignore[arg-type]  # names are checked above


def wash_index(
    rain_mm: Array,
    *,
    slope_pct: float,
    slope_length_m: float,
    curve_number: float,
    sinks_in_mm_h: float | None = None,
    exposure: ArrayLike = 1.0,
    constants: WashConstants = WASH,
    end: str = "middle",
    events: RainEvents | None = None,
    melt_mm: Array | None = None,
    frozen: ArrayLike = False,
) -> Array:
    """Index W of the rain event that holds each hour.

    Parameters   rain_mm : array (members, hours). [mm]
                 slope_pct, slope_length_m : float. [%, m]
                 curve_number : float. Of the bare bed on a 5 % slope.
                 sinks_in_mm_h : float or None. Steady infiltration, where known. [mm/h]
                 exposure : array or float. Share of seed that cover, tackifier and roots leave open. [0-1]
                 end : `low`, `middle` or `high` of the band.
                 events : the events of this rain (with melt: of rain and melt), when already parted.
                 melt_mm : array as rain_mm, or None. Melting snow: it flows, and strikes nothing. [mm]
                 frozen : array of bool. Soil frozen at the top: nothing sinks in.
    Returns      array (members, hours), 0 outside events. [0-1]
    Valid for    slopes of 0 to 100 %; hourly rain. Not a probability; no threshold for turf seed is measured.
    Missing      NaN where the rain is unknown; its event is judged by the hours that are known
    Differs      none
    Source       own-wash-index (parts: rusle-1997, brown-foster-1987, tr-55, williams-1995, yin-2007)
    Check        tests/indices/test_rain_wash.py::test_wash_index_worked_vectors
    """
    water = rain_mm if melt_mm is None else rain_mm + melt_mm
    parted = rain_events(water) if events is None else events
    depth = np.where(np.isnan(water), 0.0, rain_mm)
    flow = depth if melt_mm is None else np.where(np.isnan(water), 0.0, water)
    ei_factor = {"low": constants.low_ei, "middle": constants.half_hour_ei, "high": constants.high_ei}[end]
    critical = {
        "low": constants.low_shear_pa,
        "middle": constants.critical_shear_pa,
        "high": constants.high_shear_pa,
    }[end]
    index = np.zeros(parted.number.shape)
    places, starts, lengths = parted.packed()
    rain, water_in = (np.broadcast_to(a, index.shape).ravel()[places] for a in (depth, flow))
    energy = np.add.reduceat(rain_energy_mj_ha_mm(rain) * rain, starts)
    factor = ei_factor * slope_length_factor(slope_pct, slope_length_m)
    erosivity = energy * np.maximum.reduceat(rain, starts) * factor
    broken = erosivity / (erosivity + constants.ei50)

    number = sloped_curve_number(curve_number, slope_pct)
    running = np.cumsum(water_in)
    so_far = running - np.repeat(running[starts] - water_in[starts], lengths)
    excess = runoff_mm(so_far, number) - runoff_mm(np.maximum(so_far - water_in, 0.0), number)
    if sinks_in_mm_h is not None:
        excess = np.maximum(excess, constants.half_hour_peak * water_in - sinks_in_mm_h)
    if np.any(frozen):
        shut = np.broadcast_to(np.asarray(frozen, dtype=bool), index.shape).ravel()[places]
        excess = np.where(shut, water_in, excess)
    peak = np.maximum.reduceat(np.maximum(excess, 0.0), starts)
    pull = sheet_shear_pa(peak, slope_pct, slope_length_m, constants.roughness) / critical
    carried = pull * pull / (1.0 + pull * pull)
    index.ravel()[places] = np.repeat(1.0 - (1.0 - broken) * (1.0 - carried), lengths)
    share = np.asarray(exposure, dtype=np.float64)
    return np.asarray(np.where(np.isnan(water), np.nan, index) * share)


def seed_exposure(
    cover_pct: float, tackifier: bool, established: ArrayLike, *, constants: WashConstants = WASH
) -> Array:
    """Share of the seed that rain can still take.

    Parameters   cover_pct : float. Ground under mulch or net. [%]
                 tackifier : whether the bed is glued.
                 established : array. 0 for fresh seed, 1 for rooted turf.
    Returns      array, shape of `established`. [0-1]
    Valid for    cover 0 to 100 %. Borrowed from soil loss: seed loss has no published factor.
    Missing      NaN in, NaN out
    Differs      rooted turf keeps 0.01, the 99 % reduction of a stormwater manual
    Source       rusle2-cover (cover), wilson-2010 (tackifier, second-hand), stormwater-2016 (turf)
    Check        tests/indices/test_rain_wash.py::test_exposure_under_cover
    """
    rooted = np.clip(np.asarray(established, dtype=np.float64), 0.0, 1.0)
    left = np.exp(-constants.cover_per_pct * min(max(cover_pct, 0.0), 100.0))
    left *= constants.tackifier if tackifier else 1.0
    out: Array = np.maximum(left * (1.0 - rooted), constants.established)
    return out
