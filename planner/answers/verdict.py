"""The limiting need of one start hour, in words and figures."""

from __future__ import annotations

from datetime import datetime
from typing import Any

import numpy as np

from planner.answers.header import known
from planner.plan import Judged
from planner.rules.base import Need
from planner.rules.limit import Limit
from planner.suitability import STATES
from planner.words import sentence


def about(judged: Judged) -> dict[str, Any]:
    """What an answer tells of a job and its surface before it comes to the hours."""
    job = judged.job
    return {
        "job": job.name,
        "label": job.label,
        "kind": job.kind,
        "surface": judged.surface.name,
        "why": job.why,
        "duration_min": job.duration_min,
        "has_label": job.has_label,
        "cautions": list(job.cautions),
    }


def limiting(judged: Judged, hour: int) -> dict[str, Any]:
    """Need, figure and sentence of what limits the start hour."""
    suitability = judged.suitability
    row = int(suitability.limiting[hour])
    state = STATES[suitability.state[hour]]
    need = suitability.needs[row]
    value = suitability.value(row, hour)
    breaks = breaks_at(judged, row, hour) if state == "broken" else None
    zone = judged.trial.quantities.site.zone
    return {
        "need": need.id,
        "label": need.label,
        "value": known(value),
        "unit": need.unit,
        "says": sentence(
            state,
            need,
            value,
            from_time=f"{breaks.astimezone(zone):%a %H:%M}" if breaks else "",
            gone=missing(judged, need, hour) if state == "unread" else "",
        ),
    }


def breaks_at(judged: Judged, row: int, hour: int) -> datetime | None:
    """The hour in which an after-need fails: the first whose own figure, or running total, is beyond the limit."""
    need = judged.suitability.needs[row]
    quantity = getattr(need, "quantity", None)
    if quantity is None:
        return None
    first_h, last_h = span_h(judged, need)
    weather = judged.trial.quantities.weather
    begin = hour + int(np.floor(first_h))
    end = min(weather.hours, hour + int(np.ceil(last_h)))
    values = judged.trial.quantities[quantity][0, begin:end]
    if getattr(need, "sum_up", "") == "total":
        values = np.cumsum(values)
    with np.errstate(invalid="ignore"):
        beyond = np.zeros(values.shape, dtype=bool)
        if need.hard_max is not None:
            beyond |= values > need.hard_max
        if need.hard_min is not None and getattr(need, "sum_up", "") != "total":
            beyond |= values < need.hard_min
    found = np.flatnonzero(beyond)
    return weather.time(begin + int(found[0])) if found.size else None


def span_h(judged: Judged, need: Need) -> tuple[float, float]:
    """The hours a need looks at, from the start; the start hour for one that looks at no span."""
    return need.span_h(judged.job.duration_h) if isinstance(need, Limit) else (0.0, 1.0)


def missing(judged: Judged, need: Need, hour: int) -> str:
    """What is not there for an unread hour."""
    quantities = judged.trial.quantities
    quantity = getattr(need, "quantity", None)
    zone = quantities.site.zone
    if quantity is None:
        return f"no {need.label} on record"
    edges = span_h(judged, need)
    if hour + edges[1] > quantities.weather.hours:
        return f"the forecast ends {quantities.weather.end.astimezone(zone):%a %H:%M}, before the hours that count"
    if hour + edges[0] < 0:
        return "the forecast does not reach back to the hours that count"
    return f"no {need.label} at this time"
