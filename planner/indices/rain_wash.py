"""Share of sown seed that the flow of a downpour can carry off a slope.

Rain that does not sink in flows down the bed as a thin sheet; where it pulls harder at the bed than the seed holds,
seed goes with it. Neither the bursts of an hour's rain, nor the state of the bed, nor how hard seed lies are known,
so each is taken in three ways with weights, and the share of seed is told with its band over these 27 ways.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field, fields, replace

import numpy as np
from numpy.typing import ArrayLike

from planner.errors import NotKnown
from planner.indices.infiltration import INTAKES
from planner.indices.rain_energy import Numbers
from planner.weather import Array, within

_GRAVITY = 9.81
_WATER_KG_M3 = 1000.0
#: Water at about 15 C. [m2/s]
_VISCOSITY_M2_S = 1.14e-6
#: Mean of ln(x / L) / 3 over a slope: what a cube root of the way from the crest comes to on its whole length.
_WHOLE_SLOPE = float(np.exp(-1.0 / 3.0))

#: Shares of an hour's rain in its quarters. Even; most of it within half an hour (Yin 2007: the hardest half hour is
#: 1.668 times the hour's mean rate, so it holds 0.834 of the rain); a burst (TP-40: 0.57 of the hardest hour in 15
#: minutes, 0.79 in 30, from memory).
QUARTERS: Array = np.array(
    [[0.25, 0.25, 0.25, 0.25], [0.083, 0.417, 0.417, 0.083], [0.105, 0.22, 0.57, 0.105]]
)
#: Weights of these. Judgement.
QUARTER_WEIGHTS: Array = np.array([0.3, 0.4, 0.3])
#: Weights of a loose bed, one as its soil is tabled, and one that rain has sealed. Judgement.
BED_WEIGHTS: Array = np.array([0.25, 0.5, 0.25])


@dataclass(frozen=True, slots=True, kw_only=True)
class WashConstants:
    """Every constant of the share of seed at risk. Calibrate `seed_hold` first, against a log."""

    loose_bed: float = 1.5
    """Conductivity of a freshly raked bed, as a share of its soil's. Judgement."""
    sealed_bed: float = 0.5
    """The same once drops have sealed it. Judgement."""
    hollows_mm: float = 0.5
    """Water that the hollows of a raked bed hold before any flows. Judgement (handbooks: 0 to 1 mm on slopes)."""
    flow_resistance: float = 24.0
    """K of f = K / Re: laminar flow on a plane; what the form of the bed takes does not pull at seed."""
    shields: float = 0.05
    """Shear that moves a loose grain, over its weight under water. From memory."""
    seed_density_kg_m3: float = 1200.0
    """From memory."""
    seed_hold: float = 3.0
    """Shear that moves half of raked and pressed seed, over that of loose seed. Judgement."""
    hold_factor: float = 1.7
    """How far off `seed_hold` may be, each way, with a chance of a third together. Judgement."""
    spread: float = 3.0
    """How sharply the share rises with shear: power of a log-logistic curve. Judgement."""
    washed_share: float = 0.25
    """Share of bare seed from which a wash is counted as one, in the chance. Judgement."""
    cover_per_pct: float = 0.035
    """b of exp(-b cover)."""
    tackifier: float = 0.43
    """Share of the loss left by a tackifier (soil loss, second-hand)."""
    established: float = 0.01
    """Share of the loss left by established turf."""
    conductivity_mm_h: Mapping[str, float] = field(default_factory=dict)
    """Of the wet seedbed, by soil, where the keeper has measured it."""


WASH = WashConstants()
#: Constants that are one number.
WASH_NAMES: tuple[str, ...] = tuple(
    item.name for item in fields(WashConstants) if isinstance(getattr(WASH, item.name), float)
)
_PER_SOIL = "conductivity_mm_h_"


