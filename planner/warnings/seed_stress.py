"""Heat or drying after sowing: days on which seed that has not rooted wants light water or shade."""

from __future__ import annotations

from datetime import date, datetime, time, timedelta
from itertools import accumulate
from zoneinfo import ZoneInfo

import numpy as np

from planner.indices.quantities import Quantities
from planner.terms import short_date
from planner.warnings.base import Notice, Scene, level_of
from planner.weather import Array, mean_of_members

#: Days ahead that are looked at; beyond them the evaporation is hardly known.
DAYS_AHEAD = 3
#: A day with so much rain waters the seed by itself (sports-turf article of 2014, via the rules).
_WET_DAY_MM = 2.0
#: Water of rain and hose that the layer seed drinks from holds; more sinks past it. Judgement: 2 cm at a quarter.
TOP_LAYER_MM = 5.0
#: Seed older than this is past caring for, whatever its soil. Common practice, no source.
OLDEST = timedelta(days=35)
_CARE = 0.7
#: The hours of the day in which seed dries.
_FROM, _TO = time(9), time(20)
_WATER = "Water lightly two or three times a day, so that the top stays damp and nothing runs."
_SHADE = "In heat a light net or fleece shades it; take it off as soon as the seed is up."


def seed_stress(scene: Scene) -> list[Notice]:
    """One warning for each run of hot or drying days on a surface with seed in it."""
    notices = []
    for name, found in scene.consequences.by_surface.items():
        sown = [one.sowing.at for one in found.seed if scene.now - one.sowing.at <= OLDEST]
        if sown:
            notices += _on_surface(scene, scene.plan.conditions.surfaces[name], min(sown))
    return notices


def _on_surface(scene: Scene, q: Quantities, sown_at: datetime) -> list[Notice]:
    days, zone = q.days, scene.plan.conditions.site.zone
    drying, rain = mean_of_members(days.total(q["et0_hour_mm"])), mean_of_members(days.total(q["rain_mm"]))
    hottest = mean_of_members(days.highest(q["air_temp_c"]))
    hose = days.total(_hose(q))
    # A day dries the seed by what it takes beyond the water that lies in the top layer already.
    beyond = np.maximum(drying - _water_at_dawn(rain + hose, drying) - hose, 0.0)
    dry = np.where(rain < _WET_DAY_MM, beyond / (2.0 * scene.thresholds.get("dry_et0_mm", 2.5)), 0.0)
    hot = 0.5 + (hottest - scene.thresholds.get("seed_heat_c", 30.0)) / 10.0
    strength = np.clip(np.fmax(np.nan_to_num(dry), np.nan_to_num(hot)), 0.0, 1.0)
    today, sown_on = scene.now.astimezone(zone).date(), sown_at.astimezone(zone).date()
    near = np.array([sown_on <= day <= today + timedelta(days=DAYS_AHEAD) for day in days.dates])
    over = near & (strength >= 0.5 - scene.hysteresis)
    edges = np.flatnonzero(np.diff(over.astype(np.int8), prepend=0, append=0))
    runs = [
        (int(begin), int(end))
        for begin, end in zip(edges[::2], edges[1::2], strict=True)
        if _at(days.dates[end - 1], _TO, zone) > scene.now
    ]
    if not runs:
        return []
    # One warning: a wet day between two dry ones ends nothing that the seed needs.
    since, last = days.dates[runs[0][0]], days.dates[runs[-1][1] - 1]
    ahead = [number for begin, end in runs for number in range(begin, end) if _is_ahead(q, number, scene)]
    worst = max(ahead, key=lambda number: float(strength[number]))
    figure = float(strength[worst])
    is_dry = bool(np.any(dry[ahead] >= 0.5 - scene.hysteresis))
    onset = max(_at(since, _FROM, zone), sown_at.astimezone(zone))
    begins = _begins(onset, scene.now, zone)
    return [
        Notice(
            kind="seed_stress",
            surface=q.surface_here.name,
            begins=begins,
            onset=onset,
            ends=_at(last, _TO, zone),
            level=level_of(figure, _CARE),
            calm_level=level_of(figure + scene.margin, _CARE),
            raised_from=0.5,
            # One warning for all dry days on a surface: its level is the news, not each day's figure.
            step=2.0,
            is_slow=True,
            chance=None,
            strength=figure,
            says=_says(q.surface_here.name, begins, since, (drying[worst], rain[worst], hottest[worst])),
            advice=(*((_WATER,) if is_dry else ()), _SHADE),
            figures={
                "et0_mm": _figure(drying[worst]),
                "rain_mm": _figure(rain[worst]),
                "air_max_c": _figure(hottest[worst]),
                "worst_day": days.dates[worst].isoformat(),
            },
        )
    ]


def _hose(q: Quantities) -> Array:
    """Water given that is on record, by hour, shape (hours,); an amount that is not known is not counted on. [mm]"""
    told = q.told_water.get(q.surface_here.name)
    return np.zeros(q.weather.hours) if told is None else np.nan_to_num(told.given_mm)


def _water_at_dawn(fed_mm: Array, drying_mm: Array) -> Array:
    """Water in the top layer as each day begins, shape (days,): none is counted on where a day before is not known."""
    gains = np.nan_to_num(fed_mm - drying_mm, nan=-TOP_LAYER_MM)
    left = accumulate(
        gains[:-1].tolist(), lambda held, gain: min(max(held + gain, 0.0), TOP_LAYER_MM), initial=0.0
    )
    return np.array(list(left))


def _is_ahead(q: Quantities, number: int, scene: Scene) -> bool:
    """Whether some of the drying hours of that day are still to come."""
    return _at(q.days.dates[number], _TO, q.site.zone) > scene.now


def _begins(onset: datetime, now: datetime, zone: ZoneInfo) -> datetime:
    """Never in the past: the onset, else now while seed dries, else the next morning's hour of drying."""
    if onset >= now:
        return onset.astimezone(zone)
    local = now.astimezone(zone)
    if _FROM <= local.time() < _TO:
        return local
    return _at(local.date() + timedelta(days=local.time() >= _TO), _FROM, zone)


def _says(surface: str, begins: datetime, since: date, figures: tuple[float, float, float]) -> str:
    drying, rain, hottest = figures
    parts = []
    if drying == drying:
        parts.append(f"a day dries {drying:.1f} mm and {rain:.1f} mm of rain comes back")
    if hottest == hottest:
        parts.append(f"highest {hottest:.0f} °C")
    before = f", dry since {short_date(since)}" if since < begins.date() else ""
    return (
        f"Seed on the {surface} may dry out from {short_date(begins.date())} {begins:%H:%M}{before}: "
        f"{', '.join(parts)}."
    )


def _at(day: date, clock: time, zone: ZoneInfo) -> datetime:
    return datetime.combine(day, clock, zone)


def _figure(value: float) -> float | None:
    return None if value != value else round(float(value), 1)
