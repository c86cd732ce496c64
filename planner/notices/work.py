"""Work that presses: the last window before a closed spell, and what is overdue."""

from __future__ import annotations

from datetime import timedelta

from planner.diary.due import Due
from planner.notices.base import LEVELS, Notice, Scene
from planner.plan import Judged
from planner.windows import Window

#: How near a last window must be before it is told.
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
    horizon = scene.plan.ground.sky.weather.end
    gap_h = ((window.next_start or horizon) - window.end) / timedelta(hours=1)
    # Half at the spell that counts, more for a longer one.
    strength = min(1.0, gap_h / (2.0 * closed_h))
    if strength < 0.5 - scene.let_go or window.start - scene.now > _NEAR:
        return []
    zone = scene.plan.ground.site.zone
    start, end = window.start.astimezone(zone), window.end.astimezone(zone)
    latest = window.latest_start.astimezone(zone)
    following = (
        f"the next begins {window.next_start.astimezone(zone):%a %d %H:%M}"
        if window.next_start is not None
        else f"no other is seen up to {horizon.astimezone(zone):%a %d}"
    )
    return [
        Notice(
            kind="last_window",
            surface=judged.surface.name,
            job=judged.job.name,
            begins=window.start,
            ends=window.latest_start,
            level=LEVELS[1],
            chance=window.chance,
            strength=strength,
            raised_from=0.5,
            step=2.0,
            says=(f"{_named(judged)}, last window for a while: {start:%a %H:%M}-{end:%H:%M}; {following}."),
            advice=(f"Begin by {latest:%a %H:%M}, or let it wait: {_why(due, scene)}.",),
            figures={
                "window_start": window.start.isoformat(),
                "latest_start": window.latest_start.isoformat(),
                "next_start": None if window.next_start is None else window.next_start.isoformat(),
                "closed_h": round(gap_h, 0),
            },
        )
    ]


def _named(judged: Judged) -> str:
    """The job and where, once."""
    label = f"{judged.job.label[:1].upper()}{judged.job.label[1:]}"
    return label if label.endswith(judged.surface.name) else f"{label} on the {judged.surface.name}"


def _why(due: Due, scene: Scene) -> str:
    if due.due_at is None:
        return f"it is wanted, {due.because}"
    zone = scene.plan.ground.site.zone
    tense = "was" if due.due_at <= scene.now else "is"
    return f"it {tense} due {due.due_at.astimezone(zone):%a %d %b}"


def overdue(scene: Scene) -> list[Notice]:
    """Work whose time has gone by; it stands until the diary says that it is done."""
    notices = []
    for due in scene.consequences.due:
        if due.due_at is None or scene.now - due.due_at < _OVERDUE_FROM:
            continue
        days = due.overdue_h(scene.now) / 24.0
        local = due.due_at.astimezone(scene.plan.ground.site.zone)
        heed = scene.thresholds.get("overdue_heed_d", 3.0)
        notices.append(
            Notice(
                kind="overdue",
                surface=due.surface,
                job=due.job,
                begins=due.due_at,
                ends=None,
                level=LEVELS[0] if days < heed else LEVELS[1],
                # What is overdue grows only more so; a day less by a new forecast does not calm it.
                calm_level=LEVELS[0] if days + 1.0 < heed else LEVELS[1],
                chance=None,
                strength=1.0,
                step=2.0,
                says=(f"Overdue: {due.label} on the {due.surface} was due {local:%a %d %b} ({due.because})."),
                advice=("Do it in the next window, or write it down if it is done.",),
                figures={"due_at": due.due_at.isoformat(), "days_overdue": round(days, 1)},
            )
        )
    return notices
