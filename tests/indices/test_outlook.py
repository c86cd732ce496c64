"""Rows of the days ahead."""

from __future__ import annotations

from dataclasses import asdict
from datetime import datetime

import numpy as np
import pytest

from planner.indices.outlook import day_figures
from planner.site import Sowing
from tests.indices.made import NOW, quantities, site, weather

NAMES = {
    "date",
    "hours_known",
    "air_min_c",
    "air_max_c",
    "rain_mm",
    "rain_hour_max_mm",
    "wind_2m_max_kmh",
    "growth_potential",
    "rain_wash_risk",
    "wash_low",
    "wash_high",
    "wash_chance",
    "frost_risk",
    "air_frost_risk",
    "grass_min_c",
    "surface_min_c",
    "off_frost_at",
    "soil_temp_c",
    "et0_mm",
    "storage_pct_fc",
    "dli_mol",
    "degree_days",
    "depletion_raw",
    "dollar_spot_chance",
    "brown_patch_index",
    "pythium_risk",
    "sunrise",
    "sunset",
}


def day_rows(quantities):
    """The days of one surface, as rows with the date in ISO text."""
    (days,) = day_figures({"one": quantities}).values()
    return [{**asdict(day), "date": day.date.isoformat()} for day in days]


def test_one_row_a_local_day_with_all_its_names() -> None:
    rows = day_rows(quantities(weather(72)))
    assert [row["date"] for row in rows] == ["2025-04-02", "2025-04-03", "2025-04-04"]
    assert all(set(row) == NAMES for row in rows)
    assert [row["hours_known"] for row in rows] == [24, 24, 24]
    assert isinstance(rows[0]["growth_potential"], float)


def test_figures_are_those_of_the_hours() -> None:
    rain = np.zeros(72)
    rain[30:32] = [2.0, 5.0]
    made = weather(72, rain_mm=rain)
    row = day_rows(quantities(made))[1]
    assert row["rain_mm"] == 7.0
    assert row["rain_hour_max_mm"] == 5.0
    assert row["air_min_c"] == pytest.approx(7.0, abs=0.1)
    assert row["degree_days"] == pytest.approx(12.0, abs=0.01)
    last = day_rows(quantities(made))[-1]
    assert last["degree_days"] == pytest.approx(12.0, abs=0.01)


def test_frost_belongs_to_the_morning_and_the_hour_of_thaw_is_named() -> None:
    hour = np.arange(96)
    air = 5 + 6 * np.sin((hour - 8) / 24 * 2 * np.pi)
    rows = day_rows(quantities(weather(96, air_temp_c=air, cloud_pct=0.0, soil_temp_6cm_c=5.0)))
    morning = rows[2]
    assert morning["frost_risk"] > 0.8
    assert morning["air_frost_risk"] > 0.5
    assert morning["surface_min_c"] < -2.0
    assert morning["grass_min_c"] < morning["surface_min_c"] - 0.3
    off = morning["off_frost_at"]
    assert isinstance(off, datetime)
    assert off.utcoffset() is not None
    assert morning["sunrise"] < off < morning["sunset"]
    assert off.astimezone(morning["sunrise"].tzinfo).date().isoformat() == morning["date"]


def test_mild_night_has_no_thaw() -> None:
    row = day_rows(quantities(weather(72)))[1]
    assert row["frost_risk"] < 0.05
    assert row["off_frost_at"] is None


def test_unknown_is_none_and_the_rest_is_there() -> None:
    made = weather(72, cloud_pct=None, shortwave_wm2=None)
    row = day_rows(quantities(made))[1]
    # Without cloud the air alone tells a chance of ground frost, and what a thermometer at the grass would read.
    assert row["frost_risk"] is not None
    assert row["grass_min_c"] is not None
    assert row["surface_min_c"] is None
    assert row["dli_mol"] is None
    assert row["air_frost_risk"] is not None
    assert row["et0_mm"] > 0
    rain = np.zeros(72)
    rain[30] = np.nan
    row = day_rows(quantities(weather(72, rain_mm=rain)))[1]
    assert row["rain_mm"] is None
    assert row["hours_known"] == 23


