"""Disease weather: days that favour dollar spot, brown patch or pythium, with what to do without a product."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date, datetime, time, timedelta
from zoneinfo import ZoneInfo

import numpy as np
from numpy.typing import NDArray

from planner.indices.leaf_wetness import BROWN_PATCH_FROM, DOLLAR_SPOT_FROM
from planner.indices.quantities import Quantities
from planner.terms import day_name, short_date
from planner.warnings.base import Notice, Scene, level_of
from planner.weather import Array, mean_of_members

#: Days ahead that are looked at. Judgement: a five-day mean changes little, a night's humidity is known no longer.
DAYS_AHEAD = 3
#: How far each figure can be trusted, in the words of docs/references.md.
STATUS = {
    "dollar spot": "limit published, equation second-hand",
    "brown patch": "published for ryegrass",
    "pythium": "published rule",
}
#: What is said of pythium that is named by the days the trade fears, short of the published hours.
_OUR_PYTHIUM = "our own rule, 6 damp hours of a warm night; the published one asks for 14 h"
_DRY_LEAF = (
    "No late water: water at dawn, so that the leaf is dry for most of the day and all night.",
    "Brush or switch the dew off at dawn, and look for thread and spots while it lies.",
)
#: Brown patch and pythium take lush turf, dollar spot takes hungry turf. Common practice, no source.
_LESS_NITROGEN = "Hold back nitrogen until these nights are over."
_NOT_HUNGRY = "Do not let the turf go hungry: dollar spot takes what is short of nitrogen first."
_BY_LABEL = "A fungicide only if you want one, by its label."


@dataclass(frozen=True, slots=True, kw_only=True)
class _Weather:
    """The days of a surface, each figure of shape (days,), NaN where not known."""

    dates: tuple[date, ...]
    strength: dict[str, Array]
    """0.5 at the published threshold, by the disease's name."""
    dollar_spot: Array
    brown_patch: Array
    hottest_c: Array
    night_c: Array
    humid_h: Array


def disease(scene: Scene) -> list[Notice]:
    """One warning for each run of days and surface on which the weather favours a disease."""
    notices = []
    for name, quantities in scene.plan.conditions.surfaces.items():
        notices += _on_surface(scene, name, _weather(quantities))
    return notices


def _weather(q: Quantities) -> _Weather:
    days, nights = q.days, q.nights
    lasts = np.array([*days.first_hour[1:], q.weather.hours]) - 1
    # Dollar spot and brown patch are the day's; pythium that of the night in which the day ends.
    dollar = mean_of_members(q["dollar_spot_chance"])[lasts]
    brown = mean_of_members(q["brown_patch_index"])[lasts]
    pythium = mean_of_members(q["pythium_risk"])[lasts]
    humid = np.where(np.isnan(q["rel_humidity_pct"]), np.nan, q["rel_humidity_pct"] > 90.0)
    by_night = nights.of_hour[lasts]
    strength = {"dollar spot": dollar / (dollar + DOLLAR_SPOT_FROM)}
    if q.surface_here.grass.season != "warm":
        strength["brown patch"] = np.clip(brown / (2.0 * BROWN_PATCH_FROM), 0.0, 1.0)
        strength["pythium"] = pythium
    return _Weather(
        dates=days.dates,
        strength=strength,
        dollar_spot=dollar,
        brown_patch=brown,
        hottest_c=mean_of_members(days.highest(q["air_temp_c"])),
        night_c=mean_of_members(nights.lowest(q["air_temp_c"]))[by_night],
        humid_h=mean_of_members(nights.total(humid))[by_night],
    )


def _on_surface(scene: Scene, surface: str, found: _Weather) -> list[Notice]:
    zone = scene.plan.conditions.site.zone
    today = scene.now.astimezone(zone).date()
    near = np.array([today <= day <= today + timedelta(days=DAYS_AHEAD) for day in found.dates])
    # What is not known raises nothing here and is named among what is not read.
    highest = np.max([np.nan_to_num(row) for row in found.strength.values()], axis=0)
    over = near & ((highest >= 0.5 - scene.hysteresis) | _warm_wet(found, 0.0))
    edges = np.flatnonzero(np.diff(over.astype(np.int8), prepend=0, append=0))
    return [
        _notice(scene, surface, found, slice(int(begin), int(end)))
        for begin, end in zip(edges[::2], edges[1::2], strict=True)
    ]


