"""Verdicts as rows: the limiting need of an hour in words, and runs of hours with one state and one cause."""

from __future__ import annotations

import math
from datetime import datetime

import numpy as np
from msgspec.structs import replace

from planner.diary.nitrogen import BRINGS, DEMAND, GIVEN, PLANNED, own
from planner.margin import STATES, State
from planner.planning.plan import Judged, Plan
from planner.reports.amounts import signed
from planner.reports.nitrogen import in_grams
from planner.reports.rows import Limiting, RibbonRow, RunRow
from planner.reports.sentences import sentence
from planner.rules.base import Need
from planner.rules.limit import TO_EDGE, Limit
from planner.terms import SPRAYING, short_time
from planner.weather import Array

#: What the words of a need are made of, its figure and state apart.
_Facts = tuple[str, str, str, float | None, float | None, float | None, float | None, str, str]


class Words:
    """Limiting needs in sentences. What jobs and surfaces share is put into words once."""

    def __init__(self, plan: Plan) -> None:
        self.zone = plan.conditions.site.zone
        weather = plan.conditions.sky.weather
        #: The start of each hour on the site's clock, and the end of the last.
        self.times = tuple(weather.time(hour).astimezone(self.zone) for hour in range(weather.hours + 1))
        self._made: dict[tuple[_Facts, State, float, str], Limiting] = {}

    def limiting(self, judged: Judged, hour: int) -> Limiting:
        """Need, figure and sentence of what limits the start hour."""
        suitability = judged.suitability
        row = int(suitability.limiting[hour])
        state = STATES[suitability.state[hour]]
        need = suitability.needs[row]
        value = suitability.value(row, hour)
        detail = ""
        if state == "broken":
            breaks = breaks_at(judged, row, hour)
            detail = short_time(breaks, self.zone) if breaks else ""
        elif state == "unread":
            detail = missing(judged, need, hour)
        held = nitrogen_held(judged, need, hour)
        key = (_facts(need), state, value, detail + held)
        found = self._made.get(key)
        if found is None:
            found = self._made[key] = Limiting(
                need=need.id,
                label=need.label,
                value=known(value),
                unit=need.unit,
                says=sentence(
                    state,
                    need,
                    value,
                    from_time=detail if state == "broken" else "",
                    gone=detail if state == "unread" else "",
                    held=held,
                ),
            )
        return found


#: Points of the compass, from north on.
_POINTS = ("N", "NNE", "NE", "ENE", "E", "ESE", "SE", "SSE", "S", "SSW", "SW", "WSW", "W", "WNW", "NW", "NNW")
#: Longest sentence that people are shown.
LONGEST_SAYS = 140


def with_wind(found: Limiting, judged: Judged, hour: int) -> Limiting:
    """The sentence of a spray with the wind, and the edges that it blows away from or toward, where both fit."""
    q = judged.attempt.quantities
    if judged.job.kind != SPRAYING or not judged.surface.edges:
        return found
    bearing, speed = float(q["wind_dir_deg"][0, hour]), float(q["wind_2m_kmh"][0, hour])
    if np.isnan(bearing) or np.isnan(speed):
        return found
    point = _POINTS[round(bearing / 22.5) % 16]
    toward = [edge.called for edge in judged.surface.edges if q[f"{TO_EDGE}:{edge.name}"][0, hour] > 0.5]
    blows_to = (bearing + 180.0) % 360.0
    turned = [
        (abs((blows_to - edge.bearing_deg + 180.0) % 360.0 - 180.0), edge.called)
        for edge in judged.surface.edges
    ]
    off, nearest = min(turned)
    where = f"toward {toward[0]}" if toward else f"{'away from' if off > 90.0 else 'across from'} {nearest}"
    says = f"{found.says.rstrip('.')}; air {point} {speed:.0f} km/h, {where}."
    return replace(found, says=says) if len(says) <= LONGEST_SAYS else found


