"""Rain before seed is safe: only for surfaces that are sown."""

from __future__ import annotations

from datetime import datetime, timedelta

import numpy as np

from planner.indices.quantities import Quantities
from planner.site import Sowing
from planner.terms import short_time
from planner.warnings.base import Notice, Scene, level_of
from planner.weather import Array, mean_of_members

#: A tackifier dries for 4 to 8 hours before it holds (second-hand: a state straw-tackifier bulletin).
_TACKIFIER_DRIES_H = (4.0, 8.0)
#: What can still be done tonight is worth waking somebody for; further off, the morning will do.
_TONIGHT_H = 24.0


def wash(scene: Scene) -> list[Notice]:
    """Warnings of rain events that may move seed, one for each event and sown surface."""
    notices = []
    for name, quantities in scene.plan.conditions.surfaces.items():
        sowings = [sowing for sowing in quantities.sowings if sowing.at <= scene.now + timedelta(days=14)]
        if not sowings:
            continue
        notices += _on_surface(scene, name, quantities, sorted(sowings, key=lambda sowing: sowing.at))
    return notices


def _on_surface(scene: Scene, name: str, quantities: Quantities, sowings: list[Sowing]) -> list[Notice]:
    risk = np.nan_to_num(mean_of_members(quantities["wash_risk"]))
    rain = np.nan_to_num(mean_of_members(quantities["rain_mm"]))
    weather = quantities.weather
    first = max(weather.index(scene.now), 0)
    note, care, act = (scene.thresholds[f"wash_{step}"] for step in ("note", "care", "act"))
    notices = []
    for begin, end in _events(risk, scene.floor("wash_note")):
        if end <= first:
            continue
        peak = begin + int(np.argmax(rain[begin:end]))
        # The hour to be ready for is the first of real rain, not the drizzle before it.
        onset = begin + int(np.argmax(rain[begin:end] >= max(0.5, 0.1 * rain[peak])))
        # The seed spoken of is what lies there by then, not what is to be sown later.
        sowing = next((one for one in reversed(sowings) if one.at <= weather.time(end)), sowings[0])
        strength = float(risk[begin:end].max())
        lead_h = (weather.time(onset) - scene.now) / timedelta(hours=1)
        at_hand = act if lead_h <= _TONIGHT_H else None
        # An onset that moves by an hour or two must not swing the level.
        calm_act = act if lead_h <= _TONIGHT_H + 6.0 else None
        total = float(rain[begin:end].sum())
        low = float(np.nanmax(mean_of_members(quantities["wash_low"])[begin:end]))
        high = float(np.nanmax(mean_of_members(quantities["wash_high"])[begin:end]))
        zone = scene.plan.conditions.site.zone
        notices.append(
            Notice(
                kind="wash",
                surface=name,
                begins=weather.time(onset),
                ends=weather.time(end),
                level=level_of(strength, care, at_hand),
                calm_level=level_of(strength + scene.margin, care, calm_act),
                raised_from=note,
                chance=None,
                share=_share(scene, name, begin, end),
                strength=strength,
                says=(
                    f"Rain from {short_time(weather.time(onset), zone)} may wash seed off the {name}: {total:.0f} mm, "
                    f"up to {float(rain[peak]):.0f} mm in an hour (wash index {strength:.2f}, "
                    f"between {low:.2f} and {high:.2f})."
                ),
                advice=_advice(quantities, sowing, lead_h, scene.now, weather.time(onset)),
                figures={
                    "rain_mm": round(total, 1),
                    "rain_hour_max_mm": round(float(rain[peak]), 1),
                    "wash_index": round(strength, 2),
                    "wash_low": round(low, 2),
                    "wash_high": round(high, 2),
                    "days_since_sowing": round((scene.now - sowing.at) / timedelta(days=1), 1),
                },
            )
        )
    return notices


def _events(risk: Array, threshold: float) -> list[tuple[int, int]]:
    """Runs of hours that carry a wash index at or above the threshold; without seed there is none."""
    over = risk >= threshold
    edges = np.flatnonzero(np.diff(over.astype(np.int8), prepend=0, append=0))
    return [(int(begin), int(end)) for begin, end in zip(edges[::2], edges[1::2], strict=True)]


def _share(scene: Scene, name: str, begin: int, end: int) -> float | None:
    """Share of members whose index passes the threshold of care within these hours."""
    ground = scene.members or scene.plan.conditions
    risk = ground.surfaces[name]["wash_risk"]
    if risk.shape[0] < 2:
        return None
    peaks = risk[:, begin:end].max(axis=1)
    known = peaks[~np.isnan(peaks)]
    return float((known > scene.thresholds["wash_care"]).mean()) if known.size else None


def _advice(
    quantities: Quantities, sowing: Sowing, lead_h: float, now: datetime, onset: datetime
) -> tuple[str, ...]:
    zone = quantities.site.zone
    when = f"before {short_time(onset, zone)}" if lead_h > 0 else "as soon as the rain pauses"
    advice = []
    surface = quantities.surface_here
    if sowing.cover_pct < 50:
        where = " Begin at the lower edge, where water gathers." if surface.slope_pct >= 3 else ""
        advice.append(f"Lay net, straw or fleece over the seed {when}.{where}")
    else:
        advice.append(f"Check that the cover is pegged down {when}.")
    low, high = _TACKIFIER_DRIES_H
    if not sowing.tackifier and lead_h >= low:
        late = onset - timedelta(hours=low)
        advice.append(
            f"A tackifier needs {low:.0f} to {high:.0f} dry hours to hold: put it down by {short_time(late, zone)} "
            "or not at all."
        )
    if sowing.at > now:
        advice.append("Sow after this rain instead.")
    else:
        advice.append("Put no more seed, feed or sand there until it has passed.")
    return tuple(advice)
