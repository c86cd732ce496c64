"""The week's order: what is due, each job in its hour, and what found none."""

from __future__ import annotations

from datetime import timedelta

from planner.margin import STATES
from planner.planning.plan import Judged
from planner.planning.week import Away, Placed, WeekOrder, order
from planner.reports.assessment import Assessment
from planner.reports.rows import LeftRow, WeekRow, WorkRow
from planner.reports.verdicts import Words, known
from planner.site import WorkDone

#: Worth of a job that is overdue, beside 1 for one that is due within the week. Judgement.
_OVERDUE = 1.5


def week_row(assessment: Assessment, week: WeekOrder, words: Words) -> WeekRow:
    """Jobs that are wanted and due within the days ahead, placed so that one keeper can do them."""
    planned = _planned(assessment)
    return WeekRow(
        days=assessment.week_days,
        hours_a_day=assessment.hours_a_day,
        method=week.method,
        says=_says(week, len(planned)),
        work=tuple(_placed(placed, assessment, words) for placed in week.placed),
        left=tuple(_left(judged, why, assessment) for judged, why in week.left),
        planned=tuple(_planned_row(work, span, assessment) for work, span in planned),
    )


def week_of(assessment: Assessment) -> WeekOrder:
    """The order of the week: what is due, beside the work that is planned already."""
    planned = _planned(assessment)
    fixed = {(work.job, work.surface) for work, _ in planned}
    pressing = {
        (one.job, one.surface): _OVERDUE if one.overdue_h(assessment.made_at) > 0 else 1.0
        for one in assessment.consequences.due
        if one.presses(assessment.made_at, assessment.week_days) and (one.job, one.surface) not in fixed
    }
    return order(
        [j for j in assessment.plan.judged if (j.job.name, j.surface.name) in pressing],
        now=assessment.made_at,
        zone=assessment.plan.conditions.site.zone,
        days=assessment.week_days,
        hours_a_day=assessment.hours_a_day,
        away=assessment.away,
        planned=[span for _, span in planned],
        pressing=pressing,
    )


def _planned(assessment: Assessment) -> list[tuple[WorkDone, Away]]:
    """Work that is fixed within the days ahead, with the time it takes, in order of time."""
    until = assessment.made_at + timedelta(days=assessment.week_days)
    lasts = {judged.job.name: judged.job.duration_h for judged in assessment.plan.judged}
    works = {work for judged in assessment.plan.judged for work in judged.attempt.planned}
    found = [(work, _span(work, lasts.get(work.job, 1.0))) for work in works if work.at < until]
    ahead = [(work, span) for work, span in found if span.end > assessment.made_at]
    return sorted(ahead, key=lambda pair: (pair[0].at, pair[0].job, pair[0].surface))


def _span(work: WorkDone, hours: float) -> Away:
    """A planned moment is when the work begins."""
    return Away(start=work.at, end=work.at + timedelta(hours=hours))


def _label(work: WorkDone, assessment: Assessment) -> str:
    found = (j.job.label for j in assessment.plan.judged if j.job.name == work.job)
    return next(found, work.job.replace("_", " "))


def _says(found: WeekOrder, planned: int) -> str:
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


def _planned_row(work: WorkDone, span: Away, assessment: Assessment) -> WorkRow:
    zone = assessment.plan.conditions.site.zone
    return WorkRow(
        job=work.job,
        label=_label(work, assessment),
        kind=work.kind,
        surface=work.surface,
        start=span.start.astimezone(zone),
        end=span.end.astimezone(zone),
    )


def _placed(placed: Placed, assessment: Assessment, words: Words) -> WorkRow:
    zone, judged = assessment.plan.conditions.site.zone, placed.judged
    return WorkRow(
        job=judged.job.name,
        label=judged.job.label,
        kind=judged.job.kind,
        surface=judged.surface.name,
        start=placed.start.astimezone(zone),
        end=placed.end.astimezone(zone),
        state=STATES[judged.suitability.state[placed.hour]],
        score=known(placed.score),
        limiting=words.limiting(judged, placed.hour),
        because=_why_due(judged, assessment),
        cautions=judged.job.cautions,
    )


def _left(judged: Judged, why: str, assessment: Assessment) -> LeftRow:
    return LeftRow(
        job=judged.job.name,
        label=judged.job.label,
        kind=judged.job.kind,
        surface=judged.surface.name,
        says=why,
        because=_why_due(judged, assessment),
    )


def _why_due(judged: Judged, assessment: Assessment) -> str:
    for one in assessment.consequences.due:
        if (one.job, one.surface) == (judged.job.name, judged.surface.name):
            if one.due_at is None:
                return one.because
            day = one.due_at.astimezone(assessment.plan.conditions.site.zone)
            return one.because.replace("by then", f"by {day:%a %d %b}")
    return ""