def test_members_are_averaged_and_so_is_what_they_wash() -> None:
    rain = np.zeros((4, 72))
    rain[:2, 30:32] = [6.0, 14.0]
    place = site(slope_pct=8.0, soil="loam")
    sowing = Sowing(surface="green", at=NOW, grass=place.surfaces[0].grass)
    row = day_rows(quantities(weather(72, members=4, rain_mm=rain), place, sowings=(sowing,)))[1]
    alone = day_rows(quantities(weather(72, rain_mm=rain[0]), place, sowings=(sowing,)))[1]
    assert row["rain_mm"] == 10.0
    assert row["wash_low"] < row["rain_wash_risk"] < row["wash_high"]
    for name in ("rain_wash_risk", "wash_low", "wash_high", "wash_chance"):
        assert row[name] == pytest.approx(0.5 * alone[name])
    assert alone["wash_chance"] > 0.5


def test_a_day_that_no_member_knows_has_no_band() -> None:
    rain = np.zeros((3, 72))
    rain[:, 30] = np.nan
    row = day_rows(quantities(weather(72, members=3, rain_mm=rain)))[1]
    assert row["wash_low"] is None
    assert row["wash_chance"] is None
    assert row["rain_mm"] is None


def test_cut_days_say_how_many_hours_they_hold() -> None:
    rows = day_rows(quantities(weather(30)))
    assert [row["hours_known"] for row in rows] == [24, 6]
    assert rows[-1]["dli_mol"] is None
    assert rows[-1]["degree_days"] < rows[0]["degree_days"]


def test_a_single_hour_makes_a_row() -> None:
    rows = day_rows(quantities(weather(1)))
    assert len(rows) == 1
    assert rows[0]["frost_risk"] is None


def test_a_night_is_told_whole_from_the_members() -> None:
    # The plain forecast is mild; 20 of 31 members freeze.
    wave = 5 * np.sin((np.arange(96) - 8) / 24 * 2 * np.pi)
    air = np.full((31, 96), 12.0) + wave
    air[:20] -= 10.0
    plain, members = (
        {"green": quantities(weather(96, members=len(one), air_temp_c=one, cloud_pct=10.0))}
        for one in (air[-1:], air)
    )
    for surfaces in (plain, members):
        (days,) = day_figures(surfaces, members).values()
        morning = days[2]
        assert morning.frost_risk == pytest.approx(20 / 31, abs=0.03)
        assert morning.grass_min_c is not None
        assert morning.surface_min_c is not None
        (cold,) = day_figures({"green": quantities(weather(96, air_temp_c=air[0], cloud_pct=10.0))}).values()
        (mild,) = day_figures(plain).values()
        for name in ("grass_min_c", "surface_min_c"):
            mean = (20 * getattr(cold[2], name) + 11 * getattr(mild[2], name)) / 31
            assert getattr(morning, name) == pytest.approx(mean)
        assert (morning.off_frost_at, mild[2].off_frost_at) == (cold[2].off_frost_at, None)
        assert morning.off_frost_at is not None
    # A night that no member knows is the forecast's.
    air[:, 50:] = np.nan
    unknown = {"green": quantities(weather(96, members=31, air_temp_c=air, cloud_pct=10.0))}
    (days,) = day_figures(plain, unknown).values()
    assert (days[3].frost_risk, days[3].grass_min_c) == (mild[3].frost_risk, mild[3].grass_min_c)


def test_wash_is_that_of_the_higher_chance_of_forecast_and_members() -> None:
    storm = np.zeros((4, 72))
    storm[:3, 30:32] = [6.0, 14.0]
    place = site(slope_pct=8.0, soil="loam")
    sowing = Sowing(surface="green", at=NOW, grass=place.surfaces[0].grass)

    def days(*rains):
        made = [
            {"green": quantities(weather(72, members=len(one), rain_mm=one), place, sowings=(sowing,))}
            for one in rains
        ]
        (found,) = day_figures(*made).values()
        return [
            getattr(found[1], name) for name in ("rain_wash_risk", "wash_low", "wash_high", "wash_chance")
        ]

    assert days(storm[3:], storm) == pytest.approx(0.75 * np.array(days(storm[:1])))
    assert days(storm[:1], storm) == days(storm[:1])
    lost = np.where(storm > 0.0, np.nan, storm)
    assert days(storm[:1], lost) == days(storm[:1])
    assert days(lost[:1], storm) == days(storm[3:], storm)
