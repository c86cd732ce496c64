"""Watered in, frozen and sown: cases made up afresh, without a look at the limits they are judged by.

Sources stand beside the checks; where none does, it is common practice, no source.
"""

from __future__ import annotations

from datetime import date

import pytest

from tests.casebook.answers import ask
from tests.casebook.far_places import CAPE, FJORD, GULF, HILLS, PRAIRIE, ROCK, SOUTHERN_ALPS, TROPIC, under
from tests.casebook.sites import NORTH, SOUTH, surface, told


def want(sky, job, on, day=6):
    return [{"job": job, "surface": on, "by": told(sky, day, 18)}]


# Watered in


def test_a_wetting_agent_goes_out_at_dawn_of_a_hot_day(tmp_path):
    # It burns in heat and strong sun (turf journal, questions and answers); the hose takes it down.
    sky = under(GULF, date(2026, 1, 20), 17, 34)
    found = ask(tmp_path, sky, 5, [surface("green")], place=GULF, wanted=want(sky, "wetting_agent", "green"))
    found.holds_within("wetting_agent", "green", 0, range(6, 9))
    found.fails("wetting_agent", "green", 0, range(12, 17), "hot|heat|air temp")
    assert found.windows("wetting_agent", "green")[0].best_start.hour < 10


def test_three_hours_of_six_millimetres_carry_a_watered_in_fungicide_off(tmp_path):
    # Labels: not before rain that runs off. 18 mm in three hours, figure common practice.
    sky = under(PRAIRIE, date(2026, 7, 7), 16, 25).rain(0, 19, 6, 6, 6)
    collar = surface("collar", soil="loam")
    found = ask(tmp_path, sky, 6, [collar], place=PRAIRIE, wanted=want(sky, "root_fungicide", "collar"))
    found.fails("root_fungicide", "collar", 0, range(8, 17), "rain|run|three hours")
    found.holds_within("root_fungicide", "collar", 2, range(7, 15))


def test_a_day_and_a_night_of_drizzle_are_too_much_water_for_a_wetting_agent(tmp_path):
    # No hour is hard, and 40 mm wash it past the roots all the same. Common practice, no source.
    sky = under(CAPE, date(2026, 6, 16), 9, 16).rain(0, 12, *[1.8] * 22)
    found = ask(tmp_path, sky, 6, [surface("green")], place=CAPE, wanted=want(sky, "wetting_agent", "green"))
    found.fails("wetting_agent", "green", 0, range(8, 12), "rain|water")


def test_a_pre_emergent_is_not_laid_where_seed_will_go_in_three_weeks(tmp_path):
    # It stops the seed that is wanted as well: 60 to 120 days by the label. Labels.
    sky = under(SOUTHERN_ALPS, date(2026, 9, 15), 5, 14).lay("soil_temp_6cm_c", 9.5)
    found = ask(
        tmp_path,
        sky,
        6,
        [surface("tee")],
        place=SOUTHERN_ALPS,
        wanted=want(sky, "pre_emergent", "tee"),
        planned=[{"job": "oversowing", "surface": "tee", "at": told(sky, 21, 10)}],
    )
    found.never("pre_emergent", "tee", "sow|seed")
    found.fails("pre_emergent", "tee", 0, range(9, 15), "sow|seed")


def test_a_pre_emergent_comes_too_late_on_warm_soil(tmp_path):
    # The weed it is for germinates at 12 to 14 C of soil (Georgia, six easy steps).
    sky = under(PRAIRIE, date(2026, 6, 16), 15, 26, before=7).lay("soil_temp_6cm_c", 20.0)
    found = ask(tmp_path, sky, 6, [surface("tee")], place=PRAIRIE, wanted=want(sky, "pre_emergent", "tee"))
    found.never("pre_emergent", "tee", "soil")


# Frost, cold and frozen ground


