"""The ground itself: whether it bears feet hour by hour, and how the seed in it is doing."""

from __future__ import annotations

from datetime import timedelta
from typing import Any

import numpy as np

from planner.answers.header import head, known, local
from planner.briefing import Briefing
from planner.indices.frame import Quantities
from planner.indices.frost import off_frost
from planner.site import Sowing
from planner.weather import Array

#: Turf below this carries frost or is about to. The default of frost release. Judgement.
_FROSTED_C = 0.5
#: Above this share of field capacity feet leave marks, by soil. `guess`
_SOFT_PCT = {"sand": 105.0, "loam": 100.0, "clay": 95.0}
#: Share of the sown seed not yet rooted above which feet should keep to the edge. Judgement.
_SEED_LIES = 0.05
#: Hours looked ahead.
_HOURS = 48


def ground(briefing: Briefing) -> dict[str, Any]:
    """For each surface the runs of hours that do or do not bear feet, and the seed lying in it."""
    surfaces = []
    for name, quantities in briefing.plan.ground.surfaces.items():
        surfaces.append(
            {
                "surface": name,
                "underfoot": _underfoot(quantities, briefing),
                "seed": [_seed(quantities, sowing, briefing) for sowing in quantities.sowings],
            }
        )
    return {**head(briefing), "surfaces": surfaces}


def _underfoot(q: Quantities, briefing: Briefing) -> list[dict[str, Any]]:
    """Runs of hours of one state, each with its reason, the hour of the pass first."""
    weather, zone = q.weather, q.site.zone
    first = max(0, weather.index(briefing.made_at))
    last = min(weather.hours, first + _HOURS)
    turf, soil_frozen, water = (_mean(q[n]) for n in ("surface_temp_c", "soil_frozen", "storage_pct_fc"))
    wet, seed = _mean(q["leaf_wet"]), _mean(q["seed_exposure"])
    told: list[dict[str, Any]] = []
    off = None
    for hour in range(first, last):
        start = weather.time(hour)
        state, cause, says = _hour(q, turf[hour], soil_frozen[hour], water[hour], wet[hour], seed[hour])
        if off is not None and start < off:
            # Thawed, but not yet for the full hour that frost release asks for.
            state, cause = "barred", "frost"
        if told and (told[-1]["state"], told[-1]["cause"]) == (state, cause):
            told[-1]["end"] = local(start + timedelta(hours=1), zone)
            continue
        if cause == "frost":
            off = off_frost(q, after=start)
            says += f" Off the frost from {off.astimezone(zone):%a %H:%M}." if off is not None else ""
        told.append(
            {
                "start": local(start, zone),
                "end": local(start + timedelta(hours=1), zone),
                "state": state,
                "cause": cause,
                "says": says,
                "surface_temp_c": known(turf[hour], 1),
                "storage_pct_fc": known(water[hour], 0),
            }
        )
    return told


def _hour(
    q: Quantities, turf: float, frozen: float, water: float, wet: float, seed: float
) -> tuple[str, str, str]:
    """State, cause and sentence of one hour."""
    soil = q.ground.soil
    soft = _SOFT_PCT.get(soil, 100.0)
    not_read = "Not read: the forecast lacks what frost or wetness is worked out from."
    if np.isnan(turf):
        return "unread", "unread", not_read
    if turf < _FROSTED_C:
        return "barred", "frost", f"Keep off: turf {turf:.1f} C, frosted or close to it."
    if np.isnan(water) or np.isnan(frozen):
        return "unread", "unread", not_read
    if frozen >= 0.5:
        return "narrow", "soil", "Soil frozen: feet with care, no wheels, no rollers."
    if water > soft:
        wetness = f"{soil} at {water:.0f} % of field capacity"
        return "barred", "soft", f"Keep off: {wetness}, feet mark above {soft:.0f} %."
    if np.isnan(seed):
        return "narrow", "seed", "Whether seed lies open here is not read: walk round what was sown."
    if seed > _SEED_LIES:
        return "narrow", "seed", "Seed lies here: walk round it."
    if np.isnan(wet):
        says = f"Bears feet: turf {turf:.0f} C, {water:.0f} % of field capacity; whether the leaf is wet is not read."
        return "narrow", "wet_unread", says
    if wet >= 0.5:
        return "narrow", "wet", f"Bears feet, leaf wet: turf {turf:.0f} C, {water:.0f} % of field capacity."
    return "steady", "", f"Bears feet: leaf dry, turf {turf:.0f} C, {water:.0f} % of field capacity."


def _mean(values: Array) -> Array:
    unknown = np.isnan(values)
    counts = (~unknown).sum(axis=0)
    sums = np.where(unknown, 0.0, values).sum(axis=0)
    return np.where(counts > 0, sums / np.maximum(counts, 1), np.nan)


def _seed(q: Quantities, sowing: Sowing, briefing: Briefing) -> dict[str, Any]:
    """Age of the seed, how far it is on the way to emergence, and the hardest wash that is coming."""
    weather, zone = q.weather, q.site.zone
    stands = briefing.consequences.by_surface.get(q.ground.name)
    known_of = next((one for one in stands.seed if one.sowing == sowing), None) if stands else None
    emerges = None if known_of is None else known_of.emerges_at
    first = max(0, weather.index(briefing.made_at))
    wash = _mean(q["wash_risk"])[first:]
    coming = None if np.isnan(wash).all() else int(np.nanargmax(wash))
    return {
        "sown_at": local(sowing.at, zone),
        "grass": sowing.grass.name,
        "age_d": round((briefing.made_at - sowing.at) / timedelta(days=1), 1),
        "cover_pct": sowing.cover_pct,
        "tackifier": sowing.tackifier,
        "way_to_emergence": None if known_of is None or known_of.way is None else known(known_of.way),
        "emergence_expected": None if emerges is None else local(emerges.replace(microsecond=0), zone),
        "is_estimate": known_of is not None and known_of.is_estimate,
        "wash_max": None if coming is None else known(float(wash[coming])),
        "wash_at": None if coming is None else local(weather.time(first + coming), zone),
    }
