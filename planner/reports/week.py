"""The week's order: what is due, each job in its hour, and what found none and why."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import date, datetime, timedelta
from zoneinfo import ZoneInfo

from planner.diary.due import Due
from planner.margin import STATES
from planner.planning.apart import Away
from planner.planning.asks import APART_SHARE, Ask
from planner.planning.plan import Judged
from planner.planning.week import Left, Placed, WeekOrder, order
from planner.reports.assessment import Assessment
from planner.reports.rows import ElsewhereRow, LeftRow, WeekRow, WorkRow
from planner.reports.sentences import clause, job_on
from planner.reports.verdicts import Words, known
from planner.site import WorkDone
from planner.terms import PLAY, PLAY_NEARBY, SPRAYING, first_up, short_date

#: Worth of a job that is overdue, beside 1 for one that is due within the week. Judgement.
_OVERDUE = 1.5
#: Worth of the last cut and roll on the morning of a play day. Judgement.
_PLAY_MORNING = 4.0
#: Worth of work that is wanted once, and the days between turns that are worth 1. Judgement.
_ONCE, _USUAL_D = 3.0, 4.0
#: Hours of work in a day where the site file tells neither them nor the keeper's hours. Judgement.
_HOURS_A_DAY = 8.0
_ALL_DAY_H = 24.0


def week_row(assessment: Assessment, week: WeekOrder, words: Words) -> WeekRow:
    """Jobs that are wanted and due within the days ahead, placed so that one keeper can do them."""
    planned = _planned(assessment)
    uncounted = _uncounted(assessment)
    return WeekRow(
        days=assessment.week_days,
        hours_a_day=_hours_a_day(assessment) if _hours_a_day(assessment) < _ALL_DAY_H else None,
        method=week.method,
        says=_says(week, len(planned), len(uncounted)),
        work=tuple(_placed(placed, assessment, words) for placed in week.placed),
        left=(*_left_rows(week, assessment, words), *uncounted),
        planned=tuple(_planned_row(work, span, assessment) for work, span in planned),
        done=_done_rows(assessment),
        elsewhere=_elsewhere_rows(assessment),
    )


def week_of(assessment: Assessment) -> WeekOrder:
    """The order of the week: what is due, as often as it falls due, beside the work that is planned already."""
    planned = _planned(assessment)
    return order(
        _asks(assessment, {(work.job, work.surface) for work, _ in planned}),
        now=assessment.made_at,
        zone=assessment.plan.conditions.site.zone,
        days=assessment.week_days,
        hours_a_day=_hours_a_day(assessment),
        away=assessment.away,
        planned=[span for work, span in planned if work.kind != PLAY],
        mixes=assessment.mixes,
        shared=assessment.shared,
    )


def _elsewhere_rows(assessment: Assessment) -> tuple[ElsewhereRow, ...]:
    """Where the shared sprayer or keeper is within the days ahead, when not here."""
    if assessment.shared is None:
        return ()
    zone, now = assessment.plan.conditions.site.zone, assessment.made_at
    found = assessment.shared.absent(now, now + timedelta(days=assessment.week_days))
    times = [(site, start.astimezone(zone), end.astimezone(zone)) for site, start, end in found]
    what = {"what": assessment.shared.name, "kind": "" if assessment.shared.is_keeper else SPRAYING}
    return tuple(ElsewhereRow(**what, site=site, start=start, end=end) for site, start, end in times)


def _hours_a_day(assessment: Assessment) -> float:
    """Hours of work that a day holds: the keeper's own hours where they are told, and no more than is said."""
    if assessment.hours_a_day is not None:
        return assessment.hours_a_day
    return _ALL_DAY_H if assessment.has_hours else _HOURS_A_DAY


def _asks(assessment: Assessment, fixed: set[tuple[str, str]]) -> list[Ask]:
    """What the week is asked to hold."""
    judged = {(j.job.name, j.surface.name): j for j in assessment.plan.judged}
    asks: list[Ask] = []
    for one in assessment.consequences.due:
        task = judged.get((one.job, one.surface))
        if task is None or (one.job, one.surface) in fixed:
            continue
        asks += _turns(one, task, assessment)
    return asks


def _turns(one: Due, task: Judged, assessment: Assessment) -> list[Ask]:
    now = assessment.made_at
    until = now + timedelta(days=assessment.week_days)
    first = one.due_at if one.due_at is not None else now
    turns = [first, *(again for again in one.then if again < until)]
    # What is wanted by a time soon after the week may have its best hour in it.
    ahead = 2 * assessment.week_days if one.is_by else assessment.week_days
    if not one.presses(now, ahead):
        turns = []
    play = _play_of(task, assessment)
    mornings = [day for day in play if task.job.on_play_morning and day < until]
    asks = []
    for number, due in enumerate(turns):
        # The turn that falls near a play day is the one that is wanted that morning.
        apart = timedelta(days=max(APART_SHARE * (one.every_d or 1.0), 1.0))
        if any(abs(morning - max(due, now)) < apart for morning in mornings):
            continue
        asks.append(
            Ask(
                judged=task,
                due=None if one.waits and one.every_d is None else due,
                every_d=one.every_d,
                is_last=number == len(turns) - 1,
                is_by=one.is_by,
                not_before=one.not_before,
                play=next((day for day in play if day > now), None),
                worth=_worth(one) * (_OVERDUE if number == 0 and one.overdue_h(now) >= 24.0 else 1.0),
            )
        )
    asks += [
        Ask(judged=task, ends_by=morning, every_d=one.every_d, play=morning, worth=_PLAY_MORNING)
        for morning in mornings
    ]
    return asks