def test_a_roller_waits_for_the_frost_to_leave_the_leaf(tmp_path):
    # Keep off until it has melted (golf association explainer).
    sky = under(ROCK, date(2026, 5, 19), 4, 14).clear_calm_night(0).lay("soil_temp_6cm_c", 8.0)
    sky.air({0: 3.0, 4: 0.8, 5: 0.6, 6: 1.0, 7: 3.0, 8: 6.5, 9: 9.0}, 0)
    found = ask(tmp_path, sky, 4, [surface("green")], place=ROCK, wanted=want(sky, "rolling", "green", 2))
    assert found.day("green", 0).surface_min_c < -0.5
    found.fails("rolling", "green", 0, range(4, 6), "frost|turf|thaw")
    found.holds_within("rolling", "green", 0, range(9, 13))


def test_soil_that_was_frozen_at_dawn_bears_no_roller_that_day(tmp_path):
    # Rollers harmed turf on days with soil below 0 C, the morning worse (Oregon State reports 2022-24).
    sky = under(FJORD, date(2026, 3, 17), -6, 7).lay("soil_temp_6cm_c", -0.9).wind(8.0).lay("cloud_pct", 10.0)
    sky.lay("soil_temp_6cm_c", 1.2, 0, range(12, 20))
    found = ask(tmp_path, sky, 7, [surface("green")], place=FJORD)
    found.fails("rolling", "green", 0, range(9, 19), "soil|frozen")


def test_a_cold_night_to_come_stops_what_must_be_moved_in_the_weed(tmp_path):
    # 4.4 C at night, before and after (Iowa State weed scientist).
    sky = under(CAPE, date(2026, 9, 8), 9, 19).quiet(2.5, 17, [1]).lay("cloud_pct", 90.0)
    sky.wind(7.0, 0, range(19, 24)).wind(7.0, 1, range(7))
    found = ask(tmp_path, sky, 6, [surface("tee")], place=CAPE, wanted=want(sky, "systemic_herbicide", "tee"))
    found.fails("systemic_herbicide", "tee", 0, range(10, 16), "night|4.4")
    found.fails("systemic_herbicide", "tee", 1, range(10, 16), "night|4.4")
    found.holds_within("contact_herbicide", "tee", 0, range(9, 15))
    found.holds_within("systemic_herbicide", "tee", 3, range(9, 15))


@pytest.mark.parametrize("job", ["top_dressing", "hollow_coring", "scarifying"])
def test_nothing_that_must_heal_is_done_in_winter(tmp_path, job):
    # Growth covers sand and closes holes; there is none at 5 C. Common practice, no source.
    sky = under(NORTH, date(2026, 2, 3), 2, 8, after=15).moist(85, 60)
    found = ask(tmp_path, sky, 8, [surface("green")], wanted=want(sky, job, "green"))
    found.never(job, "green", "grow|heal")


# Seed


def test_couch_is_sown_into_soil_that_is_too_warm_for_bent(tmp_path):
    # Couch germinates best at 20 to 35 C (from memory); 30 C of air kills seedlings of cool grass, not its.
    sky = under(GULF, date(2026, 1, 13), 20, 31.5).lay("soil_temp_6cm_c", 27.0).rain(-1, 14, 5, 5)
    sky.moist(80, 45)
    found = ask(
        tmp_path,
        sky,
        6,
        [surface("apron", grass="couch")],
        place=GULF,
        wanted=want(sky, "oversowing", "apron"),
    )
    found.holds_within("oversowing", "apron", 0, range(7, 12))


def test_seed_is_not_thrown_into_a_wind(tmp_path):
    # Grass seed is light. Common practice, no source.
    sky = under(FJORD, date(2026, 8, 25), 11, 19).wind(18.0, 0).gust(32.0, 0).lay("soil_temp_6cm_c", 16.0)
    found = ask(tmp_path, sky, 6, [surface("apron")], place=FJORD, wanted=want(sky, "oversowing", "apron"))
    found.fails("oversowing", "apron", 0, range(8, 18), "wind")
    found.holds_within("oversowing", "apron", 1, range(8, 17))


