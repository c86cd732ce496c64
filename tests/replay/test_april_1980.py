"""A real April replayed under the demo's surfaces: what a greenkeeper would expect, within an hour.

Weather: Greensboro NC, April 1980, as carried by the typical-year file 723170 of the US National Renewable
Energy Laboratory (fixtures/published/greensboro_1980_04_hourly.csv). The expectations were worked out by hand
with simpler rules before the engine was run. Where they and the engine differ the test says which is right.
"""

from __future__ import annotations

from dataclasses import replace
from datetime import datetime, timedelta
from zoneinfo import ZoneInfo

import pytest

from planner.actions.one_pass import assess
from planner.forecast.recorded import read_file
from planner.indices.grasses import GRASSES
from planner.margin import STATES
from planner.planning.plan import Judged
from planner.site import Sowing, WorkDone
from tests.made import ROOT, config

ZONE = ZoneInfo("Etc/GMT+5")
TABLE = ROOT / "fixtures" / "published" / "greensboro_1980_04_hourly.csv"


def at(day: int, hour: int, minute: int = 0) -> datetime:
    return datetime(1980, 4, day, hour, minute, tzinfo=ZONE)


DONE = (
    WorkDone(job="foliar_feed", kind="spraying", surface="green", at=at(2, 10)),
    WorkDone(job="mow_surrounds", kind="mowing", surface="east bank", at=at(4, 11)),
    WorkDone(job="growth_regulator", kind="spraying", surface="green", at=at(5, 17)),
)


@pytest.fixture(scope="module")
def month():
    return read_file(TABLE, fetched_at=at(1, 0))


def briefing(month, now: datetime, cover_pct: float = 0.0):
    made = config()
    site = replace(
        made.site, latitude_deg=36.10, longitude_deg=-79.95, elevation_m=273.0, timezone="Etc/GMT+5"
    )
    sown = Sowing(
        surface="apron strip", at=at(5, 15), grass=GRASSES["smooth_stalked_meadow_grass"], cover_pct=cover_pct
    )
    hours = month.weather.cut(now - timedelta(days=3), now + timedelta(days=9))
    forecast = replace(month, weather=hours, fetched_at=now)
    return assess(replace(made, site=site, sowings=(sown,), done=DONE), forecast, now=now)


def judged(found, job: str, surface: str) -> Judged:
    return next(j for j in found.plan.judged if (j.job.name, j.surface.name) == (job, surface))


def states(found, job: str, surface: str, first: datetime, count: int) -> list[str]:
    each = judged(found, job, surface)
    begin = each.attempt.quantities.weather.index(first)
    return [STATES[code] for code in each.suitability.state[begin : begin + count]]


def near(moment: datetime, wanted: datetime, hours: float = 1.0) -> bool:
    return abs(moment - wanted) <= timedelta(hours=hours)


def test_r1_ground_frost_and_air_frost_are_said_apart(month):
    found = briefing(month, at(5, 18))
    frost = next(n for n in found.notices if n.kind == "frost")
    # Expected: surface minimum about -2.4 C between 03 and 04 h, screen minimum 1.1 C; +-1 C on the surface.
    assert frost.figures["surface_min_c"] == pytest.approx(-2.4, abs=1.0)
    assert frost.figures["air_min_c"] == pytest.approx(1.1, abs=0.05)
    assert "Ground frost likely tonight" in frost.says
    assert "Air frost unlikely" in frost.says
    assert frost.ends is not None
    assert near(frost.ends, at(6, 8))
    # 6 April 1980 was a Sunday: machines from 10 h.
    green = states(found, "mow_green", "green", at(6, 7), 4)
    assert green[:3] == ["barred", "barred", "barred"]
    first = next(w for w in judged(found, "mow_green", "green").windows if w.start >= at(6, 6))
    assert near(first.start, at(6, 10))


def test_r2_wash_on_the_sown_apron_nineteen_hours_ahead(month):
    found = briefing(month, at(8, 6))
    storm = next(n for n in found.notices if n.kind == "wash" and n.begins < at(10, 0))
    assert storm.surface == "apron strip"
    assert near(storm.begins, at(9, 1))
    assert (storm.begins - found.made_at) / timedelta(hours=1) == pytest.approx(19, abs=1)
    # 14 mm in an hour after 5 on loam: it runs off in most of the ways that it may fall, and in a sealed bed in all.
    assert storm.strength == pytest.approx(0.77, abs=0.1)
    assert storm.level == "act"
    assert any("lower edge" in advice for advice in storm.advice)
    # The 6.9 mm of 8 April 15-18 h alone sink in.
    assert not [n for n in found.notices if n.kind == "wash" and n.begins < at(8, 23)]
    # Only the sown surface is warned of.
    assert {n.surface for n in found.notices if n.kind == "wash"} == {"apron strip"}


def test_r2_a_cover_of_eighty_percent_takes_the_warning_away(month):
    found = briefing(month, at(8, 6), cover_pct=80.0)
    assert not [n for n in found.notices if n.kind == "wash"]
    apron = found.plan.conditions.surfaces["apron strip"]
    hour = apron.weather.index(at(9, 2))
    assert float(apron["wash_risk"][0, hour]) == pytest.approx(0.03, abs=0.03)


def test_r5_the_latest_start_is_told_from_the_end_of_the_after_hours(month):
    found = briefing(month, at(12, 6))
    foliar = judged(found, "foliar_feed", "green").windows[0]
    assert near(foliar.start, at(12, 6))
    # The hand-made expectation opens at 06 h. The engine opens at 07 h: the rule on the height of the sun, 5
    # degrees at least, was left out of the simpler rules; the sun stands at 1 degree then. The engine is right.
    assert foliar.start == at(12, 7)
    # Rain starts at 14 h: 45 minutes of work and 4 dry hours before it.
    assert foliar.latest_start == at(12, 9, 15)
    assert states(found, "foliar_feed", "green", at(12, 10), 2) == ["broken", "broken"]
    # Level tees without an edge: the six dry hours alone decide.
    herbicide = judged(found, "systemic_herbicide", "mat tees").windows[0]
    assert herbicide.latest_start == at(12, 7, 15)
    # The bank above the brook: the air moves toward it, and 5.1 mm fall in an hour within the day.
    assert set(states(found, "systemic_herbicide", "east bank", at(12, 6), 12)) <= {"barred", "broken"}


def test_r7_freezing_without_white_frost_and_cold_nights_bar_the_herbicide(month):
    found = briefing(month, at(16, 18))
    frost = next(n for n in found.notices if n.kind == "frost")
    assert frost.figures["air_min_c"] == pytest.approx(-0.6, abs=0.05)
    assert frost.figures["surface_min_c"] == pytest.approx(-2.7, abs=1.0)
    assert "without turning white" in frost.says
    assert frost.ends is not None
    assert near(frost.ends, at(17, 8))
    assert all("olling" in advice or "wheels" in advice for advice in frost.advice)
    assert set(states(found, "systemic_herbicide", "mat tees", at(17, 6), 12)) == {"barred"}
    following = judged(found, "systemic_herbicide", "mat tees").windows[0]
    # Expected 07-10 h on 18 April.
    assert near(following.start, at(18, 7))
    assert near(following.latest_start, at(18, 10))
