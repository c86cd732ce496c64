"""Wilt: turf that has used up the water its roots take easily, today or tomorrow."""

from __future__ import annotations

from datetime import date, datetime, time, timedelta

import numpy as np

from planner.indices.quantities import Quantities
from planner.indices.table_water import record_begins
from planner.terms import day_name, short_time
from planner.warnings.base import Notice, Scene, level_of
from planner.weather import Array, mean_of_members

#: Hours ahead that are looked at.
HOURS_AHEAD = 48
#: Share of the ready water used from which turf is short (FAO-56, chapter 8), and from which care is asked in heat.
NOTE, CARE = 1.0, 1.2
#: An afternoon this hot wilts turf that is short of water. Judgement.
_HOT_C = 27.0
#: Below this at its warmest cool-season turf hardly grows, and does not wilt; common practice, no source. [C]
_GROWS_C = 6.0
#: A dry spell that rain or water ends within so many hours is not worth a word: in heat, and in cooler air, in which
#: turf waits a day for rain unharmed. Judgement.
_SHORT_HOT_H, _SHORT_H = 6, 24
#: When water is given by hand: the leaf is wet anyway and the air takes little. Common practice, no source.
_FROM, _TO = time(5), time(9)
#: Where frost lies at dawn, until when it is still worth giving.
_LATEST = time(12)
_HOUR = timedelta(hours=1)


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
    if hottest < _GROWS_C:
        # Turf that rests draws no water, and what is poured on it freezes.
        return None
    begins = max(weather.time(first + begin), scene.now)
    hot = hottest >= _HOT_C
    when = _when(scene, q, begins)
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
            "No water on frost or frozen ground: it waits for the thaw."
            if when is None
            else f"Hand water {when}, the spots that dry first before the rest.",
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


def _when(scene: Scene, q: Quantities, begins: datetime) -> str | None:
    """The last dawn before it wilts, or the next one, in the hours without frost: `today 05:00–09:00`.

    None where no dawn ahead, nor the forenoon after it, is free of frost and frozen soil.
    """
    zone = scene.plan.conditions.site.zone
    today = scene.now.astimezone(zone).date()
    dawns = [today + timedelta(days=ahead) for ahead in range(HOURS_AHEAD // 24 + 1)]
    spans = [(day, span) for day in dawns if (span := _free_span(scene, q, day)) is not None]
    if not spans:
        return None
    in_time = [one for one in spans if datetime.combine(one[0], _TO, zone) <= begins]
    day, span = in_time[-1] if in_time else spans[0]
    first = f"{day_name(day, scene.now, zone)} {span}"
    is_dry = begins - scene.now < timedelta(hours=1) and day != today
    return f"now only where it wilts, and all of it {first}" if is_dry and _is_free(q, scene.now) else first


def _free_span(scene: Scene, q: Quantities, day: date) -> str | None:
    """The hours of that dawn, or of the forenoon after it, still ahead and without frost; None without any."""
    zone = scene.plan.conditions.site.zone
    for begin, end in ((_FROM, _TO), (_TO, _LATEST)):
        starts = [datetime.combine(day, time(hour), zone) for hour in range(begin.hour, end.hour)]
        free = [at for at in starts if at + _HOUR > scene.now and _is_free(q, at)]
        if free:
            return f"{free[0]:%H:%M}–{free[-1] + _HOUR:%H:%M}"
    return None


def _is_free(q: Quantities, at: datetime) -> bool:
    """Whether no frost lies in that hour and the soil has not been frozen since the evening; unknown is not free."""
    hour = q.weather.index(at)
    if not 0 <= hour < q.weather.hours:
        return False
    frost = mean_of_members(q["frost_keep_off"])[hour]
    soil = mean_of_members(q["soil_temp_c"])[max(hour - 12, 0) : hour + 1]
    return bool(frost < 0.5 and np.nanmin(soil) > 0.0) if not np.isnan(soil).all() else False