def nitrogen_held(judged: Judged, need: Need, hour: int) -> str:
    """What the nitrogen of the month is held against, in grams; empty for every other need."""
    job = judged.job.name
    if not isinstance(need, Limit) or need.quantity != own(job):
        return ""
    q = judged.attempt.quantities
    parts = (float(q[own(job, part)][0, hour]) for part in (GIVEN, PLANNED, BRINGS, DEMAND))
    said = in_grams(*parts)
    return f"nitrogen {said}" if said else ""


def _facts(need: Need) -> _Facts:
    limits = (need.hard_min, need.best_from, need.best_to, need.hard_max)
    return (need.id, need.label, need.unit, *limits, need.low, need.high)


def breaks_at(judged: Judged, row: int, hour: int) -> datetime | None:
    """The hour in which an after-need fails: the first whose own figure, or running total, is beyond the limit."""
    need = judged.suitability.needs[row]
    quantity = getattr(need, "quantity", None)
    if quantity is None:
        return None
    first_h, last_h = span_h(judged, need)
    weather = judged.attempt.quantities.weather
    begin = hour + int(np.floor(first_h))
    end = min(weather.hours, hour + int(np.ceil(last_h)))
    values = judged.attempt.quantities[quantity][0, begin:end]
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
    quantities = judged.attempt.quantities
    quantity = getattr(need, "quantity", None)
    zone = quantities.site.zone
    if quantity is None:
        return f"{signed(need.label)} is not on record"
    edges = span_h(judged, need)
    if hour + edges[1] > quantities.weather.hours:
        # With its date: a forecast reaches past the next day of the same name.
        ends = short_time(quantities.weather.end, zone)
        return f"the forecast ends {ends}, before the hours that count"
    if hour + edges[0] < 0:
        return "the forecast does not reach back to the hours that count"
    return f"{signed(need.label)} is missing at that hour"


def known(value: float, digits: int = 2) -> float | None:
    """A rounded figure; None where it is unknown or not finite."""
    rounded = round(float(value), digits)
    return rounded if math.isfinite(rounded) else None


def all_known(values: Array, digits: int = 2) -> list[float | None]:
    """The figures of an array, rounded; None where one is unknown or not finite."""
    rounded = np.round(values, digits).tolist()
    return [value if math.isfinite(value) else None for value in rounded]


def ribbon_rows(plan: Plan, words: Words) -> tuple[RibbonRow, ...]:
    """For each job and surface its runs of hours, from the hour of the pass on."""
    return tuple(_ribbon(judged, words, plan.made_at) for judged in plan.judged)


def _ribbon(judged: Judged, words: Words, now: datetime) -> RibbonRow:
    job, weather = judged.job, judged.attempt.quantities.weather
    first = max(0, weather.index(now))
    return RibbonRow(
        job=job.name,
        label=job.label,
        kind=job.kind,
        surface=judged.surface.name,
        why=job.why,
        duration_min=job.duration_min,
        has_label=job.has_label,
        cautions=job.cautions_on(judged.surface),
        runs=tuple(_run(judged, words, begin, end) for begin, end in runs(judged, first)),
    )


def runs(judged: Judged, first: int) -> list[tuple[int, int]]:
    """Runs of start hours, from `first` on, that share state and limiting need: (first hour, hour after)."""
    suitability = judged.suitability
    cause = suitability.state[first:].astype(np.int64) * 1000 + suitability.limiting[first:]
    edges = np.flatnonzero(np.diff(cause)) + 1
    bounds = [0, *(int(edge) for edge in edges), int(cause.size)]
    return [(first + a, first + b) for a, b in zip(bounds, bounds[1:], strict=False) if b > a]


def _run(judged: Judged, words: Words, begin: int, end: int) -> RunRow:
    """One run, with the sentence of the hour in it that has the least margin."""
    suitability = judged.suitability
    margins = suitability.margin[int(suitability.limiting[begin]), begin:end].tolist()
    read = [(margin, hour) for hour, margin in enumerate(margins, begin) if margin == margin]
    found = words.limiting(judged, min(read)[1] if read else begin)
    return RunRow(
        start=words.times[begin],
        end=words.times[end],
        hours=end - begin,
        state=STATES[suitability.state[begin]],
        need=found.need,
        label=found.label,
        says=found.says,
    )