def wash_constants(own: Mapping[str, float]) -> WashConstants:
    """The constants with those of a site put in.

    Keys are names of fields, or `conductivity_mm_h_<soil>`. NotKnown names a key that is none of these.
    """
    if not own:
        return WASH
    known = [*WASH_NAMES, *(_PER_SOIL + soil for soil in INTAKES)]
    for name in own:
        if name not in known:
            raise NotKnown("constant of the wash of seed", name, known)
    plain = {name: float(value) for name, value in own.items() if name in WASH_NAMES}
    soils = {
        name.removeprefix(_PER_SOIL): float(value) for name, value in own.items() if name not in WASH_NAMES
    }
    return replace(WASH, conductivity_mm_h=soils, **plain)


def sheet_depth_mm(
    excess_mm_h: ArrayLike, slope_pct: float, length_m: float, resistance: float = WASH.flow_resistance
) -> Array:
    """Depth of the sheet of water at the foot of a slope.

    Parameters   excess_mm_h : array. Water that neither sinks in nor stays. [mm/h]
                 slope_pct, length_m : float. [%, m]
                 resistance : float. K of the friction factor K / Re, 24 on a smooth plane.
    Returns      array, same shape; 0 without water. [mm]
    Valid for    0 to 1000 mm/h, 0.1 to 100 %, 0 to 500 m, else NaN. Laminar flow that has come into balance
    Missing      NaN in, NaN out
    Differs      drops that stir the sheet and threads in which it gathers are left out
    Source       laminar-sheet (Darcy and Weisbach's friction with f = K / Re)
    Check        tests/indices/test_rain_wash.py::test_sheet_is_that_of_nusselt_and_of_poiseuille
    """
    flow_m2_s = within(excess_mm_h, 0.0, 1000.0) / 3.6e6 * float(within(length_m, 0.0, 500.0))
    sine = _sine(float(within(slope_pct, 0.1, 100.0)))
    return np.asarray(1000.0 * np.cbrt(resistance * _VISCOSITY_M2_S * flow_m2_s / (8.0 * _GRAVITY * sine)))


def sheet_shear_pa(
    excess_mm_h: ArrayLike, slope_pct: float, length_m: float, resistance: float = WASH.flow_resistance
) -> Array:
    """Pull of the sheet at the bed, over the whole length of the slope (geometric mean).

    Parameters   as sheet_depth_mm
    Returns      array, same shape; 0 on ground of less than 0.1 %. [Pa]
    Valid for    0 to 1000 mm/h, 0 to 100 %, 0 to 500 m, else NaN
    Missing      NaN in, NaN out
    Differs      as sheet_depth_mm
    Source       laminar-sheet (depth times slope)
    Check        tests/indices/test_rain_wash.py::test_shear_worked_by_hand
    """
    slope = float(within(slope_pct, 0.0, 100.0))
    if slope < 0.1:
        return np.asarray(within(excess_mm_h, 0.0, 1000.0) * 0.0)
    depth_m = sheet_depth_mm(excess_mm_h, slope, length_m, resistance) / 1000.0
    return np.asarray(_WATER_KG_M3 * _GRAVITY * depth_m * _sine(slope) * _WHOLE_SLOPE)


def _sine(slope_pct: float) -> float:
    return float(np.sin(np.arctan(slope_pct / 100.0)))


def loose_seed_shear_pa(seed_mg: float, constants: WashConstants = WASH) -> float:
    """Shear that moves a seed lying loose.

    Parameters   seed_mg : float. Mass of a seed. [mg]
    Returns      float. [Pa]
    Valid for    0.01 to 100 mg, as a ball of its mass; outside that NaN
    Missing      NaN in, NaN out
    Differs      awns, hulls and slime, which hold seed, are left out
    Source       shields-1936 (from memory)
    Check        tests/indices/test_rain_wash.py::test_heavier_seed_holds_longer
    """
    volume_m3 = float(within(seed_mg, 0.01, 100.0)) * 1e-6 / constants.seed_density_kg_m3
    diameter_m = (6.0 * volume_m3 / np.pi) ** (1.0 / 3.0)
    weight = (constants.seed_density_kg_m3 - _WATER_KG_M3) * _GRAVITY * diameter_m
    return float(constants.shields * weight)


