"""What was right already and must stay right: one sky and several answers, a night, an evening, a shower."""

from __future__ import annotations

from datetime import date, timedelta

import pytest

from tests.casebook.answers import ask
from tests.casebook.recipes import Sky
from tests.casebook.sites import NORTH, SOUTH, surface, want

SIDES = ["north", "south"]
COLLAR_ON_LOAM = surface("collar", soil="loam")


@pytest.mark.parametrize(
    ("place", "day"), [(NORTH, date(2026, 2, 17)), (SOUTH, date(2026, 7, 14))], ids=SIDES
)
def test_no_roller_and_no_mower_goes_over_frozen_soil(tmp_path, place, day):
    # Soil below 0 C was the best predictor of harm, morning and afternoon (Oregon State reports 2022-24).
    sky = Sky(place["timezone"], day, -6, 3).lay("soil_temp_6cm_c", -1.2).lay("cloud_pct", 5.0)
    found = ask(tmp_path, sky, 6, [surface("green"), COLLAR_ON_LOAM], place=place)
    for job, on in (
        ("rolling", "green"),
        ("rolling", "collar"),
        ("mow_green", "green"),
        ("mow_collar", "collar"),
    ):
        found.fails(job, on, 0, range(7, 20), "soil|frozen")


@pytest.mark.parametrize("night", [3.4, 3.0])
def test_a_cold_night_stops_the_kind_that_must_be_moved_and_not_the_others(tmp_path, night):
    # Nights under 4.4 C stop a systemic (Iowa State weed scientist); what only touches is less fussy.
    sky = Sky(NORTH["timezone"], date(2026, 4, 21), 9, 17).quiet(9, 17, range(1, 10))
    sky.lay("cloud_pct", 95.0, 0, range(8)).lay("cloud_pct", 95.0, -1, range(19, 24))
    sky.air({0: 6.0, 2: night, 5: night, 7: 9.0, 9: 17.0, 16: 17.0, 19: 13.0, 23: 10.0}, 0)
    sky.lay("rel_humidity_pct", 52.0, 0, range(9, 18)).lay("soil_temp_6cm_c", 11.0)
    found = ask(tmp_path, sky, 6, [surface("tee"), surface("green")])
    found.fails("systemic_herbicide", "tee", 0, range(10, 13), "night|4.4")
    found.holds("contact_herbicide", "tee", 0, 11)
    found.holds("foliar_feed", "green", 0, 11)


@pytest.mark.parametrize("late", [2.0, 2.2])
def test_the_last_start_of_a_clear_evening_leaves_the_finish_before_the_inversion(tmp_path, late):
    # From one to two hours before sunset (grains research body, spray manual module 10.8); under 3 km/h
    # too still.
    sky = Sky(NORTH["timezone"], date(2026, 6, 16), 12, 21).lay("cloud_pct", 0.0, 0, range(14, 24))
    sky.lay("cloud_pct", 0.0, 1, range(8)).wind(8.0, 0, range(9, 18)).wind(4.0, 0, range(18, 21))
    sky.wind(late, 0, range(21, 24)).wind(late, 1, range(6))
    found = ask(tmp_path, sky, 16, [surface("green")])
    found.holds_within("foliar_feed", "green", 0, range(16, 19))
    found.fails("foliar_feed", "green", 0, range(20, 24), "inversion|still|sun")
    last = max(row.latest_start for row in found.windows("foliar_feed", "green") if row.start < sky.at(1, 0))
    assert last + timedelta(minutes=45) <= sky.at(0, 20, 30)
    still = next(row for row in found.explain("foliar_feed", "green", 0, 21).needs if row.need == "inversion")
    assert still.verdict == "fails"


@pytest.mark.parametrize("per_hour", [1.1, 1.2])
def test_slow_rain_on_new_seed_in_sand_is_no_reason_to_warn(tmp_path, per_hour):
    # Sand takes a millimetre an hour; seed moves with hard rain on a slope. Our index; common practice,
    # no source.
    sky = Sky(NORTH["timezone"], date(2026, 5, 12), 9, 16).rain(0, 8, *[per_hour] * 20)
    found = ask(
        tmp_path,
        sky,
        6,
        [surface("green")],
        sown=[{"surface": "green", "at": sky.at(-3, 8).replace(tzinfo=None)}],
    )
    assert not found.warnings("wash")