def _worth(one: Due) -> float:
    """Rare work is worth several turns of what comes round again in days: seed is not given up for two cuts."""
    return _ONCE if one.every_d is None else min(_ONCE, max(1.0, one.every_d / _USUAL_D))


def _play_of(task: Judged, assessment: Assessment) -> list[datetime]:
    """The play days ahead on the surface of a job, in order."""
    return sorted(
        work.at for work in task.attempt.planned if work.kind == PLAY and work.at > assessment.made_at
    )


def _planned(assessment: Assessment) -> list[tuple[WorkDone, Away]]:
    """Work that is fixed within the days ahead, with the time it takes, in order of time."""
    until = assessment.made_at + timedelta(days=assessment.week_days)
    lasts = {judged.job.name: judged.job.duration_h for judged in assessment.plan.judged}
    works = {
        work
        for judged in assessment.plan.judged
        for work in judged.attempt.planned
        if work.kind != PLAY_NEARBY
    }
    found = [(work, _span(work, lasts.get(work.job, 1.0))) for work in works if work.at < until]
    ahead = [(work, span) for work, span in found if span.end > assessment.made_at]
    return sorted(ahead, key=lambda pair: (pair[0].at, pair[0].job, pair[0].surface))


def _span(work: WorkDone, hours: float) -> Away:
    """A planned moment is when the work begins."""
    return Away(start=work.at, end=work.at + timedelta(hours=hours))


def _label(work: WorkDone, assessment: Assessment) -> str:
    if work.kind == PLAY:
        return "play day"
    return _label_of(work.job, assessment)


def _label_of(job: str, assessment: Assessment) -> str:
    found = (j.job.label for j in assessment.plan.judged if j.job.name == job)
    return next(found, job.replace("_", " "))


def _says(found: WeekOrder, planned: int, uncounted: int) -> str:
    placed, left = len(found.placed), len(found.left) + uncounted
    if not placed and not left and not planned:
        return "No work is wanted or due. Name what you want in the site file under [[wanted]]."
    if not placed and not left:
        return "Nothing is due beside the work that is planned."
    return (
        f"{placed} of {placed + left} turns of work have their hour."
        if left
        else f"All {placed} have their hour."
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
        because=_why(placed.ask, assessment, placed.start),
        cautions=judged.job.cautions_on(judged.surface),
        together=tuple(_label_of(job, assessment) for job in placed.together),
        tank=_tank(placed, assessment),
    )


def _tank(placed: Placed, assessment: Assessment) -> str:
    """How work that shares its tank is mixed."""
    if not placed.together:
        return ""
    names = _and([_label_of(job, assessment) for job in placed.together])
    return f"One tank with {names}: try it in a jar first; `haysel mix` gives the order. The labels decide."


def _left_rows(week: WeekOrder, assessment: Assessment, words: Words) -> list[LeftRow]:
    """Each job that misses turns, once, with the reason of the first of them and when it is done instead."""
    rows: dict[tuple[str, str], tuple[LeftRow, int]] = {}
    for one in week.left:
        judged = one.ask.judged
        key = (judged.job.name, judged.surface.name)
        later = _next_turn(one, week, assessment.plan.conditions.site.zone)
        row, count = rows.get(key, (_left(one, assessment, words, later), 0))
        rows[key] = (row, count + 1)
    return [
        row
        if count == 1
        else LeftRow(
            job=row.job,
            label=row.label,
            kind=row.kind,
            surface=row.surface,
            says=f"{row.says} {count} turns of it.",
            because=row.because,
        )
        for row, count in rows.values()
    ]


def _next_turn(one: Left, week: WeekOrder, zone: ZoneInfo) -> str:
    """When the work is done after all, and by how much that is late; nothing where no later turn has its hour."""
    judged, due = one.ask.judged, one.ask.due
    if due is None:
        return ""
    later = [
        each.start
        for each in week.placed
        if (each.judged.job.name, each.judged.surface.name) == (judged.job.name, judged.surface.name)
        and each.start > due
    ]
    return f" Next {_day(min(later), zone)}{_late(due, min(later), zone)}." if later else ""


def _left(one: Left, assessment: Assessment, words: Words, later: str) -> LeftRow:
    judged = one.ask.judged
    return LeftRow(
        job=judged.job.name,
        label=judged.job.label,
        kind=judged.job.kind,
        surface=judged.surface.name,
        says=f"{_why_left(one, assessment, words)}{later}",
        because=_why(one.ask, assessment, None),
    )