@dataclass(frozen=True, slots=True, kw_only=True)
class Ways:
    """The ways in which rain may fall in an hour on a bed that may be loose or sealed."""

    quarters: Array
    """Shares of the hour in its quarters, (ways, 4)."""
    beds: Array
    """Conductivity as a share of the soil's, (ways,)."""
    weights: Array


def ways(constants: WashConstants = WASH) -> Ways:
    """Three patterns of rain on three beds, the bed changing fastest."""
    beds = np.array([constants.loose_bed, 1.0, constants.sealed_bed])
    return Ways(
        quarters=np.repeat(QUARTERS, 3, axis=0),
        beds=np.tile(beds, 3),
        weights=np.outer(QUARTER_WEIGHTS, BED_WEIGHTS).ravel(),
    )


@dataclass(frozen=True, slots=True, kw_only=True)
class SeedShares:
    """Share of bare seed at risk in every way, at the hours with any flow."""

    shares: Array
    """(ways with holds, members, hours with flow). [0-1]"""
    weights: Array
    """(ways with holds,), 1 together."""
    places: Numbers
    """Indices of the hours with flow."""
    hours: int

    def mean(self) -> Array:
        """Mean over the ways, (members, hours). [0-1]"""
        return self._laid(np.tensordot(self.weights, self.shares, axes=1))

    def at(self, part: float) -> Array:
        """The share that so large a part of the ways does not pass, (members, hours). [0-1]"""
        if not self.places.size:
            return self._laid(self.shares[0])
        order = np.argsort(self.shares, axis=0)
        reached = np.cumsum(self.weights[order], axis=0) >= part - 1e-9
        first = np.argmax(reached, axis=0)[None]
        return self._laid(np.take_along_axis(self.shares, np.take_along_axis(order, first, 0), 0)[0])

    def chance(self, exposure: Array, washed_share: float) -> Array:
        """Part of the ways in which `washed_share` of bare seed or more goes, times `exposure`, (members, hours). [0-1]

        `exposure` (1 or members, hours): share of the seed that lies open. Bare seed alone is counted, so a cover
        lowers the chance by what it holds and never cuts it off.
        """
        over = np.tensordot(self.weights, (self.shares >= washed_share).astype(np.float64), axes=1)
        return self._laid(over * exposure[:, self.places])

    def _laid(self, at_places: Array) -> Array:
        out = np.zeros((at_places.shape[0], self.hours))
        out[:, self.places] = at_places
        return out


def seed_shares(
    excess_mm_h: Array,
    *,
    slope_pct: float,
    slope_length_m: float,
    seed_mg: float,
    constants: WashConstants = WASH,
) -> SeedShares:
    """Share of bare seed that the flow of each hour can take.

    Parameters   excess_mm_h : array (ways, members, hours), in the order of `ways`. [mm/h]
                 slope_pct, slope_length_m : float. [%, m]
                 seed_mg : float. Mass of a seed. [mg]
    Returns      SeedShares
    Valid for    slopes of 0 to 100 %. No wash of turf seed was measured: the scale is judgement.
    Missing      NaN in, NaN out
    Differs      drops alone move no seed off; what has gone once is not taken off the next hour
    Source       own-seed-wash (parts: mein-larson-1973, rawls-1983, laminar-sheet, shields-1936, yin-2007)
    Check        tests/indices/test_rain_wash.py::test_figures_of_the_bank_and_the_green
    """
    places = np.flatnonzero((excess_mm_h != 0.0).any(axis=(0, 1)))
    shear = sheet_shear_pa(excess_mm_h[:, :, places], slope_pct, slope_length_m, constants.flow_resistance)
    half = constants.seed_hold * loose_seed_shear_pa(seed_mg, constants)
    holds = half * np.array([1.0 / constants.hold_factor, 1.0, constants.hold_factor])
    pull = shear**constants.spread
    resists = (holds**constants.spread)[:, None, None, None]
    shares = (pull / (pull + resists)).reshape(3 * shear.shape[0], *shear.shape[1:])
    return SeedShares(
        shares=shares,
        weights=np.tile(ways(constants).weights, 3) / 3.0,
        places=places,
        hours=excess_mm_h.shape[2],
    )


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
