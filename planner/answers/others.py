"""The other answers: days, warnings, hours, and the workings behind every verdict."""

from __future__ import annotations

from datetime import datetime, timedelta
from typing import Any
from zoneinfo import ZoneInfo

import numpy as np

from planner.answers.header import head, known, local, utc
from planner.answers.verdict import about
from planner.briefing import Briefing
from planner.notices.base import Notice
from planner.notices.life import OVER
from planner.notices.told import body
from planner.plan import Judged
from planner.weather import VARIABLES, Array

#: Indices that go into the hourly rows beside the weather columns.
HOURLY_INDICES = (
    "wind_2m_kmh",
    "delta_t_k",
    "surface_temp_c",
    "leaf_wet",
    "inversion_likely",
    "sun_altitude_deg",
    "soil_temp_c",
)
#: A limit missed by less than this is the rounding of a sum, as in the verdicts themselves.
_EPS = 1e-7


def days(briefing: Briefing) -> dict[str, Any]:
    """Indices per local day and surface."""
    zone = briefing.plan.ground.site.zone
    rows = []
    for surface, of_surface in briefing.days.items():
        for row in of_surface:
            told = {key: _plain(value, zone) for key, value in row.items() if key != "date"}
            rows.append({"date": row["date"], "surface": surface} | told)
    rows.sort(key=lambda row: str(row["date"]))
    return {**head(briefing), "days": rows}


def _life(briefing: Briefing, notice: Notice) -> dict[str, Any]:
    """Where the warning stands and since when; null where no one follows warnings (a file, the demo)."""
    zone = briefing.plan.ground.site.zone
    for one in briefing.life.states if briefing.life is not None else ():
        if one.id == notice.id:
            return {"state": one.state, "since": local(one.first_at, zone)}
    return {"state": None, "since": None}


def _plain(value: Any, zone: ZoneInfo) -> Any:
    return local(value, zone) if isinstance(value, datetime) else value


def warnings(briefing: Briefing) -> dict[str, Any]:
    """What is about to go wrong, and what to do."""
    return {
        **head(briefing),
        "warnings": [warning(briefing, notice) for notice in briefing.notices],
        "stood_down": _stood_down(briefing),
        "not_read": [
            {"kind": one.kind, "from": local(one.begins, briefing.plan.ground.site.zone), "says": one.says}
            for one in briefing.not_read
        ],
    }


def _stood_down(briefing: Briefing) -> list[dict[str, Any]]:
    """Warnings that this pass ended, in words: nothing is deleted in silence."""
    if briefing.life is None:
        return []
    return [{"id": news.id, "says": body(news)} for news in briefing.life.news if news.state == OVER]


def warning(briefing: Briefing, notice: Notice) -> dict[str, Any]:
    """One warning as it is shown."""
    zone = briefing.plan.ground.site.zone
    return {
        "id": notice.id,
        "kind": notice.kind,
        "surface": notice.surface,
        "begins": local(notice.begins, zone),
        "ends": None if notice.ends is None else local(notice.ends, zone),
        "lead_h": round((notice.begins - briefing.made_at) / timedelta(hours=1), 1),
        "level": notice.level,
        **_life(briefing, notice),
        "chance": notice.chance,
        "says": notice.says,
        "advice": list(notice.advice),
        "figures": dict(notice.figures),
    }


def hours(briefing: Briefing) -> list[dict[str, Any]]:
    """One flat row an hour from the hour of the pass on; means over members."""
    sky = briefing.plan.ground.sky
    weather = sky.weather
    first = max(0, weather.index(briefing.made_at))
    columns = [variable.name for variable in VARIABLES if variable.name in weather]
    columns += [name for name in HOURLY_INDICES if name not in columns]
    values = {name: _mean(sky[name]) for name in columns}
    rows = []
    for index in range(first, weather.hours):
        row: dict[str, Any] = {"time": utc(weather.time(index))}
        row |= {name: known(column[index], 3) for name, column in values.items()}
        rows.append(row)
    return rows


def _mean(values: Any) -> Any:
    if values.shape[0] == 1:
        return values[0]
    unknown = np.isnan(values)
    counts = (~unknown).sum(axis=0)
    return np.where(counts > 0, np.where(unknown, 0.0, values).sum(axis=0) / np.maximum(counts, 1), np.nan)


def workings(briefing: Briefing, judged: Judged) -> dict[str, Any]:
    """Every figure behind the verdicts of one job on one surface, from the hour before the pass on.

    `explain` is read from this, hour by hour, without computing anything again.
    """
    weather = judged.trial.quantities.weather
    suitability = judged.suitability
    first = max(0, weather.index(briefing.made_at) - 24)
    rows = []
    for row, need in enumerate(suitability.needs):
        low = np.round(suitability.readings[row].low[0, first:], 3)
        high = np.round(suitability.readings[row].high[0, first:], 3)
        entry = {
            **need.model_dump(exclude={"surfaces", "except_surfaces", "soils"}, exclude_defaults=False),
            "is_after": need.is_after,
            "values": _listed(low),
            "room": _listed(np.round(suitability.room[row, first:], 3)),
            "verdicts": _verdicts(suitability.room[row, first:]),
        }
        if suitability.readings[row].high is not suitability.readings[row].low:
            entry["values_high"] = _listed(high)
        rows.append(entry)
    return {
        **head(briefing),
        **about(judged),
        "first_hour": utc(weather.time(first)),
        "states": "".join(str(int(code)) for code in suitability.state[first:]),
        "scores": _listed(np.round(suitability.score[first:], 3)),
        "chances": None if suitability.chance is None else _listed(np.round(suitability.chance[first:], 3)),
        "limiting": [int(row) for row in suitability.limiting[first:]],
        "needs": rows,
    }


def _verdicts(room: Array) -> str:
    """A letter an hour, told before the room is rounded: fails, just holds, holds, unknown."""
    letters = np.where(room < -_EPS, "f", np.where(room < 1.0 - _EPS, "j", "h"))
    return "".join(np.where(np.isnan(room), "u", letters))


def _listed(values: Any) -> list[float | None]:
    return [float(value) if np.isfinite(value) else None for value in values]
