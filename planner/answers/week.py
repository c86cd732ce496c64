"""The week's work in order: what is due, each job in its hour, and what found none."""

from __future__ import annotations

from datetime import timedelta
from typing import Any

from planner.answers.header import head, known, local
from planner.answers.verdict import limiting
from planner.briefing import Briefing
from planner.plan import Judged
from planner.site import WorkDone
from planner.suitability import STATES
from planner.week import Away, Placed, Week, order

#: Worth of a job that is overdue, beside 1 for one that is due within the week. Judgement.
_OVERDUE = 1.5


def week(briefing: Briefing) -> dict[str, Any]:
    """Jobs that are wanted and due within the days ahead, placed so that one keeper can do them."""
    found = ordered(briefing)
    zone = briefing.plan.ground.site.zone
    return {
        **head(briefing),
        "days": briefing.week_days,
        "hours_a_day": briefing.hours_a_day,
        "method": found.method,
        "says": _says(found, len(_planned(briefing))),
        "work": [_placed(placed, briefing) for placed in found.placed],
        "left": [_left(judged, why, briefing) for judged, why in found.left],
        "planned": [
            {
                "job": work.job,
                "label": _label(work, briefing),
                "kind": work.kind,
                "surface": work.surface,
                "start": local(span.start, zone),
                "end": local(span.end, zone),
            }
            for work, span in _planned(briefing)
        ],
    }


def ordered(briefing: Briefing) -> Week:
    """The week laid out: what presses, beside the work that is planned already. Laid out once for a briefing."""
    told = (briefing.plan, briefing.consequences)
    settings = (briefing.made_at, briefing.week_days, briefing.hours_a_day, briefing.away)
    # What the identities stand for is kept in what is remembered, so that they stay theirs.
    key = ("week", *map(id, told), settings)
    found, _ = briefing.plan.ground.spans.recall(key, lambda: (_order(briefing), told))
    return found


def _order(briefing: Briefing) -> Week:
    planned = _planned(briefing)
    fixed = {(work.job, work.surface) for work, _ in planned}
    pressing = {
        (one.job, one.surface): _OVERDUE if one.overdue_h(briefing.made_at) > 0 else 1.0
        for one in briefing.consequences.due
        if one.presses(briefing.made_at, briefing.week_days) and (one.job, one.surface) not in fixed
    }
    return order(
        [j for j in briefing.plan.judged if (j.job.name, j.surface.name) in pressing],
        now=briefing.made_at,
        zone=briefing.plan.ground.site.zone,
        days=briefing.week_days,
        hours_a_day=briefing.hours_a_day,
        away=briefing.away,
        planned=[span for _, span in planned],
        pressing=pressing,
    )


def _planned(briefing: Briefing) -> list[tuple[WorkDone, Away]]:
    """Work that is fixed within the days ahead, with the time it takes, in order of time."""
    until = briefing.made_at + timedelta(days=briefing.week_days)
    lasts = {judged.job.name: judged.job.duration_h for judged in briefing.plan.judged}
    works = {work for judged in briefing.plan.judged for work in judged.trial.planned}
    found = [(work, _span(work, lasts.get(work.job, 1.0))) for work in works if work.at < until]
    ahead = [(work, span) for work, span in found if span.end > briefing.made_at]
    return sorted(ahead, key=lambda pair: (pair[0].at, pair[0].job, pair[0].surface))


def _span(work: WorkDone, hours: float) -> Away:
    """A planned moment is when the work begins."""
    return Away(start=work.at, end=work.at + timedelta(hours=hours))


def _label(work: WorkDone, briefing: Briefing) -> str:
    found = (j.job.label for j in briefing.plan.judged if j.job.name == work.job)
    return next(found, work.job.replace("_", " "))


def _says(found: Week, planned: int) -> str:
    if not found.placed and not found.left and not planned:
        return "No work is wanted or due. Name what you want in the site file under [[wanted]]."
    placed, left = len(found.placed), len(found.left)
    if not placed and not left:
        return "Nothing is due beside the work that is planned."
    return (
        f"{placed} of {placed + left} jobs have their hour."
        if left
        else f"All {placed} jobs have their hour."
    )


def _placed(placed: Placed, briefing: Briefing) -> dict[str, Any]:
    zone = briefing.plan.ground.site.zone
    judged = placed.judged
    return {
        "job": judged.job.name,
        "label": judged.job.label,
        "kind": judged.job.kind,
        "surface": judged.surface.name,
        "start": local(placed.start, zone),
        "end": local(placed.end, zone),
        "state": STATES[judged.suitability.state[placed.hour]],
        "score": known(placed.score),
        "limiting": limiting(judged, placed.hour),
        "because": _why_due(judged, briefing),
        "cautions": list(judged.job.cautions),
    }


def _left(judged: Judged, why: str, briefing: Briefing) -> dict[str, Any]:
    return {
        "job": judged.job.name,
        "label": judged.job.label,
        "kind": judged.job.kind,
        "surface": judged.surface.name,
        "says": why,
        "because": _why_due(judged, briefing),
    }


def _why_due(judged: Judged, briefing: Briefing) -> str:
    for one in briefing.consequences.due:
        if (one.job, one.surface) == (judged.job.name, judged.surface.name):
            if one.due_at is None:
                return one.because
            day = one.due_at.astimezone(briefing.plan.ground.site.zone)
            return one.because.replace("by then", f"by {day:%a %d %b}")
    return ""
