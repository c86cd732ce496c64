"""Kinds of warning that cannot be read for some of the hours they look at: no warning is then no all-clear."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from datetime import datetime, time, timedelta

import numpy as np

from planner.diary.consequences import rain_between
from planner.indices.grass_min import COLDEST_BELOW_AIR_K
from planner.indices.table_frost import DECIDED, balance_c
from planner.terms import short_time
from planner.warnings.base import Scene
from planner.warnings.disease import DAYS_AHEAD as DISEASE_DAYS
from planner.warnings.frost import NIGHTS_AHEAD
from planner.warnings.life import TITLES
from planner.warnings.seed_stress import DAYS_AHEAD, OLDEST
from planner.warnings.wilt import HOURS_AHEAD as WILT_HOURS
from planner.weather import Array

#: How far ahead a hole in the rain leaves wash unread; beyond it the rain itself is hardly known. Judgement.
_WASH_AHEAD_H = 72
#: Share of the sown seed that lies open from which rain on it matters. Judgement.
_OPEN_SHARE = 0.05
#: The columns that each kind is read from.
_RESTS_ON: dict[str, tuple[str, ...]] = {
    "wash": ("rain_mm",),
    "frost": ("air_temp_c", "rel_humidity_pct", "wind_10m_ms", "cloud_pct"),
    "rainfast": ("rain_mm",),
    "seed_stress": ("air_temp_c", "rain_mm", "rel_humidity_pct", "wind_10m_ms", "shortwave_wm2", "cloud_pct"),
    "disease": ("air_temp_c", "rel_humidity_pct"),
    "wilt": ("rain_mm", "air_temp_c", "rel_humidity_pct", "wind_10m_ms", "shortwave_wm2", "cloud_pct"),
}
#: Columns in words.
_IN_WORDS = {
    "rain_mm": "rain",
    "air_temp_c": "air temperature",
    "rel_humidity_pct": "humidity",
    "wind_10m_ms": "wind",
    "shortwave_wm2": "sunlight",
    "cloud_pct": "cloud",
}


@dataclass(frozen=True, slots=True, kw_only=True)
class Unread:
    """A kind of warning that is not read from an hour on."""

    kind: str
    begins: datetime
    """Start of the first hour within the kind's look-ahead that cannot be read."""
    says: str


def unread(scene: Scene) -> tuple[Unread, ...]:
    """The kinds that cannot be read within their look-ahead, the soonest first."""
    found = []
    for kind, look in _LOOKS.items():
        hours = look(scene)
        if hours:
            found.append(_row(scene, kind, hours))
    return tuple(sorted(found, key=lambda one: one.begins))


def _row(scene: Scene, kind: str, hours: set[int]) -> Unread:
    weather, zone = scene.plan.conditions.sky.weather, scene.plan.conditions.site.zone
    begins = max(weather.time(min(hours)), scene.now)
    lacks = (
        "ends there"
        if min(hours) >= weather.hours
        else f"lacks {_missing(scene, kind, hours)} in {len(hours)} h of those it looks at"
    )
    return Unread(
        kind=kind,
        begins=begins,
        says=(
            f"Not known from {short_time(begins, zone)}: {TITLES[kind]}. The forecast {lacks}. "
            "No warning is no all-clear."
        ),
    )


def _missing(scene: Scene, kind: str, hours: set[int]) -> str:
    """The columns that are missing in those hours, in words; what the kind rests on where each is there in part."""
    weather = scene.plan.conditions.sky.weather
    here = [hour for hour in sorted(hours) if 0 <= hour < weather.hours]
    columns = _RESTS_ON[kind]
    gone = [name for name in columns if np.isnan(weather[name][:, here]).all(axis=0).any()]
    if not gone and here:
        # A sum that runs on from hour to hour is lost from the first gap on.
        gone = [name for name in columns if np.isnan(weather[name][:, : here[-1]]).all(axis=0).any()]
    # Sunlight is worked out from cloud where it is not given, so either may stand for the other.
    if "cloud_pct" not in gone and "shortwave_wm2" in gone and len(gone) > 1:
        gone.remove("shortwave_wm2")
    words = [_IN_WORDS[name] for name in gone]
    if not words:
        return "some of what it is worked out from"
    return words[0] if len(words) == 1 else f"{', '.join(words[:-1])} and {words[-1]}"


def _wash(scene: Scene) -> set[int]:
    """Hours in which seed lies open and the rain on it is not known."""
    weather = scene.plan.conditions.sky.weather
    first, hours = weather.index(scene.now), set[int]()
    for quantities in scene.plan.conditions.surfaces.values():
        if not quantities.sowings:
            continue
        open_share = _padded(quantities["seed_exposure"], first, _WASH_AHEAD_H)
        # Beyond the hours of the forecast as much seed is open as in the last of them.
        open_share = np.where(np.isnan(open_share), _last(quantities["seed_exposure"]), open_share)
        unknown = np.isnan(_padded(quantities["wash_risk"], first, _WASH_AHEAD_H))
        unknown |= np.isnan(_padded(quantities["rain_mm"], first, _WASH_AHEAD_H))
        matters = unknown & ~(open_share < _OPEN_SHARE)
        hours |= {first + int(hour) for hour in np.flatnonzero(matters)}
    return hours


