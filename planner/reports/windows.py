"""Ranked windows; what is barred, why and until when; and what is left if it cannot wait."""

from __future__ import annotations

from dataclasses import replace
from datetime import datetime, timedelta

import numpy as np

from planner.margin import EPS, NARROW, STATES
from planner.planning.plan import Judged, Plan, Ranked
from planner.planning.suitability import judge
from planner.planning.windows import Closed, closed_by
from planner.reports.amounts import signed
from planner.reports.rows import (
    BarredRow,
    Because,
    Failing,
    HoursLost,
    LeastBad,
    LeastBadHour,
    StartHour,
    WindowRow,
)
from planner.reports.sentences import clause, figure, held_against, is_low
from planner.reports.verdicts import Words, all_known, known, missing, with_wind
from planner.rules.base import Need
from planner.rules.limit import Limit
from planner.terms import SPRAYING, first_up

#: A job without a window within this time is listed as barred, with its reasons.
SOON = timedelta(hours=24)
_HORIZON_H = 16 * 24


def window_rows(plan: Plan, words: Words) -> tuple[WindowRow, ...]:
    """All windows in order of rank."""
    return tuple(_window(ranked, words) for ranked in plan.ranked)


def _window(ranked: Ranked, words: Words) -> WindowRow:
    window, judged = ranked.window, ranked.judged
    job, weather, zone = judged.job, judged.attempt.quantities.weather, judged.attempt.quantities.site.zone
    first, last = weather.index(window.start), weather.index(window.latest_start) + 1
    if window.offset_h > 0.0:
        # No full hour of it holds: what is said of it is that of its very start.
        attempt = replace(judged.attempt, offset_h=window.offset_h)
        judged = replace(judged, attempt=attempt, suitability=judge(judged.job, judged.surface, attempt))
    states = judged.suitability.state[first:last].tolist()
    scores = all_known(judged.suitability.score[first:last])
    return WindowRow(
        rank=ranked.rank,
        job=job.name,
        label=job.label,
        kind=job.kind,
        surface=window.surface,
        start=window.start.astimezone(zone),
        end=window.end.astimezone(zone),
        state=window.state,
        latest_start=window.latest_start.astimezone(zone),
        best_start=window.best_start.astimezone(zone),
        steady_from=None if window.steady_from is None else window.steady_from.astimezone(zone),
        steady_until=None if window.steady_until is None else window.steady_until.astimezone(zone),
        duration_min=job.duration_min,
        score=known(window.score),
        chance=None,
        chance_basis=None,
        share=None if window.chance is None else known(window.chance),
        limiting=with_wind(words.limiting(judged, window.best_hour), judged, window.best_hour),
        next_start=None if window.next_start is None else window.next_start.astimezone(zone),
        last_chance=ranked.is_last_chance,
        hours=tuple(
            StartHour(
                start=window.start.astimezone(zone) if window.offset_h > 0.0 else words.times[hour],
                state=STATES[state],
                score=score,
            )
            for hour, state, score in zip(range(first, last), states, scores, strict=True)
            if state <= NARROW
        ),
        not_read=_not_read(judged, window.best_hour),
        tasks=_tasks(judged, window.best_hour),
        cautions=job.cautions_on(judged.surface),
    )


def _not_read(judged: Judged, hour: int) -> tuple[str, ...]:
    """Optional needs whose figure is unknown at that hour."""
    suitability = judged.suitability
    return tuple(
        signed(need.label)
        for row, need in enumerate(suitability.needs)
        if need.optional and np.isnan(suitability.margin[row, hour])
    )


def _tasks(judged: Judged, hour: int) -> tuple[str, ...]:
    """What the keeper must do for the window to hold: water that rain will not give."""
    suitability, tasks = judged.suitability, []
    for row, need in enumerate(suitability.needs):
        if not isinstance(need, Limit) or not need.hose_mm:
            continue
        reading = suitability.readings[row]
        rain, whole = float(reading.high[0, hour]), float(reading.low[0, hour])
        if whole > rain + 0.05:
            words = need.task or "Water by hose"
            tasks.append(
                f"{words}: {figure(whole - rain, 'mm')}, as rain gives {figure(rain, 'mm')} ({need.label})."
            )
    return tuple(tasks)


