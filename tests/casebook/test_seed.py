"""Seed: heat, damp nights, soaked ground, feed on seedlings, drying, and rain that washes it away.

Temperatures of soil: HortTechnology 31:42 (abstract: bents and ryegrass emerge from near 10 C). Two or three light
waterings a day: extension pages on establishing turf. Everything else here: common practice, no source.
"""

from __future__ import annotations

from datetime import date, timedelta

import pytest

from tests.casebook.answers import ask
from tests.casebook.recipes import Sky
from tests.casebook.sites import INLAND, NORTH, SOUTH, surface

HIGH_SUMMERS = [(NORTH, date(2026, 7, 14)), (SOUTH, date(2026, 1, 13))]
SIDES = ["north", "south"]


def by(sky, day):
    return sky.at(day, 12).replace(tzinfo=None)


def sowing(sky, on):
    return [{"job": "oversowing", "surface": on, "by": by(sky, 6)}]


@pytest.mark.parametrize(("place", "day"), HIGH_SUMMERS, ids=SIDES)
@pytest.mark.parametrize("soil", [27.5, 26.0])
def test_nobody_sows_cool_season_grass_into_heat_and_drought(tmp_path, place, day, soil):
    # Seedlings die between waterings above 30 C of air. Common practice, no source; soil: HortTechnology
    # 31:42.
    sky = Sky(place["timezone"], day, 19, 33, before=10).lay("soil_temp_6cm_c", soil).moist(75, 30)
    found = ask(
        tmp_path, sky, 6, [surface("apron", grass="fescue")], place=place, wanted=sowing(sky, "apron")
    )
    found.never("oversowing", "apron", "hot|heat|dry|drought")
    assert found.barred("oversowing", "apron").next_window is None
    found.fails("oversowing", "apron", 2, range(8, 17), "hot|heat|dry|drought")
    assert not found.work("oversowing")
    assert found.left("oversowing")


@pytest.mark.parametrize("nights", [21.0, 22.5])
def test_warm_humid_nights_leave_no_room_for_sowing(tmp_path, nights):
    # Seedlings rot (damping-off). Common practice, no source; some sow with treated seed, so it need not
    # be barred.
    sky = Sky(NORTH["timezone"], date(2026, 8, 11), nights, 29).moist(96, 60).lay("soil_temp_6cm_c", 24.0)
    for evening in (0, 1, 3, 4, 5, 7, 8):
        sky.rain(evening, 19, 2.0)
    found = ask(tmp_path, sky, 6, [surface("tee")], wanted=sowing(sky, "tee"))
    for number in (0, 1, 2):
        found.is_not_steady("oversowing", "tee", number, range(8, 18), "night|rot|damp")


def test_cooler_nights_do_not_rot_seedlings(tmp_path):
    # Under about 17 C the nights are no reason any more. Common practice, no source.
    sky = Sky(NORTH["timezone"], date(2026, 8, 25), 13, 23).lay("soil_temp_6cm_c", 19.0)
    found = ask(tmp_path, sky, 6, [surface("tee")], wanted=sowing(sky, "tee"))
    found.holds_within("oversowing", "tee", 0, range(9, 15))
    assert "rot" not in found.why("oversowing", "tee", 0, 11)


def test_nobody_sows_by_hand_in_the_dark(tmp_path):
    # The sun sets near 18:20 there on 13 October; who sows later sees neither the seed nor the gaps. Common
    # practice, no source.
    sky = Sky(NORTH["timezone"], date(2026, 10, 13), 10, 17).lay("soil_temp_6cm_c", 15.0)
    found = ask(tmp_path, sky, 6, [surface("tee")], wanted=sowing(sky, "tee"))
    found.fails("oversowing", "tee", 0, range(18, 20), "dark")
    assert "dark" not in found.why("oversowing", "tee", 0, 15)


@pytest.mark.parametrize(
    ("place", "day"), [(SOUTH, date(2026, 9, 15)), (INLAND, date(2026, 4, 28))], ids=["south", "inland"]
)
@pytest.mark.parametrize("share", [1.0, 1.1])
def test_soaked_ground_is_not_sown_until_it_has_drained(tmp_path, place, day, share):
    # Seed puddles and feet pug it. Common practice, no source; the trade says the same of feed.
    sky = Sky(place["timezone"], day, 9, 18).lay("soil_temp_6cm_c", 14.0)
    sky.rain(-1, 17, *[2.6 * share] * 13)
    bank = surface("surround", soil="clay_loam", slope_pct=4)
    found = ask(tmp_path, sky, 7, [bank], place=place, wanted=sowing(sky, "surround"))
    assert found.day("surround", 0).storage_pct_fc > 112
    for number in (0, 1):
        found.fails("oversowing", "surround", number, range(8, 17), "soaked|wet|field capacity")
    # Rain still to come is not all that counts; nor is the ground closed for ever.
    assert {3, 4, 5} & set(found.days_offered("oversowing", "surround"))