def test_seed_waits_for_the_herbicide_to_leave(tmp_path):
    # Two to six weeks, by the label. Labels.
    sky = under(HILLS, date(2026, 10, 13), 12, 22).lay("soil_temp_6cm_c", 17.0)
    found = ask(
        tmp_path,
        sky,
        6,
        [surface("surround")],
        place=HILLS,
        wanted=want(sky, "oversowing", "surround"),
        done=[{"job": "systemic_herbicide", "surface": "surround", "at": told(sky, -10, 10)}],
    )
    found.never("oversowing", "surround", "herbicide|label")
    assert not found.work("oversowing")


def test_thirty_gentle_millimetres_are_too_much_for_new_seed(tmp_path):
    # No hour is hard, and the bed stands in water for a day. Common practice, no source.
    sky = under(ROCK, date(2026, 9, 1), 11, 18).lay("soil_temp_6cm_c", 15.0).rain(0, 18, *[1.4] * 24)
    found = ask(tmp_path, sky, 6, [surface("tee")], place=ROCK, wanted=want(sky, "oversowing", "tee"))
    found.fails("oversowing", "tee", 0, range(8, 17), "rain")


@pytest.mark.parametrize(("cover", "warned"), [(0, True), (90, False)])
def test_a_downpour_on_new_seed_is_told_in_good_time_and_a_cover_keeps_it(tmp_path, cover, warned):
    # Cover takes the blow of the drops (stormwater manual); our index. Common practice, no source.
    sky = under(SOUTHERN_ALPS, date(2026, 11, 10), 11, 20).rain(0, 21, 13, 11)
    apron = surface("apron", slope_pct=9, slope_length_m=8)
    sown = {"surface": "apron", "at": told(sky, -3, 10), "cover_pct": cover}
    found = ask(tmp_path, sky, 7, [apron, surface("green")], place=SOUTHERN_ALPS, sown=[sown])
    wash = found.warnings("wash")
    assert bool(wash) == warned, wash
    for row in wash:
        assert row.surface == "apron"
        assert row.lead_h >= 12
        assert "net" in " ".join(row.advice).lower() or "cover" in " ".join(row.advice).lower()


def test_seedlings_are_not_mown_before_they_stand(tmp_path):
    # Ten to twenty-one days and tall enough. Common practice, no source.
    sky = under(SOUTH, date(2026, 4, 14), 11, 20).lay("soil_temp_6cm_c", 16.0)
    found = ask(
        tmp_path,
        sky,
        6,
        [surface("tee")],
        place=SOUTH,
        wanted=[{"job": "mow_tee", "surface": "tee", "every_days": 4}],
        sown=[{"surface": "tee", "at": told(sky, -6, 10)}],
        done=[{"job": "mow_tee", "surface": "tee", "at": told(sky, -7, 10)}],
    )
    for number in (0, 1, 2):
        found.fails("mow_tee", "tee", number, range(9, 17), "seed|sow")


def test_soil_of_eight_degrees_is_too_cold_for_seed(tmp_path):
    # Bents and ryegrass emerge from near 10 C of soil on (HortTechnology 31:42, abstract).
    sky = under(PRAIRIE, date(2026, 10, 20), 4, 13).lay("soil_temp_6cm_c", 8.0)
    found = ask(tmp_path, sky, 6, [surface("green")], place=PRAIRIE, wanted=want(sky, "oversowing", "green"))
    found.never("oversowing", "green", "soil")


def test_seed_on_a_tropical_surround_washes_every_afternoon(tmp_path):
    # A storm of 22 mm in an hour each day leaves no four days for it. Common practice, no source.
    sky = under(TROPIC, date(2026, 11, 17), 24, 31).moist(96, 65)
    for number in range(10):
        sky.rain(number, 15, 22.0)
    found = ask(
        tmp_path,
        sky,
        6,
        [surface("surround", grass="couch", slope_pct=8, slope_length_m=10)],
        place=TROPIC,
        wanted=want(sky, "oversowing", "surround"),
    )
    found.never("oversowing", "surround", "rain|wash|downpour")
    assert found.barred("oversowing", "surround").next_window is None
