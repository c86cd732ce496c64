"""Frost on turf: ground frost and air frost said apart, with the hour it is off again."""

from __future__ import annotations

from datetime import datetime, timedelta

import numpy as np

from planner.indices.frost import off_frost
from planner.indices.quantities import Quantities
from planner.warnings.base import Notice, Scene, level_of
from planner.warnings.nights import night_name
from planner.weather import Array

#: How far ahead a night is worth naming; beyond this a minimum is hardly known.
NIGHTS_AHEAD = 3
#: Turf that stays at or above this in its coldest hour carries no frost. Judgement.
_NO_FROST_C = 2.5
_CAUTION = "Keep feet, wheels and rollers off until then; do not hose frost off in freezing air."


def frost(scene: Scene) -> list[Notice]:
    """One warning for each of the coming nights in which the turf may freeze."""
    sky = scene.plan.conditions.sky
    weather, zone, nights = sky.weather, scene.plan.conditions.site.zone, sky.nights
    ground, air = sky["frost_chance_ground"], sky["frost_chance_air"]
    surface, screen, dew = sky["surface_temp_c"], sky["air_temp_c"], sky["dew_point_c"]
    bounds = [*nights.first_hour, weather.hours]
    first = weather.index(scene.now)
    notices = []
    for number, (begin, end) in enumerate(zip(bounds, bounds[1:], strict=False)):
        if end <= max(first, 0) or begin > first + 24 * NIGHTS_AHEAD:
            continue
        chances = ground[:, begin:end]
        if np.isnan(chances).all():
            chances = air[:, begin:end]
            if np.isnan(chances).all():
                continue
        chance = float(np.nanmean(np.nanmax(chances, axis=1)))
        if chance < scene.floor("frost_note"):
            continue
        turf, air_here = surface[0, begin:end], screen[0, begin:end]
        # Where the turf is not known the screen speaks for it: frozen air lies over frozen grass.
        unknown = np.isnan(turf)
        turf = np.where(unknown & (unknown.all() | (air_here <= 0.0)), air_here, turf)
        if not (np.nanmin(turf) < _NO_FROST_C):
            continue
        coldest = begin + int(np.nanargmin(turf))
        # A night whose coldest hour is past is no news, unless the frost still lies.
        if coldest < first and not np.any(turf[max(first - begin, 0) :] < 0.5):
            continue
        turf_min, screen_min = float(np.nanmin(turf)), float(np.nanmin(screen[0, begin:end]))
        air_chances = air[:, begin:end]
        air_known = not np.isnan(air_chances).all()
        # An hour that is missing hides the chance of the night; frozen air that was read bites all the same.
        air_chance = (
            float(np.nanmean(np.nanmax(air_chances, axis=1))) if air_known else float(screen_min <= 0.0)
        )
        freezing = np.flatnonzero(turf < 0.5)
        begins = weather.time(begin + int(freezing[0])) if freezing.size else weather.time(coldest)
        off = off_frost(sky, after=weather.time(coldest))
        tonight = begins - scene.now <= timedelta(hours=24)
        soon = begins - scene.now <= timedelta(hours=30)
        care = scene.thresholds["frost_care"]
        # Air frost tonight bites more than leaf; the margin keeps the level from swinging.
        act = care if tonight and air_chance >= 0.5 else None
        calm_act = care if soon and air_chance >= 0.5 - scene.margin else None
        evening = nights.dates[number]
        when = night_name(evening, scene.now, zone)
        hoar = None if np.isnan(dew[0, coldest]) else bool(dew[0, coldest] >= turf_min - 0.5)
        at = weather.time(coldest).astimezone(zone)
        off_text = f" Off the frost from {off.astimezone(zone):%H:%M}." if off is not None else ""
        notices.append(
            Notice(
                kind="frost",
                surface=None,
                begins=begins,
                ends=off or _over(sky, turf, begin, coldest),
                level=level_of(chance, care, act),
                calm_level=level_of(chance + scene.margin, care, calm_act),
                raised_from=scene.thresholds["frost_note"],
                chance=round(chance, 2),
                strength=chance,
                says=(
                    f"Ground frost {_word(chance)} {when}: turf about {turf_min:.1f} °C near {at:%H:%M}. "
                    f"Air frost {_word(air_chance) if air_known else 'not known'}: air lowest {screen_min:.1f} °C."
                    + (" Dry cold: turf may freeze without turning white." if hoar is False else "")
                    + off_text
                ),
                advice=(
                    _CAUTION,
                    "No rolling on frozen soil, even at noon.",
                ),
                figures={
                    "surface_min_c": round(turf_min, 1),
                    "air_min_c": round(screen_min, 1),
                    "ground_frost_chance": round(chance, 2),
                    "air_frost_chance": round(air_chance, 2) if air_known else None,
                    "off_frost_at": off.isoformat() if off is not None else None,
                    "hoar": None if hoar is None else "likely" if hoar else "unlikely",
                },
            )
        )
    return notices


def _over(sky: Quantities, turf: Array, begin: int, coldest: int) -> datetime:
    """The end of a night without a known hour of release: the first mild hour after its coldest, else its last."""
    after = coldest - begin + 1
    mild = np.flatnonzero(turf[after:] >= _NO_FROST_C)
    hour = after + int(mild[0]) if mild.size else turf.size - 1
    return sky.weather.time(begin + hour)


def _word(chance: float) -> str:
    if chance >= 0.6:
        return "likely"
    if chance >= 0.25:
        return "possible"
    return "unlikely"
