"""Rain inside the rainfast hours of a spray that is on record."""

from __future__ import annotations

from datetime import timedelta

import numpy as np

from planner.diary.rainfast import RainOnSpray, rain_between
from planner.notices.base import LEVELS, Notice, Scene

#: How long a spray that was rained on stays in the list, so that it is seen in the morning.
_SEEN_FOR = timedelta(hours=24)


def rainfast(scene: Scene) -> list[Notice]:
    """One warning for each logged spray that rain has met, or is to meet, before its time."""
    notices = []
    for spray in scene.consequences.sprays:
        limit = scene.thresholds.get("rainfast_mm", 0.2)
        if spray.rain_mm is None or spray.from_at is None:
            continue
        # Half at the limit, more for more, so that the margin of the other warnings fits.
        strength = spray.rain_mm / (spray.rain_mm + limit)
        if strength < 0.5 - scene.let_go:
            continue
        has_rained = spray.fallen_mm is not None and spray.fallen_mm >= limit
        ends = spray.dry_until + _SEEN_FOR if has_rained else spray.dry_until
        if ends <= scene.now:
            continue
        notices.append(
            Notice(
                kind="rainfast",
                surface=spray.work.surface,
                job=spray.work.job,
                begins=spray.from_at,
                ends=ends,
                level=LEVELS[1],
                chance=_chance(scene, spray, limit),
                strength=strength,
                raised_from=0.5,
                # Once told, a millimetre more changes nothing.
                step=2.0,
                says=_says(scene, spray, has_rained),
                advice=(
                    "The label says whether and when to repeat; write down what you decide.",
                    "No second coat on a guess: most labels limit the rate and the days between two.",
                ),
                figures={
                    "rain_mm": round(spray.rain_mm, 1),
                    "rainfast_h": spray.rainfast_h,
                    "dry_until": spray.dry_until.isoformat(),
                    "material": spray.material,
                },
            )
        )
    return notices


def _says(scene: Scene, spray: RainOnSpray, has_rained: bool) -> str:
    zone = scene.plan.ground.site.zone
    done = spray.work.finished_at.astimezone(zone)
    assert spray.from_at is not None
    rain = spray.from_at.astimezone(zone)
    after_h = (spray.from_at - spray.work.finished_at) / timedelta(hours=1)
    later = f"{after_h:.0f} h later" if after_h >= 1 else "within the hour"
    what = f"{spray.material} put on the {spray.work.surface} by {done:%a %H:%M}"
    needs = f"it needs {spray.rainfast_h:g} dry hours"
    if has_rained:
        return (
            f"Washed off: likely. {what[:1].upper()}{what[1:]} met {spray.fallen_mm:.1f} mm of rain "
            f"{later}; {needs}."
        )
    return (
        f"Rain from {rain:%a %H:%M} on {what}: {spray.rain_mm:.1f} mm within {spray.rainfast_h:g} h; {needs}."
    )


def _chance(scene: Scene, spray: RainOnSpray, limit: float) -> float | None:
    """Share of members with more rain than the limit within the rainfast hours."""
    if spray.chance is not None or scene.members is None:
        return spray.chance
    falls = rain_between(scene.members.sky.weather, spray.work.finished_at, spray.dry_until).sum(axis=1)
    known = falls[~np.isnan(falls)]
    return float((known > limit).mean()) if known.size > 1 else None