@pytest.mark.parametrize(
    ("place", "day"), [(NORTH, date(2026, 5, 12)), (SOUTH, date(2026, 11, 10))], ids=SIDES
)
def test_rain_at_three_leaves_a_feed_the_morning_and_a_slow_herbicide_less_of_it(tmp_path, place, day):
    # Taken up in four hours (Stiegler, Richardson & Karcher 2011); a label of six hours is two hours
    # stricter.
    sky = Sky(place["timezone"], day, 10, 19).rain(0, 15, 2.5, 2.5)
    found = ask(tmp_path, sky, 6, [surface("green"), surface("surround", "bank")], place=place)
    found.holds("foliar_feed", "green", 0, [9, 10])
    found.fails("foliar_feed", "green", 0, range(11, 15), "rain")
    found.holds_within("systemic_herbicide", "bank", 0, [7, 8])
    found.fails("systemic_herbicide", "bank", 0, range(9, 15), "rain")
    assert found.state("foliar_feed", "green", 0, 11) == "broken"
    assert found.state("systemic_herbicide", "bank", 0, 9) == "broken"


@pytest.mark.parametrize("humidity", [40.0, 41.0])
def test_one_dry_sky_gives_sand_leave_a_herbicide_none_and_a_feed_little(tmp_path, humidity):
    # Delta T near 9: sand works in dry (Green Section updates); above 8 a high drift hazard (Waikato
    # plan 6.2.9).
    sky = Sky(SOUTH["timezone"], date(2026, 9, 22), 14, 26).moist(70, humidity)
    sky.lay("air_temp_c", 26.0, None, range(9, 18)).lay("rel_humidity_pct", humidity, None, range(9, 18))
    surfaces = [surface("green", grass="couch"), surface("tee")]
    found = ask(tmp_path, sky, 6, surfaces, place=SOUTH)
    found.holds("top_dressing", "green", 0, [11, 12])
    found.holds("top_dressing", "tee", 0, [11, 12])
    found.fails("systemic_herbicide", "tee", 0, range(10, 15), "Delta T")
    for hour in range(10, 14):
        assert found.state("foliar_feed", "green", 0, hour) == "narrow", found.why(
            "foliar_feed", "green", 0, hour
        )


@pytest.mark.parametrize(
    ("job", "on"), [("oversowing", "tee"), ("rolling", "green"), ("granular_feed", "green")]
)
def test_no_work_is_begun_that_a_cloudburst_meets(tmp_path, job, on):
    # Nobody sows, rolls or feeds in 20 mm an hour; the hours after the rain look dry. Common practice, no source.
    sky = Sky(NORTH["timezone"], date(2026, 9, 8), 11, 19).rain(0, 16, 20.0).lay("soil_temp_6cm_c", 15.0)
    found = ask(tmp_path, sky, 6, [surface("tee"), surface("green")], wanted=want(sky, job, on))
    found.fails(job, on, 0, [16], "rain")


def test_no_water_is_sent_onto_frost_or_frozen_ground(tmp_path):
    # A dry spell in spring with frost at dawn: water waits until it is off. Common practice, no source.
    sky = Sky(NORTH["timezone"], date(2026, 4, 14), 1, 16, before=30).moist(70, 30).clear_calm_night(range(5))
    found = ask(tmp_path, sky.lay("soil_temp_6cm_c", 9.0), 6, [surface("green")])
    advice = [text for row in found.report.warnings if row.kind == "wilt" for text in row.advice]
    assert advice
    (frost, *_) = [row for row in found.report.warnings if row.kind == "frost"]
    assert not any("05:00–09:00" in text for text in advice)
    assert frost.begins is not None
    frozen = ask(tmp_path, sky.lay("soil_temp_6cm_c", -1.0), 6, [surface("green")])
    texts = [text for row in frozen.report.warnings if row.kind == "wilt" for text in row.advice]
    assert texts
    assert any("waits for the thaw" in text for text in texts)
    assert not any("Hand water" in text for text in texts)
