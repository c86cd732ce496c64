"""Wilt: turf that has used up the water its roots take easily, today or tomorrow."""

from __future__ import annotations

from datetime import datetime, time, timedelta

import numpy as np

from planner.indices.quantities import Quantities
from planner.indices.table_water import record_begins
from planner.terms import short_time
from planner.warnings.base import Notice, Scene, level_of
from planner.warnings.nights import day_name
from planner.weather import Array, mean_of_members

#: Hours ahead that are looked at.
HOURS_AHEAD = 48
#: Share of the ready water used from which turf is short (FAO-56, chapter 8), and from which care is asked in heat.
NOTE, CARE = 1.0, 1.2
#: An afternoon this hot wilts turf that is short of water. Judgement.
_HOT_C = 27.0
#: A dry spell that rain or water ends within so many hours is not worth a word: in heat, and in cooler air, in which
#: turf waits a day for rain unharmed. Judgement.
_SHORT_HOT_H, _SHORT_H = 6, 24
#: When water is given by hand: the leaf is wet anyway and the air takes little. Common practice, no source.
_FROM, _TO = time(5), time(9)


def wilt(scene: Scene) -> list[Notice]:
    """One warning for each surface that runs short of water within two days."""
    found = (
        _on_surface(scene, name, quantities) for name, quantities in scene.plan.conditions.surfaces.items()
    )
    return [notice for notice in found if notice is not None]


def _on_surface(scene: Scene, name: str, q: Quantities) -> Notice | None:
    weather = q.weather
    first = max(weather.index(scene.now), 0)
    used = mean_of_members(q["depletion_raw"])[first : first + HOURS_AHEAD]
    # Half at the end of the ready water, so that the margins of the other warnings fit.
    strength = np.clip(np.nan_to_num(used) / (2.0 * NOTE), 0.0, 1.0)
    over = strength >= 0.5 - scene.hysteresis
    edges = np.flatnonzero(np.diff(over.astype(np.int8), prepend=0, append=0))
    air = mean_of_members(q["air_temp_c"])[first : first + HOURS_AHEAD]
    runs = [
        (int(begin), int(end))
        for begin, end in zip(edges[::2], edges[1::2], strict=True)
        # One that ends where nothing is known any more has not been seen to end.
        if end - begin >= (_SHORT_HOT_H if _hottest(air[begin:end]) >= _HOT_C else _SHORT_H)
        or end == used.size
        or np.isnan(used[end])
    ]
    if not runs:
        return None
    begin, end = runs[0]
    figure, worst = float(strength[begin:end].max()), float(used[begin:end].max())
    hottest = _hottest(air[begin:end])
    begins = max(weather.time(first + begin), scene.now)
    hot = hottest >= _HOT_C
    return Notice(
        kind="wilt",
        surface=name,
        begins=begins,
        ends=weather.time(first + end),
        level=level_of(worst, CARE) if hot else level_of(0.0, CARE),
        calm_level=level_of(worst + 2.0 * NOTE * scene.margin, CARE) if hot else level_of(0.0, CARE),
        raised_from=0.5,
        # The level says what matters; it dries a little more every hour.
        step=2.0,
        is_slow=True,
        chance=None,
        strength=figure,
        says=_says(scene, q, name, begins, worst, hottest),
        advice=(
            f"Hand water {_when(scene, begins)}, the spots that dry first before the rest.",
            "Raise the cut or leave a day out.",
            "No rolling while footprints stay in the leaf; the first roll or cut comes after water.",
        ),
        figures={
            "depletion_of_ready_water": round(worst, 2),
            "air_max_c": None if hottest != hottest else round(hottest, 1),
        },
    )


def _hottest(air: Array) -> float:
    return float(np.nanmax(air)) if not np.isnan(air).all() else float("nan")


def _says(scene: Scene, q: Quantities, name: str, begins: datetime, worst: float, hottest: float) -> str:
    zone = scene.plan.conditions.site.zone
    since = "now" if begins - scene.now < timedelta(hours=1) else f"from {short_time(begins, zone)}"
    heat = f", air to {hottest:.0f} °C" if hottest == hottest else ""
    guess = mean_of_members(q["water_guess"])[max(q.weather.index(scene.now), 0)]
    rests = f", from a guess ({record_begins(q)})," if guess >= 0.5 else ", not measured,"
    return (
        f"The {name} runs short of water {since}: by the sum of rain and use{rests} "
        f"{100.0 * worst:.0f} % of what roots take easily is used{heat}."
    )


def _when(scene: Scene, begins: datetime) -> str:
    """The last dawn before it wilts, or the next one: `today 05:00–09:00`."""
    zone = scene.plan.conditions.site.zone
    today = scene.now.astimezone(zone).date()
    span = f"{_FROM:%H:%M}–{_TO:%H:%M}"
    dawns = [today + timedelta(days=ahead) for ahead in range(HOURS_AHEAD // 24 + 1)]
    open_still = [day for day in dawns if datetime.combine(day, _TO, zone) > scene.now]
    in_time = [day for day in open_still if datetime.combine(day, _TO, zone) <= begins]
    if in_time:
        return f"{day_name(in_time[-1], scene.now, zone)} {span}"
    first = f"{day_name(open_still[0], scene.now, zone)} {span}"
    is_dry = begins - scene.now < timedelta(hours=1)
    return f"now only where it wilts, and all of it {first}" if is_dry and open_still[0] != today else first
