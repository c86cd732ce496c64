"""Kinds of warning that cannot be read for some of the hours they look at: no warning is then no all-clear."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from datetime import datetime, time, timedelta

import numpy as np

from planner.diary.consequences import rain_between
from planner.warnings.base import Scene
from planner.warnings.frost import NIGHTS_AHEAD
from planner.warnings.life import TITLES
from planner.warnings.seed_stress import DAYS_AHEAD, OLDEST
from planner.weather import Array

#: How far ahead a hole in the rain leaves wash unread; beyond it the rain itself is hardly known. Judgement.
_WASH_AHEAD_H = 72
#: Share of the sown seed that lies open from which rain on it matters. Judgement.
_OPEN_SHARE = 0.05
#: What a kind is read from, in words.
_RESTS_ON: dict[str, str] = {
    "wash": "rain",
    "frost": "temperature, humidity or wind",
    "rainfast": "rain",
    "seed_stress": "temperature, rain or what the air takes",
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
            found.append(_row(scene, kind, min(hours), len(hours)))
    return tuple(sorted(found, key=lambda one: one.begins))


def _row(scene: Scene, kind: str, first: int, count: int) -> Unread:
    weather, zone = scene.plan.conditions.sky.weather, scene.plan.conditions.site.zone
    begins = max(weather.time(first), scene.now)
    lacks = (
        "ends there"
        if first >= weather.hours
        else f"lacks {_RESTS_ON[kind]} in {count} h of those it looks at"
    )
    return Unread(
        kind=kind,
        begins=begins,
        says=(
            f"Not read from {begins.astimezone(zone):%a %H:%M} on: {TITLES[kind]}. The forecast {lacks}. "
            "No warning is no all-clear."
        ),
    )


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
    """Hours of the coming nights whose lowest turf temperature is not known."""
    sky = scene.plan.conditions.sky
    first, ahead = sky.weather.index(scene.now), 24 * NIGHTS_AHEAD
    chance = np.isnan(_padded(sky["frost_chance_ground"], first, ahead))
    turf = np.isnan(_padded(sky["surface_temp_c"], first, ahead))
    # One hour that is not known leaves its whole night unread; the hour itself is named where it is still to come.
    either = turf if turf.any() else chance
    return {first + int(hour) for hour in np.flatnonzero(either)} if chance.any() else set()


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


_LOOKS: dict[str, Callable[[Scene], set[int]]] = {
    "wash": _wash,
    "frost": _frost,
    "rainfast": _rainfast,
    "seed_stress": _seed_stress,
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
