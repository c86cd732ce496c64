"""The week's work in order: what is due, each job in its hour, and what found none."""

from __future__ import annotations

from typing import Any

from planner.answers.header import head, known, local
from planner.answers.verdict import limiting
from planner.briefing import Briefing
from planner.plan import Judged
from planner.week import Placed, Week, order

#: Worth of a job that is overdue, beside 1 for one that is due within the week. Judgement.
_OVERDUE = 1.5


def week(briefing: Briefing) -> dict[str, Any]:
    """Jobs that are wanted and due within the days ahead, placed so that one keeper can do them."""
    pressing = {
        (one.job, one.surface): _OVERDUE if one.overdue_h(briefing.made_at) > 0 else 1.0
        for one in briefing.consequences.due
        if one.presses(briefing.made_at, briefing.week_days)
    }
    tasks = [j for j in briefing.plan.judged if (j.job.name, j.surface.name) in pressing]
    found = order(
        tasks,
        now=briefing.made_at,
        zone=briefing.plan.ground.site.zone,
        days=briefing.week_days,
        hours_a_day=briefing.hours_a_day,
        away=briefing.away,
        pressing=pressing,
    )
    return {
        **head(briefing),
        "days": briefing.week_days,
        "hours_a_day": briefing.hours_a_day,
        "method": found.method,
        "says": _says(found),
        "work": [_placed(placed, briefing) for placed in found.placed],
        "left": [_left(judged, why, briefing) for judged, why in found.left],
    }


def _says(found: Week) -> str:
    if not found.placed and not found.left:
        return "No work is wanted or due. Name what you want in the site file under [[wanted]]."
    placed, left = len(found.placed), len(found.left)
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
        "score": known(placed.score),
        "limiting": limiting(judged, placed.hour),
        "because": _why_due(judged, briefing),
        "cautions": list(judged.job.cautions),
    }


def _left(judged: Judged, why: str, briefing: Briefing) -> dict[str, Any]:
    return {
        "job": judged.job.name,
        "label": judged.job.label,
        "surface": judged.surface.name,
        "says": why,
        "because": _why_due(judged, briefing),
    }


def _why_due(judged: Judged, briefing: Briefing) -> str:
    for one in briefing.consequences.due:
        if (one.job, one.surface) == (judged.job.name, judged.surface.name):
            return one.because
    return ""
