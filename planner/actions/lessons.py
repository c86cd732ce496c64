"""What outcomes in the diary say about the limits that are a guess: each held against its figure at that time."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from datetime import datetime, timedelta
from typing import TYPE_CHECKING

import numpy as np
from typing_extensions import TypedDict

from planner.actions.on_the_spot import begun_at
from planner.actions.pass_input import Record, record_of
from planner.config.load import Config
from planner.diary.entry import OUTCOMES, StoredEntry
from planner.diary.observations import ON_THE_SPOT
from planner.errors import ForecastError
from planner.forecast import provider, read_answer
from planner.margin import EPS, YES_NO, lower_margin, upper_margin
from planner.planning.plan import Judged
from planner.reports.amounts import figure, signed
from planner.rules.job import Job
from planner.rules.limit import Limit
from planner.weather import Forecast

if TYPE_CHECKING:
    from planner.store.store import Store

HELD = "held"
_LOW, _HIGH = "low", "high"
#: Outcome -> the quantities whose limits it speaks of, and on which side. Judgement; `held` and `no_effect` speak of
#: every limit.
SPEAKS_OF: Mapping[str, Mapping[str, tuple[str, ...]]] = {
    "washed": {"rain_mm": (_HIGH,), "wash_bare": (_HIGH,), "wash_risk": (_HIGH,)},
    "scorched": {
        "air_temp_c": (_HIGH,),
        "surface_temp_c": (_HIGH,),
        "heat_stress": (_HIGH,),
        "vpd_kpa": (_HIGH,),
        "delta_t_k": (_HIGH,),
        "depletion_raw": (_HIGH,),
        "sunlight_mj": (_HIGH,),
        "rel_humidity_pct": (_LOW,),
        "storage_pct_fc": (_LOW,),
    },
    "drifted": {
        "wind_2m_kmh": (_LOW, _HIGH),
        "gust_2m_kmh": (_HIGH,),
        "inversion_likely": (_HIGH,),
        "drift_to_edge": (_HIGH,),
        "spray_drop_life_s": (_LOW,),
        "delta_t_k": (_HIGH,),
    },
}
_EVERY = (_LOW, _HIGH)
#: How far behind the work a forecast should reach, so that the hours after it can be read.
_HOURS_AFTER = timedelta(hours=24)


class FigureRow(TypedDict):
    """The figure of a need at the time of one entry."""

    entry: str
    at: datetime
    figure: float
    where: str
    """`comfort`, `within` (inside the limit, outside comfort) or `beyond` the limit."""


class Lesson(TypedDict):
    """What outcomes of one sort say of one limit that is a guess."""

    job: str
    need: str
    label: str
    unit: str
    outcome: str
    against: int
    """Outcomes that speak against the limit."""
    agrees: int
    """Outcomes that the limit would have told."""
    figures: list[FigureRow]
    says: str


class Lessons(TypedDict):
    """All of them, those with the most against them first; and what could not be read."""

    outcomes: dict[str, int]
    lessons: list[Lesson]
    not_read: list[str]


@dataclass(frozen=True, slots=True, kw_only=True)
class _Seen:
    """A limit at the time of one entry with an outcome."""

    job: Job
    need: Limit
    outcome: str
    row: FigureRow


def lessons(config: Config, store: Store, now: datetime) -> Lessons:
    """What the outcomes of the diary say of the limits marked C, on the weather of the kept forecasts."""
    found = [one for one in store.entries() if one.entry.document.get("outcome")]
    record = record_of(store, config, now)
    seen: list[_Seen] = []
    not_read: list[str] = []
    for stored in found:
        job = _job_of(stored, config)
        when = f"{stored.entry.started_at.astimezone(config.site.zone):%Y-%m-%d %H:%M}"
        what = f"{stored.entry.job}, {stored.entry.surface}, {when}"
        if job is None:
            not_read.append(f"{what}: the rules have no such job on that surface")
            continue
        forecast = _weather_of(stored, config, store)
        if forecast is None:
            not_read.append(f"{what}: no kept forecast holds its hours")
            continue
        limits_seen, gone = _limits_at(stored, job, config, forecast, record)
        seen += limits_seen
        not_read += [f"{what}: {label}" for label in gone]
    rows = _rows(seen)
    rows.sort(key=lambda row: (-row["against"], row["job"], row["need"], row["outcome"]))
    counts = Counter(str(one.entry.document.get("outcome")) for one in found)
    return Lessons(outcomes={name: counts[name] for name in OUTCOMES}, lessons=rows, not_read=not_read)


def _job_of(stored: StoredEntry, config: Config) -> Job | None:
    """The job of the rules that the entry was, or counts as."""
    entry = stored.entry
    names = (entry.job, entry.document.get("counts_as"))
    took = entry.finished_at - entry.started_at
    surfaces = {surface.name: surface for surface in config.site.surfaces}
    surface = surfaces.get(entry.surface)
    if surface is None:
        return None
    for job in config.jobs:
        if job.name in names and job.runs_on(surface):
            # Its hours were its own: those after it begin where it ended.
            own = {"duration_min": took / timedelta(minutes=1)} if took else {}
            return job.model_copy(update=own)
    return None


def _weather_of(stored: StoredEntry, config: Config, store: Store) -> Forecast | None:
    """A kept forecast that holds the hours of the work, rather one that holds those after it as well.

    A newer one knows past hours better, so it comes first.
    """
    entry, short = stored.entry, None
    tried: set[int] = set()
    for at in (
        None,
        entry.finished_at + timedelta(days=2),
        entry.finished_at + timedelta(days=1),
        entry.finished_at,
    ):
        for name in config.forecast.providers:
            kept = store.last_forecast(name, at)
            if kept is None or kept.id in tried:
                continue
            tried.add(kept.id)
            try:
                forecast = read_answer(provider(name), kept)
            except ForecastError:
                continue
            weather = forecast.weather
            if not weather.start <= entry.started_at < entry.finished_at + timedelta(hours=1) <= weather.end:
                continue
            if entry.finished_at + _HOURS_AFTER <= weather.end:
                return forecast
            short = short or forecast
    return short


def _limits_at(
    stored: StoredEntry, job: Job, config: Config, forecast: Forecast, record: Record
) -> tuple[list[_Seen], list[str]]:
    """The limits marked C that the outcome speaks of, each with its figure; and labels of those not read."""
    entry, outcome = stored.entry, str(stored.entry.document.get("outcome"))
    measured = entry.document.get("measured") or {}
    figures = {name: float(value) for name in ON_THE_SPOT if (value := measured.get(name)) is not None}  # type: ignore[arg-type]
    _, judged, hour = begun_at(
        config, forecast, record, job, config.site.surface(entry.surface), entry.started_at, figures,
        now=entry.finished_at,
    )  # fmt: skip
    seen, not_read = [], []
    for number, need in enumerate(judged.suitability.needs):
        if not isinstance(need, Limit) or need.confidence != "C":
            continue
        sides = (
            SPEAKS_OF[outcome].get(need.quantity.partition(":")[0], ()) if outcome in SPEAKS_OF else _EVERY
        )
        found = _figure(judged, number, hour, sides)
        if found is None:
            continue
        value, margin = found
        if np.isnan(margin):
            not_read.append(f"{signed(need.label)} is not known")
            continue
        where = "comfort" if margin >= 1.0 - EPS else "within" if margin >= -EPS else "beyond"
        row = FigureRow(entry=stored.uuid, at=entry.started_at, figure=round(value, 3), where=where)
        seen.append(_Seen(job=job, need=need, outcome=outcome, row=row))
    return seen, not_read


def _figure(judged: Judged, number: int, hour: int, sides: Iterable[str]) -> tuple[float, float] | None:
    """The figure and margin of a need on the side that has less room; None where it has no limit on these sides."""
    need, reading = judged.suitability.needs[number], judged.suitability.readings[number]
    found = []
    if _LOW in sides and (need.hard_min is not None or need.best_from is not None):
        low = float(reading.low[0, hour])
        found.append((low, float(lower_margin(low, need))))
    if _HIGH in sides and (need.hard_max is not None or need.best_to is not None):
        high = float(reading.high[0, hour])
        found.append((high, float(upper_margin(high, need))))
    return min(found, key=lambda pair: pair[1]) if found else None


def _rows(seen: list[_Seen]) -> list[Lesson]:
    """One row for each job, need and outcome that says anything for or against the limit."""
    groups: dict[tuple[str, str, str], list[_Seen]] = {}
    for one in seen:
        groups.setdefault((one.job.name, one.need.id, one.outcome), []).append(one)
    rows = []
    for (job, need_id, outcome), group in groups.items():
        need = group[0].need
        # What held says nothing against comfort, what failed nothing against a limit that would have barred it.
        agreed = "comfort" if outcome == HELD else "beyond"
        against = [one.row for one in group if one.row["where"] != agreed]
        rows.append(
            Lesson(
                job=job,
                need=need_id,
                label=need.label,
                unit=need.unit,
                outcome=outcome,
                against=len(against),
                agrees=len(group) - len(against),
                figures=[one.row for one in group],
                says=_says(need, outcome, against, len(group)),
            )
        )
    return rows


def _says(need: Limit, outcome: str, against: list[FigureRow], of: int) -> str:
    """In words: how often, with which figures, and which way the limit may have to move."""
    words = OUTCOMES[outcome]
    if not against:
        return f"{words}: nothing against {signed(need.label)}."
    times = f"{words} {len(against)} of {of} times"
    figures = ", ".join(figure(row["figure"], need.unit) for row in against)
    bound = _bound(need)
    if outcome != HELD:
        return (
            f"{times} though {signed(need.label)} allowed it ({figures}{bound}): the limit may be too wide."
        )
    beyond = sum(row["where"] == "beyond" for row in against)
    far = f", {beyond} of them beyond the limit" if beyond else ""
    return f"{times} outside comfort{far} ({signed(need.label)} {figures}{bound}): it may be too strict."


def _bound(need: Limit) -> str:
    """The hard limits in words, the comfortable ones where there are none; empty for a yes or a no."""
    if need.unit == YES_NO:
        return ""
    low, high, words = need.hard_min, need.hard_max, ("needs", "at most")
    if low is None and high is None:
        low, high, words = need.best_from, need.best_to, ("best from", "best up to")
    said = [
        f"{word} {figure(side, need.unit)}"
        for word, side in zip(words, (low, high), strict=True)
        if side is not None
    ]
    return f"; {', '.join(said)}"
