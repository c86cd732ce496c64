"""The hours of every job and surface as runs of one state with one cause: what a ribbon is drawn from."""

from __future__ import annotations

from typing import Any

import numpy as np

from planner.answers.header import head, local
from planner.answers.verdict import about, limiting
from planner.briefing import Briefing
from planner.plan import Judged
from planner.suitability import STATES


def ribbons(briefing: Briefing) -> dict[str, Any]:
    """For each job and surface its runs of hours, from the hour of the pass on."""
    return {
        **head(briefing),
        "ribbons": [_ribbon(judged, briefing) for judged in briefing.plan.judged],
    }


def _ribbon(judged: Judged, briefing: Briefing) -> dict[str, Any]:
    weather = judged.trial.quantities.weather
    first = max(0, weather.index(briefing.made_at))
    return {
        **about(judged),
        "runs": [_run(judged, begin, end) for begin, end in runs(judged, first)],
    }


def runs(judged: Judged, first: int) -> list[tuple[int, int]]:
    """Runs of start hours, from `first` on, that share state and limiting need: (first hour, hour after)."""
    suitability = judged.suitability
    cause = suitability.state[first:].astype(np.int64) * 1000 + suitability.limiting[first:]
    edges = np.flatnonzero(np.diff(cause)) + 1
    bounds = [0, *(int(edge) for edge in edges), int(cause.size)]
    return [(first + a, first + b) for a, b in zip(bounds, bounds[1:], strict=False) if b > a]


def _run(judged: Judged, begin: int, end: int) -> dict[str, Any]:
    """One run, told by the hour in it that has the least room."""
    suitability, weather = judged.suitability, judged.trial.quantities.weather
    zone = judged.trial.quantities.site.zone
    row = int(suitability.limiting[begin])
    room = suitability.room[row, begin:end]
    tightest = begin if np.isnan(room).all() else begin + int(np.nanargmin(room))
    told = limiting(judged, tightest)
    return {
        "start": local(weather.time(begin), zone),
        "end": local(weather.end if end >= weather.hours else weather.time(end), zone),
        "hours": end - begin,
        "state": STATES[suitability.state[begin]],
        "need": told["need"],
        "label": told["label"],
        "says": told["says"],
    }