@pytest.mark.parametrize("age", [8, 12])
def test_a_granular_feed_stays_off_seedlings(tmp_path, age):
    # Starter went down at sowing; the next about four weeks after it is up (extension pages). A dry leaf
    # is no leave.
    sky = Sky(NORTH["timezone"], date(2026, 9, 15), 9, 18, before=9).lay("soil_temp_6cm_c", 15.0)
    for night in range(-8, 9):
        sky.rain(night, 2, 1.0)
    found = ask(
        tmp_path,
        sky,
        7,
        [surface("apron", grass="fescue", slope_pct=7)],
        wanted=[{"job": "granular_feed", "surface": "apron", "by": by(sky, 6)}],
        sown=[{"surface": "apron", "at": by(sky, -age)}],
    )
    found.never("granular_feed", "apron", days=range(9))
    found.fails("granular_feed", "apron", 0, range(11, 17), "seed|sow")


@pytest.mark.parametrize("hot", [32.0, 34.5])
def test_seed_that_dries_is_warned_of_from_now_on(tmp_path, hot):
    # Two or three light waterings a day keep it alive (extension pages on establishing turf).
    sky = Sky(NORTH["timezone"], date(2026, 6, 16), 10, 18).quiet(16, hot, range(-2, 3))
    sky.moist(60, 30, range(-2, 3)).lay("cloud_pct", 5.0, range(-2, 3))
    found = ask(tmp_path, sky, 7, [surface("apron")], sown=[{"surface": "apron", "at": by(sky, -6)}])
    drying = [row for row in found.warnings(surface="apron") if "seed" in row.kind and "wash" not in row.kind]
    assert len(drying) == 1, [row.kind for row in found.warnings()]
    warning = drying[0]
    assert found.now <= warning.begins <= sky.at(0, 10)
    assert warning.lead_h >= 0
    said = " ".join(warning.advice).lower()
    assert "light" in said
    assert "water" in said


BANK = surface("surround", slope_pct=12, slope_length_m=12)


@pytest.mark.parametrize("storm", [15.0, 16.5])
@pytest.mark.parametrize(
    ("place", "day"), [(NORTH, date(2026, 5, 12)), (SOUTH, date(2026, 11, 10))], ids=SIDES
)
def test_storms_every_other_day_leave_no_hour_for_seed_on_a_bank(tmp_path, place, day, storm):
    # Seed that will wash away is nothing to weigh: no least bad hour either. Common practice, no source.
    sky = Sky(place["timezone"], day, 9, 18, after=8)
    for evening in (0, 2, 4, 6, 8):
        sky.rain(evening, 17, storm)
    found = ask(tmp_path, sky, 6, [BANK], place=place, wanted=sowing(sky, "surround"))
    found.never("oversowing", "surround", "wash|rain|downpour")
    row = found.barred("oversowing", "surround")
    assert row.next_window is None
    assert not (row.if_it_cannot_wait and row.if_it_cannot_wait.hours)
    found.fails("oversowing", "surround", 1, range(8, 15), "wash|rain|downpour")
    assert found.explain("oversowing", "surround", 1, 10).would_have_to_change


def test_soaked_and_frozen_ground_have_no_least_bad_hour_for_seed(tmp_path):
    # Harm is not weighed against haste. Common practice, no source.
    sky = Sky(NORTH["timezone"], date(2026, 3, 3), -3, 4).lay("soil_temp_6cm_c", -0.5)
    found = ask(tmp_path, sky, 6, [surface("apron")])
    row = found.barred("oversowing", "apron")
    assert not (row.if_it_cannot_wait and row.if_it_cannot_wait.hours)


def test_an_age_is_counted_from_the_sowing_and_not_from_the_asking(tmp_path):
    # Five weeks after emergence the feed is open again. Common practice, no source (about four weeks
    # after it is up).
    sky = Sky(NORTH["timezone"], date(2026, 9, 15), 9, 18).lay("soil_temp_6cm_c", 15.0).rain(0, 20, 2, 2, 2)
    day = by(sky, 0) - timedelta(days=52)
    found = ask(
        tmp_path,
        sky,
        7,
        [surface("apron", grass="fescue")],
        wanted=[{"job": "granular_feed", "surface": "apron", "by": by(sky, 6)}],
        sown=[{"surface": "apron", "at": day}],
    )
    found.holds_within("granular_feed", "apron", 0, range(10, 17))
