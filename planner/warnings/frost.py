"""Frost on turf: ground frost and air frost said apart, with the hour it is off again."""

from __future__ import annotations

from datetime import date, datetime, timedelta
from zoneinfo import ZoneInfo

import numpy as np

from planner.indices.frost import FROSTED_C, freezing_members, off_frost
from planner.indices.quantities import Quantities
from planner.terms import night_name
from planner.warnings.base import Notice, Scene, level_of
from planner.weather import Array, Mask, mean_of_members, of_members

#: How far ahead a night is worth naming; beyond this a minimum is hardly known.
NIGHTS_AHEAD = 3
#: Grass that stays at or above this carries no frost any more. Judgement.
_NO_FROST_C = 2.5
#: Ends of the range of the members that is told.
_LOW_SHARE, _HIGH_SHARE = 0.1, 0.9
#: So long after its last frozen hour soil still shears under wheels and feet: the hours of the need of the jobs.
_FROZEN_BEFORE_H = 12
_CAUTION = "Keep feet, wheels and rollers off until then; do not hose the frost off."
_FROZEN_CAUTION = "Keep feet, wheels and rollers off until the soil has thawed; do not hose the frost off."
_NO_ROLLING = "No rolling on frozen soil, even at noon."


def frost(scene: Scene) -> list[Notice]:
    """One warning for each of the coming nights in which the grass may freeze.

    Raised on the chance of ground frost; where an ensemble is there, on its mean over the members, whatever the plain
    forecast says. Temperatures are those of a thermometer at the grass.
    """
    sky = (scene.members or scene.plan.conditions).sky
    weather, nights = sky.weather, sky.nights
    bounds = [*nights.first_hour, weather.hours]
    first = weather.index(scene.now)
    notices = []
    for number, (begin, end) in enumerate(zip(bounds, bounds[1:], strict=False)):
        if end <= max(first, 0) or begin > first + 24 * NIGHTS_AHEAD:
            continue
        chance = _chance(sky["frost_chance_ground"], begin, end)
        # A night with a dark hour not known may leave the grass open where the air is cold enough to decide it.
        chance = _chance(sky["frost_chance_air"], begin, end) if chance is None else chance
        if chance is None or chance < scene.floor("frost_note"):
            continue
        notice = _of_night(scene, sky, chance, nights.dates[number], (begin, end))
        if notice is not None:
            notices.append(notice)
    return notices


def _of_night(
    scene: Scene, sky: Quantities, chance: float, evening: date, hours: tuple[int, int]
) -> Notice | None:
    weather, zone = sky.weather, scene.plan.conditions.site.zone
    first, (begin, end) = weather.index(scene.now), hours
    cold = freezing_members(sky, begin, end)
    grass, screen = _mean_of(sky["grass_temp_c"], cold)[begin:end], _lowest(sky["air_temp_c"], begin, end)
    lowest = _lowest(sky["grass_temp_c"], begin, end)
    if np.isnan(grass).all():
        return None
    coldest = begin + int(np.nanargmin(grass))
    # A night whose coldest hour is past is no news, unless the frost still lies.
    if coldest < first and not np.any(grass[max(first - begin, 0) :] < FROSTED_C):
        return None
    air_chance = _chance(sky["frost_chance_air"], begin, end)
    screen_min = float(np.nanmean(screen))
    # An hour that is missing hides the chance of the night; frozen air that was read bites all the same.
    air_bites = float(screen_min <= 0.0) if air_chance is None else air_chance
    freezing = np.flatnonzero(grass < FROSTED_C)
    begins = weather.time(begin + int(freezing[0])) if freezing.size else weather.time(coldest)
    off = off_frost(sky, after=weather.time(coldest), members=cold)
    keep_off = "" if off is None else _frozen_soil(sky, cold, off, zone)
    tonight = begins - scene.now <= timedelta(hours=24)
    soon = begins - scene.now <= timedelta(hours=30)
    care = scene.thresholds["frost_care"]
    # Air frost tonight bites more than leaf; the margin keeps the level from swinging.
    act = care if tonight and air_bites >= 0.5 else None
    calm_act = care if soon and air_bites >= 0.5 - scene.margin else None
    surface_min = float(np.nanmin(np.append(_mean_of(sky["surface_temp_c"], cold)[begin:end], np.inf)))
    dew = float(_mean_of(sky["dew_point_c"], cold)[coldest])
    # Hoar grows on the leaf, where that radiates itself below the dew point.
    cold_leaf = surface_min if np.isfinite(surface_min) else float(np.nanmin(grass))
    hoar = None if np.isnan(dew) else bool(dew >= cold_leaf - 0.5)
    at = weather.time(coldest).astimezone(zone)
    is_ensemble = lowest.size > 1
    return Notice(
        kind="frost",
        surface=None,
        begins=begins,
        ends=off or _over(sky, grass, begin, coldest),
        level=level_of(chance, care, act),
        calm_level=level_of(chance + scene.margin, care, calm_act),
        raised_from=scene.thresholds["frost_note"],
        # Over members it is a share until the members are calibrated.
        chance=None if is_ensemble else round(chance, 2),
        share=round(chance, 2) if is_ensemble else None,
        strength=chance,
        says=(
            f"Ground frost {_word(chance)} {night_name(evening, scene.now, zone)}: "
            f"grass {_range(lowest)} near {at:%H:%M}{_freeze(lowest)}. "
            f"Air frost {'not known' if air_chance is None else _word(air_chance)}: "
            f"air lowest {_range(screen, about='')}."
            + (" Dry cold: turf may freeze without turning white." if hoar is False else "")
            + _release(off, keep_off, zone)
        ),
        advice=(
            _FROZEN_CAUTION if keep_off else _CAUTION,
            *((_NO_ROLLING,) if _may_freeze_soil(sky, begin, end) else ()),
        ),
        figures={
            "grass_min_c": round(float(np.nanmean(lowest)), 1),
            "surface_min_c": round(surface_min, 1) if np.isfinite(surface_min) else None,
            "air_min_c": round(screen_min, 1),
            "ground_frost_chance": round(chance, 2),
            "air_frost_chance": None if air_chance is None else round(air_chance, 2),
            "off_frost_at": off.astimezone(zone).isoformat() if off is not None else None,
            "hoar": None if hoar is None else "likely" if hoar else "unlikely",
            "soil": "frozen" if keep_off else None,
        },
    )