def _why_left(one: Left, assessment: Assessment, words: Words) -> str:
    """Whose hours, or which limit, took the hours of a job."""
    who = assessment.shared.called if assessment.shared is not None else ""
    if one.beside is not None:
        found = words.limiting(one.beside.judged, one.beside.hour)
        return f"Beside the rest of the week: {found.says}"
    if one.taken_by:
        names = sorted({job_on(each.job.label, each.surface.name) for each in one.taken_by})
        closes = f" Other hours: {_closes(one)}." if one.lost else ""
        too = f", {who} to {_and(one.wanted_at[:3])}" if one.wanted_at else ""
        return f"Its hours go to {_and(names[:3])}{too}.{closes}"
    if one.wanted_at:
        return f"{first_up(who)} is wanted at {_and(one.wanted_at[:3])} in the hours that hold."
    if one.is_away:
        return "You are away, or at work that is planned, in the hours that hold."
    if one.is_unread:
        return "Not known: its hours cannot be read."
    judged = one.ask.judged
    if not one.lost:
        return "No hours of work are left on its days." if one.hours else "The forecast ends before its day."
    needs = judged.suitability.needs
    row, count, _ = one.lost[0]
    says = _closes(one)
    of = f" in {count} of {one.hours} h" if one.hours and not needs[row].is_calendar else ""
    remedy = needs[row].remedy
    also = [needs[r].label for r, _, _ in one.lost[1:2] if not needs[r].is_calendar]
    text = f"{first_up(says)}{of}"
    if also and len(text) + len(also[0]) < 100:
        text += f"; also {also[0]}"
    return f"{text}. {first_up(remedy)}." if remedy else f"{text}."


def _closes(one: Left) -> str:
    """What closes most hours of an ask, in trade words."""
    found = one.ask.judged.suitability
    row, _, hour = one.lost[0]
    return clause(found.needs[row], found.value(row, hour))


def _and(names: Sequence[str]) -> str:
    return names[0] if len(names) == 1 else f"{', '.join(names[:-1])} and {names[-1]}"


def _why(ask: Ask, assessment: Assessment, at: datetime | None) -> str:
    """Why it is wanted, when it is due, and by how much it is late there."""
    zone, job = assessment.plan.conditions.site.zone, (ask.judged.job.name, ask.judged.surface.name)
    if ask.ends_by is not None:
        return "on the morning of the play day"
    for one in assessment.consequences.due:
        if (one.job, one.surface) != job:
            continue
        if one.due_at is None and ask.due is None:
            return one.because
        due = ask.due or one.due_at
        assert due is not None
        if one.is_by:
            return f"wanted by {_day(due, zone)}{_late(due, at, zone)}"
        if one.due_at is None:
            return one.because
        return f"{one.because}, due {_day(due, zone)}{_late(due, at, zone)}"
    return ""


def _day(moment: datetime, zone: ZoneInfo) -> str:
    return short_date(moment.astimezone(zone))


def _late(due: datetime, at: datetime | None, zone: ZoneInfo) -> str:
    if at is None:
        return ""
    days = (_date(at, zone) - _date(due, zone)).days
    return "" if days <= 0 else ", a day late" if days == 1 else f", {days} days late"


def _date(moment: datetime, zone: ZoneInfo) -> date:
    return moment.astimezone(zone).date()


def _uncounted(assessment: Assessment) -> tuple[LeftRow, ...]:
    """Wanted work whose due time cannot be counted: it is said in the week, too."""
    wanted = {(one.job, one.surface) for one in assessment.wanted}
    return tuple(
        LeftRow(
            job=one.job,
            label=one.label,
            kind=assessment.kind_of(one.job),
            surface=one.surface,
            says="It cannot be counted when this is due: days since the last time are not known.",
            because=one.because,
        )
        for one in assessment.consequences.due
        # A sum that is known, and simply not reached within the forecast, is no fault.
        if one.due_at is None and one.is_uncounted and (one.job, one.surface) in wanted
    )


def _done_rows(assessment: Assessment) -> tuple[LeftRow, ...]:
    """Work that was wanted once and counts as done: when, and what was wanted."""
    zone = assessment.plan.conditions.site.zone
    due = {(one.job, one.surface) for one in assessment.consequences.due}
    rows = []
    for want in assessment.wanted:
        if want.by is None or (want.job, want.surface) in due or want.by < assessment.made_at:
            continue
        done = [
            work.at
            for judged in assessment.plan.judged
            if (judged.job.name, judged.surface.name) == (want.job, want.surface)
            for work in judged.attempt.done
            if work.job == want.job
        ]
        if done:
            rows.append(
                LeftRow(
                    job=want.job,
                    label=want.label,
                    kind=assessment.kind_of(want.job),
                    surface=want.surface,
                    says=f"Done on {_day(max(done), zone)}; nothing is left to do.",
                    because=f"wanted by {_day(want.by, zone)}",
                )
            )
    return tuple(rows)
