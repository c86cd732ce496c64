"""The same rules told a second time, as a plain loop over hours: slow, written from the words of the file.

It shares no arithmetic with the engine: spans are walked hour by hour, rooms are told by cases.
"""

from __future__ import annotations

import math
from datetime import UTC, datetime, timedelta
from typing import Any

from planner.rules.base import Attempt, Need
from planner.rules.job import Job
from planner.site import Surface
from planner.terms import WEEKDAYS


def state_at(job: Job, surface: Surface, attempt: Attempt, hour: int, member: int = 0) -> str:
    """The state of one start hour of one member."""
    barred = broken = tight = unread = False
    for need in job.needs_on(surface):
        fails, narrow, unknown = _need_at(need, job, attempt, hour, member)
        unread |= unknown and not need.optional
        if fails:
            if need.is_after:
                broken = True
            else:
                barred = True
        tight |= narrow
    if unread:
        return "unread"
    if barred:
        return "barred"
    if broken:
        return "broken"
    return "narrow" if tight else "steady"


def _need_at(need: Any, job: Job, attempt: Attempt, hour: int, member: int) -> tuple[bool, bool, bool]:
    """(fails, is narrow, is unknown)."""
    if need.kind == "limit":
        figures = _limit_figures(need, job, attempt, hour, member)
    elif need.kind == "gap":
        figures = [_gap_figure(need, job, attempt, hour)]
    elif need.kind == "count":
        start = attempt.quantities.weather.time(hour)
        figures = [
            float(
                sum(
                    1
                    for work in (*attempt.done, *attempt.planned)
                    if (work.job in need.other or work.kind in need.other)
                    and timedelta(0) <= start - work.at < timedelta(days=need.days)
                )
            )
        ]
    elif need.kind == "slope":
        wet = float(
            attempt.quantities["leaf_wet"][min(member, len(attempt.quantities["leaf_wet"]) - 1)][hour]
        )
        steep = math.degrees(math.atan(attempt.quantities.surface_here.slope_pct / 100.0))
        figures = [math.nan if math.isnan(wet) else steep if wet >= 0.5 else 0.0]
    elif need.kind == "clock":
        return not _inside_hours(need, job, attempt, hour), False, False
    else:
        raise AssertionError(need.kind)
    if any(figure is None or math.isnan(figure) for figure in figures):
        return False, False, True
    fails = any(_is_beyond(need, figure) for figure in figures if figure is not None)
    narrow = any(_is_outside_comfort(need, figure) for figure in figures if figure is not None)
    return fails, narrow, False


def _is_beyond(need: Need, figure: float) -> bool:
    return (need.hard_min is not None and figure < need.hard_min - 1e-7) or (
        need.hard_max is not None and figure > need.hard_max + 1e-7
    )


def _is_outside_comfort(need: Need, figure: float) -> bool:
    floor = need.best_from if need.best_from is not None else need.hard_min
    roof = need.best_to if need.best_to is not None else need.hard_max
    return (floor is not None and figure < floor - 1e-6) or (roof is not None and figure > roof + 1e-6)


def _limit_figures(need: Any, job: Job, attempt: Attempt, hour: int, member: int) -> list[float | None]:
    column = attempt.quantities[need.quantity]
    row = column[min(member, column.shape[0] - 1)]
    values = []
    inside = _hours_of(need, job, hour)
    if need.sum_up == "mean_ahead":
        reached = [index for index in inside if index < len(row)]
        inside = reached if len(reached) >= min(24, len(inside)) else inside
    for index in inside:
        if not 0 <= index < len(row):
            return [None]
        values.append(float(row[index]))
    if any(math.isnan(value) for value in values):
        return [None]
    if need.sum_up == "total":
        total = sum(values)
        wanted = need.best_from if need.best_from is not None else need.hard_min
        if need.hose_mm and total < wanted:
            # The hose gives what comfort asks and rain lacks, as far as it reaches.
            total = min(wanted, total + need.hose_mm)
        return [total]
    if need.sum_up in ("mean", "mean_ahead"):
        return [sum(values) / len(values)]
    if need.sum_up == "lowest":
        return [min(values)]
    if need.sum_up == "highest":
        return [max(values)]
    return list(values)


def _hours_of(need: Any, job: Job, hour: int) -> list[int]:
    """Every whole hour that the span touches, walked in minutes."""
    first, last = need.hours
    minutes = round(job.duration_h * 60)
    if need.when == "start":
        return [hour]
    if need.when == "before":
        begin, end = -first * 60, -last * 60
    elif need.when == "after":
        begin, end = minutes + first * 60, minutes + last * 60
    else:
        begin, end = -first * 60, minutes + last * 60
    return sorted({hour + minute // 60 for minute in range(round(begin), round(end))})


def _gap_figure(need: Any, job: Job, attempt: Attempt, hour: int) -> float | None:
    start = attempt.quantities.weather.time(hour)
    work = [w.at for w in (*attempt.done, *attempt.planned) if w.job in need.other or w.kind in need.other]
    if need.direction == "since":
        before = [(start - at) / timedelta(hours=1) for at in work if at <= start]
        hours = min(before) if before else math.inf
    else:
        finish = start + timedelta(hours=job.duration_h)
        ahead = [(at - finish) / timedelta(hours=1) for at in work if at >= finish]
        hours = min(ahead) if ahead else math.inf
        if any(start < at < finish for at in work):
            hours = 0.0
    if math.isinf(hours) and (need.hard_max is not None or need.best_to is not None):
        return None
    return hours / (24.0 if need.unit == "d" else 1.0)


def _inside_hours(need: Any, job: Job, attempt: Attempt, hour: int) -> bool:
    zone = attempt.quantities.site.zone
    start = attempt.quantities.weather.time(hour)
    minute = start
    finish = start + timedelta(hours=job.duration_h)
    while minute < finish:
        if not _is_open(need, minute.astimezone(zone)):
            return False
        minute = (minute + timedelta(minutes=15)).astimezone(UTC)
    return True


def _is_open(need: Any, local: datetime) -> bool:
    spans = need.days.get(WEEKDAYS[local.weekday()], ((need.opens, need.closes),))
    clock = local.strftime("%H:%M")
    return any(opens <= clock < closes for opens, closes in spans if "never" not in (opens, closes))