def _frost(scene: Scene) -> set[int]:
    """Hours of the coming nights whose grass temperature is not known, and which the air does not decide.

    From the air alone there is a chance, but no all-clear: so far below the air as grass may be, it may freeze.
    """
    sky = scene.plan.conditions.sky
    first, ahead = sky.weather.index(scene.now), 24 * NIGHTS_AHEAD
    chance = _padded(sky["frost_chance_ground"], first, ahead)
    air, sun = _padded(sky["air_temp_c"], first, ahead), _padded(sky["sun_altitude_deg"], first, ahead)
    grass = np.isnan(_padded(balance_c(sky), first, ahead)) & ~(sun > 0.0)
    open_air = grass & ~(air > COLDEST_BELOW_AIR_K) & ~(chance >= DECIDED)
    if open_air.any():
        return {first + int(hour) for hour in np.flatnonzero(open_air)}
    # One hour that is not known leaves its whole night unread.
    return {first + int(hour) for hour in np.flatnonzero(np.isnan(chance))}


def _rainfast(scene: Scene) -> set[int]:
    """Hours still to come of a logged spray's dry time whose rain is not known."""
    weather = scene.plan.conditions.sky.weather
    hours = set[int]()
    for spray in scene.consequences.sprays:
        begin = max(spray.work.finished_at, scene.now)
        if begin >= spray.dry_until:
            continue
        unknown = np.isnan(rain_between(weather, begin, spray.dry_until)).all(axis=0)
        hours |= {weather.index(begin) + int(hour) for hour in np.flatnonzero(unknown)}
    return hours


def _seed_stress(scene: Scene) -> set[int]:
    """Hours of the coming days, where seed lies, whose heat or drying is not known."""
    weather, zone = scene.plan.conditions.sky.weather, scene.plan.conditions.site.zone
    last_day = scene.now.astimezone(zone).date() + timedelta(days=DAYS_AHEAD + 1)
    end = weather.index(datetime.combine(last_day, time(0), zone))
    hours = set[int]()
    for name, found in scene.consequences.by_surface.items():
        sown = [one.sowing.at for one in found.seed if scene.now - one.sowing.at <= OLDEST]
        first = weather.index(max(scene.now, min(sown))) if sown else end
        if first >= end:
            continue
        quantities = scene.plan.conditions.surfaces[name]
        unknown = np.zeros(end - first, dtype=bool)
        for column in ("air_temp_c", "rain_mm", "et0_hour_mm"):
            unknown |= np.isnan(_padded(quantities[column], first, end - first))
        hours |= {first + int(hour) for hour in np.flatnonzero(unknown)}
    return hours


def _disease(scene: Scene) -> set[int]:
    """Hours of the coming days without air or humidity, where the days cannot be read for it.

    A figure outside the range of its paper is not known either, but no weather is missing then: the page of the day
    says so.
    """
    sky, zone = scene.plan.conditions.sky, scene.plan.conditions.site.zone
    first = sky.weather.index(scene.now)
    last_day = scene.now.astimezone(zone).date() + timedelta(days=DISEASE_DAYS + 1)
    count = sky.weather.index(datetime.combine(last_day, time(0), zone)) - first
    hours = set[int]()
    gone = np.zeros(count, dtype=bool)
    for column in _RESTS_ON["disease"]:
        gone |= np.isnan(_padded(sky[column], first, count))
    for quantities in scene.plan.conditions.surfaces.values():
        unknown = gone & np.isnan(_padded(quantities["disease_pressure"], first, count))
        hours |= {first + int(hour) for hour in np.flatnonzero(unknown)}
    return hours


def _wilt(scene: Scene) -> set[int]:
    """Hours of the coming two days in which the water of a root zone is not known."""
    weather = scene.plan.conditions.sky.weather
    first, hours = weather.index(scene.now), set[int]()
    for quantities in scene.plan.conditions.surfaces.values():
        unknown = np.isnan(_padded(quantities["depletion_raw"], first, WILT_HOURS))
        hours |= {first + int(hour) for hour in np.flatnonzero(unknown)}
    return hours


_LOOKS: dict[str, Callable[[Scene], set[int]]] = {
    "wash": _wash,
    "frost": _frost,
    "rainfast": _rainfast,
    "seed_stress": _seed_stress,
    "disease": _disease,
    "wilt": _wilt,
}


def _padded(values: Array, first: int, count: int) -> Array:
    """`count` hours from `first` on, shape (count,): the mean of the members that know them, NaN beyond."""
    out = np.full(count, np.nan)
    low, high = max(first, 0), min(first + count, values.shape[-1])
    if high > low:
        part = values[:, low:high]
        known = ~np.isnan(part)
        sums = np.where(known, part, 0.0).sum(axis=0)
        out[low - first : high - first] = np.where(
            known.any(axis=0), sums / np.maximum(known.sum(axis=0), 1), np.nan
        )
    return out


def _last(values: Array) -> float:
    known = values[~np.isnan(values)]
    return float(known[-1]) if known.size else float("nan")
