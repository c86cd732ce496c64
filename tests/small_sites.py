"""A folder of small sites, each a green and a cut, with a forecast kept for each: a pass takes milliseconds."""

from __future__ import annotations

from collections.abc import Iterable
from contextlib import closing
from datetime import UTC, datetime, timedelta
from pathlib import Path

from sqlalchemy import text

from planner.config.load import load
from planner.forecast.base import RawForecast
from planner.store.store import Store
from tests.forecast.payloads import open_meteo, raw

_RULES = """
[jobs.mow_green]
kind = "mowing"
label = "mow the green"
surfaces = ["green"]
duration_min = 45

[[jobs.mow_green.needs]]
id = "rain"
label = "rain"
quantity = "rain_mm"
unit = "mm"
when = "during"
sum_up = "total"
best_to = 0.2
hard_max = 2.0
high = "it rains"
source = "invented for the tests"
confidence = "C"
"""
_SITE = """
rules = "rules.toml"
outputs = []

[site]
name = "Green of {key}"
key = "{key}"
latitude_deg = 52.5
longitude_deg = 13.4
elevation_m = 38
timezone = "Europe/Berlin"

[[surfaces]]
name = "green"
kind = "green"
area_m2 = 340
grass = "creeping_bent"
cut_height_mm = 4
slope_pct = 2
slope_length_m = 12
soil = "sand"

[forecast]
providers = ["open-meteo"]
{forecast}

[store]
url = "{store}"
{more}
"""


def folder_of(
    at: Path,
    keys: Iterable[str],
    *,
    store: str = "",
    unkept: Iterable[str] = (),
    forecast: str = "",
    more: str = "",
) -> list[Path]:
    """The site files, in one store. None of `unkept` has a forecast; `forecast` is more of that table, `more` what
    follows the others.
    """
    at.mkdir()
    (at / "rules.toml").write_text(_RULES, encoding="utf-8")
    without = set(unkept)
    files = []
    for key in (*keys, *without):
        file = at / f"{key}.toml"
        url = store or f"sqlite:///{at / 'kept.db'}"
        file.write_text(_SITE.format(key=key, store=url, forecast=forecast, more=more), encoding="utf-8")
        files.append(file)
    now = datetime.now(UTC)
    start = now.replace(minute=0, second=0, microsecond=0) - timedelta(hours=6)
    answer = RawForecast(raw=raw(open_meteo(96, start=start)), url="https://example.org/", fetched_at=now)
    with closing(Store.open(load(files[0]).store.url)) as opened:
        for file in files:
            if file.stem not in without:
                site = load(file).site
                opened.bound_to(site.key, site.place).keep_forecast("open-meteo", answer)
    return files


def kept_passes(url: str) -> dict[str, int]:
    """How many passes the store holds of each site that has any."""
    with closing(Store.open(url)) as store, store._reading() as connection:
        found = connection.execute(text("select site, count(*) as passes from passes group by site")).all()
    return {row.site: row.passes for row in found}
