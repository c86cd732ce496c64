"""Ranked windows; what is barred, why and until when; and what is left if it cannot wait."""

from __future__ import annotations

from datetime import datetime, timedelta
from typing import Any

import numpy as np

from planner.answers.header import head, known, local
from planner.answers.verdict import limiting
from planner.briefing import Briefing
from planner.plan import Judged, Ranked
from planner.rules.base import Need
from planner.rules.limit import Limit
from planner.suitability import NARROW, STATES
from planner.windows import Shut, shut
from planner.words import clause, figure, held_against, is_low

#: A job without a window within this time is listed as barred, with its reasons.
SOON = timedelta(hours=24)
_HORIZON_H = 16 * 24


def windows(briefing: Briefing) -> dict[str, Any]:
    """All windows in order of rank, then the jobs that have none soon."""
    return {
        **head(briefing),
        "windows": [_window(ranked) for ranked in briefing.plan.ranked],
        "barred": [row for judged in briefing.plan.judged if (row := _barred(judged, briefing.made_at))],
    }


def _window(ranked: Ranked) -> dict[str, Any]:
    window, judged = ranked.window, ranked.judged
    zone = judged.trial.quantities.site.zone
    first = judged.trial.quantities.weather.index(window.start)
    last = judged.trial.quantities.weather.index(window.latest_start)
    return {
        "rank": ranked.rank,
        "job": judged.job.name,
        "label": judged.job.label,
        "kind": judged.job.kind,
        "surface": window.surface,
        "start": local(window.start, zone),
        "end": local(window.end, zone),
        "state": window.state,
        "latest_start": local(window.latest_start, zone),
        "best_start": local(window.best_start, zone),
        "duration_min": judged.job.duration_min,
        "score": known(window.score),
        "chance": None if window.chance is None else known(window.chance),
        "limiting": limiting(judged, window.best_hour),
        "next_start": None if window.next_start is None else local(window.next_start, zone),
        "last_chance": ranked.is_last_chance,
        "hours": [
            {
                "start": local(judged.trial.quantities.weather.time(hour), zone),
                "state": STATES[judged.suitability.state[hour]],
                "score": known(judged.suitability.score[hour]),
            }
            for hour in range(first, last + 1)
            if judged.suitability.state[hour] <= NARROW
        ],
        "not_read": _not_read(judged, window.best_hour),
        "tasks": _tasks(judged, window.best_hour),
        "cautions": list(judged.job.cautions),
    }


def _not_read(judged: Judged, hour: int) -> list[str]:
    """Optional needs whose figure is unknown at that hour."""
    suitability = judged.suitability
    return [
        need.label
        for row, need in enumerate(suitability.needs)
        if need.optional and np.isnan(suitability.room[row, hour])
    ]


def _tasks(judged: Judged, hour: int) -> list[str]:
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
    return tasks


def _barred(judged: Judged, now: datetime) -> dict[str, Any] | None:
    """Why there is no window within the next day; None where there is one."""
    zone = judged.trial.quantities.site.zone
    upcoming = judged.windows[0].start if judged.windows else None
    if upcoming is not None and upcoming - now < SOON:
        return None
    weather = judged.trial.quantities.weather
    horizon = int((upcoming - now) / timedelta(hours=1)) if upcoming is not None else _HORIZON_H
    closed = shut(judged.suitability, weather, now=now, hours=horizon)
    row: dict[str, Any] = {
        "job": judged.job.name,
        "label": judged.job.label,
        "kind": judged.job.kind,
        "surface": judged.surface.name,
        "next_window": None if upcoming is None else local(upcoming, zone),
        "because": _because(judged, closed),
        "hours_unread": closed.hours_unread,
    }
    if upcoming is None:
        row["if_it_cannot_wait"] = _least_bad(judged, closed.least_bad)
    return row


def _because(judged: Judged, closed: Shut) -> dict[str, Any]:
    suitability = judged.suitability
    most = max(closed.lost.values(), default=0)
    if closed.unread_hour is not None and closed.hours_unread >= most:
        told = limiting(judged, closed.unread_hour)
        return {"need": told["need"], "says": told["says"], "hours_lost": closed.hours_unread, "also": []}
    if not closed.lost:
        return {
            "need": None,
            "says": "No hour of this forecast is left to judge.",
            "hours_lost": 0,
            "also": [],
        }
    lost = closed.lost
    row = max(lost, key=lambda key: lost[key])
    need = suitability.needs[row]
    value = suitability.value(row, closed.nearest[row])
    others = sorted((key for key in lost if key != row), key=lambda key: -lost[key])[:2]
    return {
        "need": need.id,
        "says": f"{_sentence_case(clause(need, value))}{_nearest(need, value)}.",
        "hours_lost": lost[row],
        "also": [
            {
                "need": judged.suitability.needs[key].id,
                "label": judged.suitability.needs[key].label,
                "hours_lost": lost[key],
            }
            for key in others
        ],
    }


def _least_bad(judged: Judged, hours: tuple[int, ...]) -> dict[str, Any]:
    if judged.job.has_label:
        return {"hours": [], "says": "None is offered: the label's limits are not ours to weigh."}
    zone = judged.trial.quantities.site.zone
    rows = []
    for hour in hours:
        failing = np.flatnonzero(judged.suitability.room[:, hour] < -1e-7)
        fails = []
        for row in failing:
            need, value = judged.suitability.needs[row], judged.suitability.value(int(row), hour)
            fails.append({"need": need.id, "says": held_against(need, value), "low": is_low(need, value)})
        start = local(judged.trial.quantities.weather.time(hour), zone)
        rows.append({"start": start, "fails": fails})
    says = "No hour meets the rules; these miss by least." if rows else "No hour comes near."
    return {"hours": rows, "says": says}


def _nearest(need: Need, value: float) -> str:
    """The figure that comes nearest to holding; nothing for a clock or a yes and no."""
    told = held_against(need, value)
    return "" if need.is_frame or told == need.label else f" ({told} at the nearest)"


def _sentence_case(text: str) -> str:
    return text[:1].upper() + text[1:]
