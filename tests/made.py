"""Invented weather and ground for tests: small, made in a line, never loaded from a file."""

from __future__ import annotations

import shutil
import tomllib
from collections.abc import Mapping
from dataclasses import replace
from datetime import UTC, datetime, timedelta
from functools import lru_cache
from pathlib import Path
from typing import Any

import numpy as np

from planner.actions.stored import REPORT, WORKINGS
from planner.config.load import Config, load
from planner.planning.conditions import SiteConditions, conditions_of
from planner.reports.answers import encode_report, encode_workings
from planner.reports.rows import Report
from planner.reports.workings import Workings
from planner.store.store import Store
from planner.weather import Forecast, HourlyWeather

ROOT = Path(__file__).resolve().parents[1]
DEMO = ROOT / "config" / "demo.toml"

#: A mild, dry, light-aired day, hour after hour.
PLAIN: Mapping[str, float] = {
    "air_temp_c": 16.0,
    "rel_humidity_pct": 65.0,
    "wind_10m_ms": 2.5,
    "gust_10m_ms": 4.0,
    "wind_dir_deg": 200.0,
    "rain_mm": 0.0,
    "cloud_pct": 50.0,
    "shortwave_wm2": 300.0,
    "soil_temp_6cm_c": 15.0,
}


def weather(start: datetime, hours: int, members: int = 1, **columns: Any) -> HourlyWeather:
    """Hours of plain weather, with the columns given laid over it: a value, a list, or {hour: value}."""
    epoch = [int((start + timedelta(hours=hour)).timestamp()) for hour in range(hours)]
    laid: dict[str, Any] = {}
    for name in {**PLAIN, **columns}:
        base = np.full((members, hours), PLAIN.get(name, 0.0))
        if name == "shortwave_wm2":
            clock = (start.astimezone(UTC).hour + np.arange(hours)) % 24
            base *= (clock >= 5) & (clock < 19)
        given = columns.get(name)
        if isinstance(given, dict):
            for hour, value in given.items():
                base[:, hour] = value
        elif given is not None:
            base[:] = given
        laid[name] = base
    return HourlyWeather.from_columns(epoch_s=epoch, columns=laid)


@lru_cache(maxsize=1)
def _demo() -> Config:
    """The demo's config without its keeper's own hours and jobs, read once: nothing in it can be changed."""
    found = load(DEMO)
    free = tuple(
        job.model_copy(update={"needs": tuple(need for need in job.needs if need.id != "keeper_hours")})
        for job in found.jobs
    )
    return replace(found, jobs=free, hours=None, keeper_jobs=())


def config(**changes: Any) -> Config:
    """The demo's config without its diary, with the fields given replaced."""
    return replace(_demo(), **{"sowings": (), "done": (), "planned": (), **changes})


def with_few_jobs(folder: Path) -> Path:
    """A copy of the shipped config in which the demo's site has the jobs that it names, and no others: whole, and
    worked out in a third of the time."""
    shutil.copytree(ROOT / "config", folder)
    site = folder / "demo.toml"
    text = site.read_text(encoding="utf-8")
    rules = tomllib.loads((folder / "rules.toml").read_text(encoding="utf-8"))
    off = [f"[jobs.{name}]\noff = true\n" for name in rules["jobs"] if f'"{name}"' not in text]
    site.write_text("\n".join([text, *off]), encoding="utf-8")
    return folder


def ground(hours: HourlyWeather, *, now: datetime | None = None, **changes: Any) -> SiteConditions:
    """The demo's site under the hours given."""
    found = config(**changes)
    return conditions_of(
        hours, found.site, now=now or hours.start, sowings=found.sowings, constants=found.constants
    )


def forecast(hours: HourlyWeather, fetched_at: datetime) -> Forecast:
    """The hours as a forecast."""
    return Forecast(
        weather=hours,
        provider="made",
        issued_at=None,
        fetched_at=fetched_at,
        credit="invented",
        credit_url="",
        licence="none",
    )


def stored(
    store: Store,
    report: Report,
    workings: Workings,
    *,
    schema: int | None = None,
    after: int | None = None,
    once: str | None = None,
) -> int | None:
    """Keeps a pass as the pass itself does, under another schema where one is named; its number."""
    return store.keep_pass(
        report.made_at,
        {REPORT: encode_report(report), WORKINGS: encode_workings(workings)},
        schema=report.schema if schema is None else schema,
        stale_at=report.forecast.stale_at,
        after=after,
        once=once,
    )