def _notice(scene: Scene, surface: str, found: _Weather, run: slice) -> Notice:
    zone = scene.plan.conditions.site.zone
    worst = {name: float(np.nanmax(np.nan_to_num(row[run]))) for name, row in found.strength.items()}
    strength = max(worst.values())
    raised = [name for name, figure in worst.items() if figure >= 0.5]
    warm_wet = bool(np.any(_warm_wet(found, 0.0)[run]))
    if warm_wet:
        strength = max(strength, 0.5)
        # Both are the diseases of such nights, whatever their figures fall short of.
        raised += [name for name in ("brown patch", "pythium") if name in worst and name not in raised]
    named = raised or [max(worst, key=lambda name: worst[name])]
    status = {name: STATUS[name] for name in named}
    if "pythium" in status and worst["pythium"] < 0.5 and warm_wet:
        status["pythium"] = _OUR_PYTHIUM
    days = found.dates[run]
    return Notice(
        kind="disease",
        surface=surface,
        begins=max(scene.now, _midnight(days[0], zone)),
        ends=_midnight(days[-1] + timedelta(days=1), zone),
        level=level_of(max(_gravity(worst, 0.0), float(warm_wet)), 1.0),
        calm_level=level_of(
            max(_gravity(worst, scene.margin), float(np.any(_warm_wet(found, 1.0)[run]))), 1.0
        ),
        raised_from=0.5,
        # The level and the days are the news; a few hundredths more or less are not.
        step=2.0,
        is_slow=True,
        chance=None,
        strength=strength,
        says=_says(scene, surface, found, run, status),
        advice=(*_DRY_LEAF, _NOT_HUNGRY if named == ["dollar spot"] else _LESS_NITROGEN, _BY_LABEL),
        figures={
            "dollar_spot_chance": _most(found.dollar_spot[run], 2),
            "brown_patch_index": _most(found.brown_patch[run], 1),
            "pythium": _most(found.strength["pythium"][run], 2) if "pythium" in found.strength else None,
            "air_max_c": _most(found.hottest_c[run], 1),
            "night_low_c": _most(found.night_c[run], 1),
            "humid_hours": _most(found.humid_h[run], 0),
            "named": ", ".join(named),
            "status": "; ".join(f"{name}: {says}" for name, says in status.items()),
        },
    )


#: A hot day, a warm night and so many hours of damp air in it. Common practice, no source; nutter-1983 asks for 14 h.
_HOT_DAY_C, _WARM_NIGHT_C, _DAMP_H = 30.0, 20.0, 6.0


def _warm_wet(found: _Weather, spare_k: float) -> NDArray[np.bool_]:
    """Days and nights that the trade fears most, within `spare_k` of their figures, shape (days,)."""
    hot = found.hottest_c >= _HOT_DAY_C - spare_k
    warm = (found.night_c >= _WARM_NIGHT_C - spare_k) & (found.humid_h >= _DAMP_H)
    return np.asarray(hot & warm) if "pythium" in found.strength else np.zeros(hot.shape, dtype=bool)


def _gravity(worst: dict[str, float], margin: float) -> float:
    """1 for pythium, or for two diseases at once, each with a margin added; else 0."""
    raised = [name for name, figure in worst.items() if figure + margin >= 0.5]
    return 1.0 if "pythium" in raised or len(raised) >= 2 else 0.0


def _says(scene: Scene, surface: str, found: _Weather, run: slice, status: dict[str, str]) -> str:
    zone = scene.plan.conditions.site.zone
    days = found.dates[run]
    first = day_name(days[0], scene.now, zone)
    last = "" if len(days) == 1 else f" to {short_date(days[-1])}"
    hot, night = _most(found.hottest_c[run], 0), _most(found.night_c[run], 0)
    humid = _most(found.humid_h[run], 0)
    cause = [
        *([f"days to {hot:.0f} °C"] if hot is not None else []),
        *([f"nights of {night:.0f} °C"] if night is not None else []),
        *([f"{humid:.0f} h above 90 % humidity"] if humid is not None else []),
    ]
    figures = []
    if "dollar spot" in status:
        chance = _most(found.dollar_spot[run], 2)
        figures.append(f"dollar spot {chance:.2f} of {DOLLAR_SPOT_FROM:.2f} ({status['dollar spot']})")
    if "brown patch" in status:
        index = _most(found.brown_patch[run], 1)
        figures.append(f"brown patch {index:.1f} of {BROWN_PATCH_FROM:g} ({status['brown patch']})")
    if "pythium" in status:
        figures.append(f"pythium ({status['pythium']})")
    return (
        f"Weather for {_listed(list(status))} on the {surface}, {first}{last}: {', '.join(cause)}. "
        f"Figures: {'; '.join(figures)}."
    )


def _listed(names: list[str]) -> str:
    return names[0] if len(names) == 1 else f"{', '.join(names[:-1])} and {names[-1]}"


def _most(values: Array, digits: int) -> float | None:
    known = values[~np.isnan(values)]
    return round(float(known.max()), digits) if known.size else None


def _midnight(day: date, zone: ZoneInfo) -> datetime:
    return datetime.combine(day, time(0), zone)