def _release(off: datetime | None, keep_off: str, zone: ZoneInfo) -> str:
    """The hour off the frost in words; of the leaf alone where frozen soil keeps feet off for longer."""
    if off is None:
        return ""
    if not keep_off:
        return f" Off the frost from {off.astimezone(zone):%H:%M}."
    return f" Frost off the leaf {off.astimezone(zone):%H:%M}; soil frozen: keep off {keep_off}."


def _frozen_soil(sky: Quantities, members: Mask, off: datetime, zone: ZoneInfo) -> str:
    """How long soil that is frozen, or was in the hours before, keeps feet off after the leaf is free; else empty."""
    hour = sky.weather.index(off)
    since = max(hour - _FROZEN_BEFORE_H, 0)
    frozen = since + np.flatnonzero(_mean_of(sky["soil_frozen"], members)[since:] > 0.5)
    if not frozen.size or frozen[0] > hour:
        return ""
    thawed = np.flatnonzero(np.diff(frozen) > _FROZEN_BEFORE_H + 1)
    until = int(frozen[thawed[0]] if thawed.size else frozen[-1]) + _FROZEN_BEFORE_H + 1
    daylight = sky["sun_altitude_deg"][0, hour : until + 1] > 0.0
    if until >= sky.weather.hours or not daylight.all():
        return "all day"
    return f"until {sky.weather.time(until).astimezone(zone):%H:%M}"


def _may_freeze_soil(sky: Quantities, begin: int, end: int) -> bool:
    """Whether soil is frozen at some hour of the night in any member, or not known."""
    return bool(np.any(sky["soil_frozen"][:, begin:end] != 0.0))


def _chance(chances: Array, begin: int, end: int) -> float | None:
    """Mean over the members of the worst hour of each; None where no member is known."""
    here = chances[:, begin:end]
    known = here[~np.isnan(here).all(axis=1)]
    return float(np.nanmax(known, axis=1).mean()) if known.size else None


def _lowest(values: Array, begin: int, end: int) -> Array:
    """Lowest of the night in each member that is known, shape (members,); one NaN where none is."""
    here = values[:, begin:end]
    known = here[~np.isnan(here).all(axis=1)]
    return np.asarray(np.nanmin(known, axis=1)) if known.size else np.array([np.nan])


def _mean_of(values: Array, members: Mask) -> Array:
    """Mean of these members hour by hour, shape (hours,); of the one column that all share, where they do."""
    return mean_of_members(of_members(values, members))


def _range(lowest: Array, about: str = "about ") -> str:
    if lowest.size == 1:
        return f"{about}{lowest[0]:.1f} °C"
    low, high = np.quantile(lowest, [_LOW_SHARE, _HIGH_SHARE])
    return f"{low:.1f} to {high:.1f} °C"


def _freeze(lowest: Array) -> str:
    """How many members freeze; nothing for a single forecast."""
    if lowest.size == 1:
        return ""
    return f", below 0 °C in {int((lowest < 0.0).sum())} of {lowest.size} forecasts"


def _over(sky: Quantities, grass: Array, begin: int, coldest: int) -> datetime:
    """The end of a night without a known hour of release: the first mild hour after its coldest, else its last."""
    after = coldest - begin + 1
    mild = np.flatnonzero(grass[after:] >= _NO_FROST_C)
    hour = after + int(mild[0]) if mild.size else grass.size - 1
    return sky.weather.time(begin + hour)


def _word(chance: float) -> str:
    if chance >= 0.6:
        return "likely"
    if chance >= 0.25:
        return "possible"
    return "unlikely"
