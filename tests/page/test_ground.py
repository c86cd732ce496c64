"""Whether the ground bears feet, and what is said of the seed in it."""

from __future__ import annotations

from datetime import datetime, timedelta
from typing import Any
from zoneinfo import ZoneInfo

import pytest

from planner.actions.one_pass import assess
from planner.reports.assessment import Assessment
from planner.reports.surface_rows import UnderfootRow
from planner.reports.surfaces import _hour, ground_rows
from planner.site import Sowing
from planner.terms import short_time
from planner.weather import Forecast
from tests.made import config, weather

ZONE = ZoneInfo("Europe/London")
START = datetime(2026, 4, 1, 0, tzinfo=ZONE)
NOW = START + timedelta(hours=30)


def _assessed(sowings: tuple[Sowing, ...] = (), **columns: Any) -> Assessment:
    hours = weather(START, 96, **columns)
    forecast = Forecast(
        weather=hours,
        provider="made",
        issued_at=NOW,
        fetched_at=NOW,
        credit="made",
        credit_url="",
        licence="",
    )
    return assess(config(sowings=sowings), forecast, now=NOW)


def _underfoot(assessment: Assessment, surface: str = "green") -> tuple[UnderfootRow, ...]:
    return next(row.underfoot for row in ground_rows(assessment) if row.surface == surface)


def test_dry_mild_ground_bears_feet() -> None:
    run = _underfoot(_assessed())[0]
    assert (run.state, run.cause) == ("steady", "")
    assert run.says.startswith("Firm underfoot, leaf dry")


def test_frost_keeps_feet_off_until_it_is_off_the_leaf_for_an_hour() -> None:
    night = dict.fromkeys(range(44, 54), -2.0)
    runs = _underfoot(_assessed(air_temp_c=night, cloud_pct=0.0, wind_10m_ms=0.5, shortwave_wm2=0.0))
    frost = [run for run in runs if run.cause == "frost"]
    assert frost
    assert frost[0].state == "barred"
    assert "frosted or close to it" in frost[0].says
    if "Off the frost from" in frost[0].says:
        released = frost[0].end.astimezone(ZONE)
        assert f"Off the frost from {short_time(released, released.tzinfo)}." in frost[0].says


def test_soaked_ground_keeps_feet_off() -> None:
    rain = dict.fromkeys(range(20, 30), 8.0)
    run = _underfoot(_assessed(rain_mm=rain), "east bank")[0]
    assert (run.state, run.cause) == ("barred", "soft")
    assert "of field capacity" in run.says


def test_seed_is_walked_round_and_only_where_it_lies() -> None:
    site = config().site
    sown = Sowing(surface="green", at=START, grass=site.surface("green").grass)
    assessment = _assessed(sowings=(sown,))
    assert _underfoot(assessment)[0].cause == "seed"
    assert _underfoot(assessment, "collar")[0].cause == ""
    seeds = {row.surface: row.seed for row in ground_rows(assessment)}
    assert seeds["collar"] == ()
    assert seeds["green"][0].age_d == pytest.approx(1.2, abs=0.06)
    assert seeds["green"][0].way_to_emergence is not None
    assert 0 < seeds["green"][0].way_to_emergence < 1


def test_what_cannot_be_read_is_not_read() -> None:
    run = _underfoot(_assessed(air_temp_c=float("nan")))[0]
    assert (run.state, run.cause) == ("unread", "unread")


NAN = float("nan")


@pytest.mark.parametrize(
    ("turf", "frozen", "wet", "seed", "state", "cause"),
    [
        (9.0, NAN, 0.0, 0.0, "unread", "unread"),
        (-1.0, NAN, NAN, NAN, "barred", "frost"),
        (9.0, 0.0, NAN, 0.0, "narrow", "wet_unread"),
        (9.0, 0.0, 0.0, NAN, "narrow", "seed"),
        (9.0, 0.0, 0.0, 0.0, "steady", ""),
    ],
)
def test_what_is_not_known_is_not_claimed(
    turf: float, frozen: float, wet: float, seed: float, state: str, cause: str
) -> None:
    quantities = _assessed().plan.conditions.surfaces["green"]
    found = _hour(quantities, turf, frozen, 65.0, wet, seed)
    assert found[:2] == (state, cause)
    assert ("leaf dry" in found[2]) is (state == "steady")


def test_runs_join_without_a_gap() -> None:
    for row in ground_rows(_assessed(rain_mm=dict.fromkeys(range(34, 40), 6.0))):
        runs = row.underfoot
        assert runs[0].start == NOW
        for before, after in zip(runs, runs[1:], strict=False):
            assert before.end == after.start
            assert (before.state, before.cause) != (after.state, after.cause)
