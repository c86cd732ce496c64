"""Work that presses or is at risk: overdue, a last window before a closed spell, rain too soon, an old forecast."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime, timedelta

import numpy as np

from planner.diary.consequences import RainOnSpray, rain_between
from planner.diary.due import Due
from planner.planning.plan import Judged
from planner.planning.windows import Window
from planner.terms import LABEL_CAUTION, first_up, short_date, short_time
from planner.warnings.base import LEVELS, Notice, Scene

#: How near a last window must be before it is named.
_NEAR = timedelta(hours=36)
#: Work is named as overdue only after this long: a day either way is the keeper's own affair.
_OVERDUE_FROM = timedelta(hours=24)


def last_window(scene: Scene) -> list[Notice]:
    """The last window before a closed spell, for work that is due or overdue."""
    ahead_d = scene.thresholds.get("due_ahead_d", 3.0)
    pressing = {
        (due.job, due.surface): due for due in scene.consequences.due if due.presses(scene.now, ahead_d)
    }
    notices = []
    for judged in scene.plan.judged:
        due = pressing.get((judged.job.name, judged.surface.name))
        if due is None or not judged.windows:
            continue
        notices += _last(scene, judged, judged.windows[0], due)
    return notices


def _last(scene: Scene, judged: Judged, window: Window, due: Due) -> list[Notice]:
    closed_h = scene.thresholds.get("closed_spell_h", 48.0)
    horizon = scene.plan.conditions.sky.weather.end
    gap_h = ((window.next_start or horizon) - window.end) / timedelta(hours=1)
    # Half at the spell that counts, more for a longer one.
    strength = min(1.0, gap_h / (2.0 * closed_h))
    if strength < 0.5 - scene.hysteresis or window.start - scene.now > _NEAR:
        return []
    zone = scene.plan.conditions.site.zone
    end = window.end.astimezone(zone)
    following = (
        f"the next begins {short_time(window.next_start, zone)}"
        if window.next_start is not None
        else f"no other up to {short_date(horizon.astimezone(zone).date())}"
    )
    return [
        Notice(
            kind="last_window",
            surface=judged.surface.name,
            job=judged.job.name,
            begins=window.start,
            ends=window.latest_start,
            level=LEVELS[1],
            chance=None,
            share=window.chance,
            strength=strength,
            raised_from=0.5,
            step=2.0,
            says=(
                f"{_named(judged)}, last window for a while: {short_time(window.start, zone)}–{end:%H:%M}"
                f"{_only_just(judged, window)}; {following}."
            ),
            advice=(
                f"Start by {short_time(window.latest_start, zone)}, or let it wait: {_why(due, scene)}.",
                *_caution(scene, judged.job.name),
            ),
            figures={
                "window_start": window.start.isoformat(),
                "latest_start": window.latest_start.isoformat(),
                "next_start": None if window.next_start is None else window.next_start.isoformat(),
                "closed_h": round(gap_h, 0),
            },
        )
    ]


def _only_just(judged: Judged, window: Window) -> str:
    """That its best hour has little room, and what limits it; nothing where there is room."""
    if window.state != "narrow":
        return ""
    suitability = judged.suitability
    need = suitability.needs[int(suitability.limiting[window.best_hour])]
    return f", only just ({need.label})"


def _caution(scene: Scene, job: str) -> tuple[str, ...]:
    """The short caution where a label binds the job, as a tuple to add to the advice."""
    bound = any(judged.job.name == job and judged.job.has_label for judged in scene.plan.judged)
    return (LABEL_CAUTION,) if bound else ()


def _named(judged: Judged) -> str:
    """The job and where, once."""
    label = first_up(judged.job.label)
    return label if label.endswith(judged.surface.name) else f"{label} on the {judged.surface.name}"


def _why(due: Due, scene: Scene) -> str:
    if due.due_at is None:
        return f"it is wanted, {due.because}"
    zone = scene.plan.conditions.site.zone
    tense = "was" if due.due_at <= scene.now else "is"
    return f"it {tense} due {short_date(due.due_at.astimezone(zone).date())}"


def overdue(scene: Scene) -> list[Notice]:
    """Work whose time has gone by; it stands until the diary says that it is done."""
    notices = []
    for due in scene.consequences.due:
        if due.due_at is None or scene.now - due.due_at < _OVERDUE_FROM:
            continue
        days = due.overdue_h(scene.now) / 24.0
        local = due.due_at.astimezone(scene.plan.conditions.site.zone)
        care = scene.thresholds.get("overdue_care_d", 3.0)
        notices.append(
            Notice(
                kind="overdue",
                surface=due.surface,
                job=due.job,
                begins=due.due_at,
                ends=None,
                level=LEVELS[0] if days < care else LEVELS[1],
                # What is overdue grows only more so; a day less by a new forecast does not calm it.
                calm_level=LEVELS[0] if days + 1.0 < care else LEVELS[1],
                chance=None,
                strength=1.0,
                step=2.0,
                says=(
                    f"Overdue: {due.label} on the {due.surface} was due {short_date(local.date())} ({due.because})."
                ),
                advice=(_next_window(scene, due), *_caution(scene, due.job)),
                figures={"due_at": due.due_at.isoformat(), "days_overdue": round(days, 1)},
            )
        )
    return notices


def _next_window(scene: Scene, due: Due) -> str:
    """When it can be done next, and what limits it then."""
    zone = scene.plan.conditions.site.zone
    for judged in scene.plan.judged:
        if (judged.job.name, judged.surface.name) == (due.job, due.surface) and judged.windows:
            window = judged.windows[0]
            span = f"{short_time(window.start, zone)}–{window.end.astimezone(zone):%H:%M}"
            return f"Next window: {span}{_only_just(judged, window)}. If it is done, write it down."
    return "No window for it in this forecast. If it is done, write it down."


#: From then on the hours themselves are a guess, not only their detail. Judgement.
_CARE_AFTER = timedelta(hours=12)


def stale(scene: Scene) -> list[Notice]:
    """One warning while no new forecast comes."""
    if scene.stale_at is None or scene.now < scene.stale_at:
        return []
    zone = scene.plan.conditions.site.zone
    care = scene.now - scene.stale_at >= _CARE_AFTER
    return [
        Notice(
            kind="stale",
            surface=None,
            begins=scene.stale_at,
            ends=None,
            level=LEVELS[1] if care else LEVELS[0],
            calm_level=LEVELS[1] if care else LEVELS[0],
            chance=None,
            strength=1.0,
            step=2.0,
            says=(
                f"No new forecast has come: the one in use is too old since "
                f"{short_time(scene.stale_at, zone)}. Warnings from it stand as they were."
            ),
            advice=("Look at the sky before you trust an hour of it, and see whether the network is there.",),
            figures={"stale_since": scene.stale_at.isoformat()},
        )
    ]


#: How long a spray that was rained on stays in the list, so that it is seen in the morning.
_SEEN_FOR = timedelta(hours=24)


@dataclass(frozen=True, slots=True, kw_only=True)
class _OfMembers:
    """Rain within the rainfast hours over the members of an ensemble."""

    share: float
    """Share of members with more than the limit."""
    mean_mm: float
    """Mean of those."""
    from_at: datetime
    """First hour in which half of those have begun to rain."""


def rainfast(scene: Scene) -> list[Notice]:
    """One warning for each logged spray that rain has met, or is to meet, before its time.

    Raised where the plain forecast rains, or where so many members do: either may see the shower first.
    """
    notices = []
    limit = scene.thresholds.get("rainfast_mm", 0.2)
    from_share = scene.thresholds.get("rainfast_share", 0.3)
    for spray in scene.consequences.sprays:
        members = _of_members(scene, spray, limit)
        plain = 0.0 if spray.rain_mm is None or spray.from_at is None else spray.rain_mm
        share = 0.0 if members is None else members.share
        # Half at each threshold, more for more, so that the margin of the other warnings fits.
        strength = max(plain / (plain + limit), share / (share + from_share))
        if strength < 0.5 - scene.hysteresis:
            continue
        has_rained = spray.fallen_mm is not None and spray.fallen_mm >= limit
        ends = spray.dry_until + _SEEN_FOR if has_rained else spray.dry_until
        if ends <= scene.now:
            continue
        begins = spray.from_at if plain >= limit or members is None else members.from_at
        assert begins is not None
        notices.append(
            Notice(
                kind="rainfast",
                surface=spray.work.surface,
                job=spray.work.job,
                begins=begins,
                ends=ends,
                level=LEVELS[1],
                chance=None,
                share=None if members is None else members.share,
                strength=strength,
                raised_from=0.5,
                # Once a message went out, a millimetre more changes nothing.
                step=2.0,
                says=_says(scene, spray, begins, None if plain >= limit else members, has_rained),
                advice=(
                    "The label says whether and when to repeat; write down what you decide.",
                    "No second coat on a guess: most labels limit the rate and the days between two.",
                    *_caution(scene, spray.work.job),
                ),
                figures={
                    "rain_mm": None if spray.rain_mm is None else round(spray.rain_mm, 1),
                    "rainfast_h": spray.rainfast_h,
                    "dry_until": spray.dry_until.isoformat(),
                    "material": spray.material,
                },
            )
        )
    return notices


def _says(
    scene: Scene, spray: RainOnSpray, begins: datetime, members: _OfMembers | None, has_rained: bool
) -> str:
    zone = scene.plan.conditions.site.zone
    after_h = (begins - spray.work.finished_at) / timedelta(hours=1)
    later = f"{after_h:.0f} h later" if after_h >= 1 else "within the hour"
    what = f"{spray.material} put on the {spray.work.surface} by {short_time(spray.work.finished_at, zone)}"
    needs = f"it needs {spray.rainfast_h:g} dry hours"
    if has_rained:
        return f"Washed off: likely. {first_up(what)} met {spray.fallen_mm:.1f} mm of rain {later}; {needs}."
    if members is not None:
        return (
            f"Rain from {short_time(begins, zone)} in {members.share:.0%} of the forecasts on {what}: "
            f"{members.mean_mm:.1f} mm in those; {needs}."
        )
    return (
        f"Rain from {short_time(begins, zone)} on {what}: {spray.rain_mm:.1f} mm within "
        f"{spray.rainfast_h:g} h; {needs}."
    )


def _of_members(scene: Scene, spray: RainOnSpray, limit: float) -> _OfMembers | None:
    """What the members say of the rain on a spray; None without an ensemble that knows its hours."""
    weather = (scene.members or scene.plan.conditions).sky.weather
    falls = rain_between(weather, spray.work.finished_at, spray.dry_until)
    known = falls[~np.isnan(falls).any(axis=1)]
    if known.shape[0] < 2:
        return None
    totals = known.sum(axis=1)
    wet = known[totals > limit]
    if not wet.shape[0]:
        return _OfMembers(share=0.0, mean_mm=0.0, from_at=spray.dry_until)
    begun = (wet.cumsum(axis=1) >= limit).mean(axis=0)
    hour = weather.index(spray.work.finished_at) + int(np.argmax(begun >= 0.5))
    return _OfMembers(
        share=wet.shape[0] / known.shape[0],
        mean_mm=float(wet.sum(axis=1).mean()),
        from_at=max(weather.time(hour), spray.work.finished_at),
    )