def barred_rows(plan: Plan, words: Words) -> tuple[BarredRow, ...]:
    """Jobs that have no window within the next day: why, and until when."""
    return tuple(row for judged in plan.judged if (row := _barred(judged, words, plan.made_at)) is not None)


def _barred(judged: Judged, words: Words, now: datetime) -> BarredRow | None:
    quantities = judged.attempt.quantities
    upcoming = judged.windows[0].start if judged.windows else None
    if upcoming is not None and upcoming - now < SOON:
        return None
    horizon = int((upcoming - now) / timedelta(hours=1)) if upcoming is not None else _HORIZON_H
    closed = closed_by(judged.suitability, quantities.weather, now=now, hours=horizon)
    return BarredRow(
        job=judged.job.name,
        label=judged.job.label,
        kind=judged.job.kind,
        surface=judged.surface.name,
        next_window=None if upcoming is None else upcoming.astimezone(quantities.site.zone),
        because=_because(judged, words, closed),
        hours_unread=closed.hours_unread,
        if_it_cannot_wait=_least_bad(judged, closed) if upcoming is None else None,
    )


def _because(judged: Judged, words: Words, closed: Closed) -> Because:
    suitability = judged.suitability
    # That a forecast ends is told only where nothing known closes an hour; what it lacks within, where it hides most.
    most = max(closed.lost.values(), default=0)
    hides_most = not closed.is_past_end and closed.hours_unread >= most
    if closed.unread_hour is not None and (hides_most or not closed.lost):
        found = words.limiting(judged, closed.unread_hour)
        return Because(need=found.need, says=found.says, hours_lost=closed.hours_unread)
    if not closed.lost:
        return Because(need=None, says="No hour of this forecast is left to judge.", hours_lost=0)
    lost = closed.lost
    row = max(lost, key=lambda key: lost[key])
    need = suitability.needs[row]
    value = suitability.value(row, closed.nearest[row])
    next_most = sorted((key for key in lost if key != row), key=lambda key: -lost[key])[:2]
    return Because(
        need=need.id,
        says=f"{first_up(clause(need, value))}{_nearest(need, value)}.{_past_end(judged, closed)}",
        hours_lost=lost[row],
        also=tuple(
            HoursLost(
                need=suitability.needs[key].id, label=suitability.needs[key].label, hours_lost=lost[key]
            )
            for key in next_most
        ),
    )


def _past_end(judged: Judged, closed: Closed) -> str:
    """That the other hours cannot be judged, where the forecast ends before what they need."""
    if not closed.is_past_end or closed.unread_hour is None:
        return ""
    need = judged.suitability.needs[int(judged.suitability.limiting[closed.unread_hour])]
    return f" Other hours are not known: {missing(judged, need, closed.unread_hour)}."


def _least_bad(judged: Judged, closed: Closed) -> LeastBad:
    suitability, quantities = judged.suitability, judged.attempt.quantities
    needs = suitability.needs
    change = needs[max(closed.lost, key=lambda row: closed.lost[row])].remedy if closed.lost else ""
    change = f" {first_up(change)}." if change else ""
    if judged.job.has_label or judged.job.kind == SPRAYING:
        return LeastBad(
            says=f"No other hour is offered for a spray: its limits are not ours to weigh.{change}"
        )
    if closed.harmful and not closed.least_bad:
        return LeastBad(says=f"No other hour is offered: it would do harm.{change}")
    rows = []
    for hour in closed.least_bad:
        fails = []
        for row in np.flatnonzero(suitability.margin[:, hour] < -EPS):
            need, value = suitability.needs[row], suitability.value(int(row), hour)
            fails.append(Failing(need=need.id, says=held_against(need, value), low=is_low(need, value)))
        start = quantities.weather.time(hour).astimezone(quantities.site.zone)
        rows.append(LeastBadHour(start=start, fails=tuple(fails)))
    return LeastBad(
        says=("No hour meets the rules; these come nearest." if rows else "No hour comes near.") + change,
        hours=tuple(rows),
    )


def _nearest(need: Need, value: float) -> str:
    """The figure that comes nearest to holding; nothing for a clock or a yes and no."""
    figure_and_limit = held_against(need, value)
    if need.is_calendar or figure_and_limit == need.label:
        return ""
    return f" (nearest: {figure_and_limit})"
