"""Feed, water, heat, seed in the way, what the keeper wishes, and tight weeks: a second round of fresh cases.

Sources stand beside the checks; where none does, it is common practice, no source.
"""

from __future__ import annotations

from datetime import date, time, timedelta
from itertools import pairwise

import pytest

from tests.casebook.answers import ask
from tests.casebook.far_places import (
    CAPE,
    DESERT,
    FJORD,
    GULF,
    HILLS,
    PRAIRIE,
    ROCK,
    SOUTHERN_ALPS,
    TROPIC,
    under,
)
from tests.casebook.sites import NORTH, SHED, SOUTH, done, surface, told, want

DEEP = surface("green", root_depth_m=0.4)
GROWS = {"growth.green": {"full_growth_mm_d": 1.2}}


def test_gentle_rain_is_the_day_for_granules_and_a_downpour_is_not(tmp_path):
    # Before gentle rain, never before a downpour (a village's rule: not when heavy rain is likely). Common practice.
    sky = under(CAPE, date(2026, 9, 15), 10, 18).rain(1, 16, 1.5, 1.5, 1.5, 1.5).rain(3, 16, 12, 9, 6)
    found = ask(tmp_path, sky, 6, [surface("tee")], place=CAPE, wanted=want(sky, "granular_feed", "tee"))
    found.holds_within("granular_feed", "tee", 1, range(9, 15))
    found.fails("granular_feed", "tee", 3, range(9, 16), "rain|carried|downpour")
    first = found.windows("granular_feed", "tee")[0]
    assert first.best_start.date() in (sky.at(0, 0).date(), sky.at(1, 0).date())


def test_granules_stay_off_a_wet_leaf(tmp_path):
    # They stick and scorch. Common practice, no source.
    sky = under(FJORD, date(2026, 6, 9), 8, 18).rain(0, 5, 0.8, 0.8).moist(97, 60, [0])
    found = ask(tmp_path, sky, 6, [surface("tee")], place=FJORD, wanted=want(sky, "granular_feed", "tee"))
    found.fails("granular_feed", "tee", 0, [6, 7], "leaf|wet|rain")
    found.holds_within("granular_feed", "tee", 0, range(11, 17))


def test_granules_are_not_spread_on_soaked_clay(tmp_path):
    # Never on frozen or soaked soil (a Minnesota city page).
    sky = under(ROCK, date(2026, 5, 12), 8, 16).rain(-1, 15, *[3.0] * 14)
    found = ask(
        tmp_path,
        sky,
        7,
        [surface("surround", soil="clay")],
        place=ROCK,
        wanted=want(sky, "granular_feed", "surround"),
    )
    found.fails("granular_feed", "surround", 0, range(9, 17), "soaked|wet|field capacity|soft")


def test_a_systemic_does_not_go_onto_turf_in_drought(tmp_path):
    # Weeds under drought take little up (Clemson Extension).
    sky = under(GULF, date(2026, 2, 17), 14, 27, before=14).moist(70, 40)
    found = ask(
        tmp_path,
        sky,
        6,
        [surface("surround")],
        place=GULF,
        wanted=want(sky, "systemic_herbicide", "surround"),
    )
    found.is_not_steady("systemic_herbicide", "surround", 0, range(7, 12), "dry|drought|water used")


def test_seedlings_have_no_skin_for_a_herbicide(tmp_path):
    # Three or four cuts after it is up (Clemson Extension).
    sky = under(SOUTHERN_ALPS, date(2026, 11, 10), 11, 20)
    found = ask(
        tmp_path,
        sky,
        6,
        [surface("tee", root_depth_m=0.4)],
        place=SOUTHERN_ALPS,
        wanted=want(sky, "systemic_herbicide", "tee"),
        sown=[{"surface": "tee", "at": told(sky, -18, 10)}],
    )
    found.never("systemic_herbicide", "tee", "seed|sow|cuts")


@pytest.mark.parametrize("job", ["foliar_feed", "fungicide", "systemic_herbicide"])
def test_noon_of_thirty_three_degrees_is_no_time_for_a_spray(tmp_path, job):
    # Not above 32 C (Clemson Extension); 28 C drop and evaporation advice (second-hand).
    sky = under(PRAIRIE, date(2026, 7, 14), 18, 33).rain(-1, 3, 6, 6)
    found = ask(tmp_path, sky, 5, [DEEP, surface("tee", root_depth_m=0.4)], place=PRAIRIE)
    on = "tee" if job == "systemic_herbicide" else "green"
    found.fails(job, on, 0, range(12, 17), "hot|heat|air temp|Delta T")


def test_a_hand_gives_water_at_dawn_and_not_at_dusk(tmp_path):
    # Morning water (a review article of 2018); a leaf wet all night is a sick leaf. Common practice, no source.
    sky = under(DESERT, date(2026, 4, 21), 14, 29, before=6).moist(60, 20)
    found = ask(tmp_path, sky, 5, [surface("green")], place=DESERT)
    found.holds_within("hand_watering", "green", 0, range(5, 9))
    found.fails("hand_watering", "green", 0, range(18, 23))


def test_rain_on_a_spray_that_is_not_yet_dry_is_warned_of(tmp_path):
    # Dry for six hours by the label of most systemics (Nebraska CropWatch 2016).
    sky = under(SOUTH, date(2026, 10, 20), 11, 20).rain(0, 13, 3.0, 3.0)
    found = ask(
        tmp_path,
        sky,
        11,
        [surface("tee", root_depth_m=0.4)],
        place=SOUTH,
        done=[done(sky, "systemic_herbicide", "tee", 0, 10)],
    )
    rain = [row for row in found.warnings(surface="tee") if "rain" in f"{row.kind} {row.says}".lower()]
    assert rain, [row.kind for row in found.warnings()]


def test_other_peoples_jobs_are_not_the_next(tmp_path):
    # The keeper's own list of jobs.
    sky = under(HILLS, date(2026, 4, 14), 11, 21).ground(0.18)
    found = ask(
        tmp_path,
        sky,
        6,
        [DEEP],
        place=HILLS,
        jobs=["mow_green", "rolling"],
        tables=GROWS,
        wanted=[{"job": "mow_green", "surface": "green", "every_days": 2}],
        done=[done(sky, "mow_green", "green", -2)],
    )
    assert {row.job for row in found.work()} <= {"mow_green", "rolling"}
    told_next = {key: value for key, value in found.now_object().items() if "next" in key}
    said = str({key: value for key, value in told_next.items() if not key.startswith("any_")}).lower()
    assert "foliar" not in said
    assert "fungicide" not in said


def test_work_is_not_placed_before_its_time(tmp_path):
    # The keeper's own word: not before Thursday noon.
    sky = under(ROCK, date(2026, 6, 15), 12, 20)
    found = ask(
        tmp_path,
        sky,
        6,
        [DEEP],
        place=ROCK,
        wanted=want(sky, "foliar_feed", "green", 6, not_before=told(sky, 3, 12)),
    )
    rows = found.work("foliar_feed")
    assert len(rows) == 1, found.left("foliar_feed")
    assert rows[0].start >= sky.at(3, 12)


def test_what_the_time_of_the_keeper_does_not_hold_is_named(tmp_path):
    # One pair of hands.
    sky = under(CAPE, date(2026, 10, 5), 10, 19).ground(0.18)
    names = ("mon", "wed", "fri")
    surfaces = [DEEP, surface("collar", root_depth_m=0.4), surface("tee", root_depth_m=0.4)]
    wanted = [
        *want(sky, "top_dressing", "green"),
        *want(sky, "foliar_feed", "green"),
        *want(sky, "granular_feed", "tee"),
        *want(sky, "scarifying", "green"),
        *want(sky, "root_fungicide", "collar"),
        {"job": "mow_green", "surface": "green", "every_days": 1},
        {"job": "mow_collar", "surface": "collar", "every_days": 3},
    ]
    found = ask(
        tmp_path,
        sky,
        6,
        surfaces,
        place=CAPE,
        tables=GROWS,
        hours={name: ["07:30", "09:00"] for name in names},
        wanted=wanted,
        done=[done(sky, "mow_green", "green", -1), done(sky, "mow_collar", "collar", -3)],
    )
    named = {(row.job, row.surface) for row in found.work()} | {
        (row.job, row.surface) for row in found.week.left
    }
    assert {(row["job"], row["surface"]) for row in wanted} <= named
    for one, other in pairwise(found.work()):
        assert one.end <= other.start, (one.job, other.job)
    for row in found.work():
        assert time(7, 30) <= row.start.astimezone(sky.zone).time()
        assert row.end.astimezone(sky.zone).time() <= time(9)


def test_a_keeper_away_all_week_is_told_so(tmp_path):
    # The keeper's own time.
    sky = under(GULF, date(2026, 10, 5), 10, 19).ground(0.18)
    found = ask(
        tmp_path,
        sky,
        6,
        [DEEP],
        place=GULF,
        away=[{"start": told(sky, 0, 6), "end": told(sky, 8, 0), "why": "abroad"}],
        wanted=want(sky, "foliar_feed", "green"),
    )
    assert not found.work()
    assert "away" in found.left("foliar_feed").lower() or "abroad" in found.left("foliar_feed").lower()


def test_a_wanted_cut_is_placed_though_the_last_was_only_days_ago(tmp_path):
    # The cut of the day before yesterday is not the one that is wanted. Common practice, no source.
    sky = under(PRAIRIE, date(2026, 6, 8), 13, 22).ground(0.18)
    found = ask(
        tmp_path,
        sky,
        6,
        [DEEP],
        place=PRAIRIE,
        tables=GROWS,
        wanted=want(sky, "mow_green", "green", 2),
        done=[done(sky, "mow_green", "green", -2)],
    )
    assert found.work("mow_green") or found.left("mow_green")


def test_a_tank_of_two_goes_out_in_the_hours_that_hold_for_both(tmp_path):
    # One tank in which the regulator's dry hours count as well as the feed's. Labels.
    sky = under(GULF, date(2026, 9, 28), 9, 19, before=16).ground(0.18).wind(22.0, range(1, 10))
    sky.gust(40.0, range(1, 10)).rain(0, 15, 2.0, 2.0)
    found = ask(
        tmp_path,
        sky,
        6,
        [DEEP],
        place=GULF,
        materials=SHED,
        wanted=want(sky, "foliar_feed", "green", 1, material="leaf feed in the shed")
        + want(sky, "growth_regulator", "green", 1, material="regulator in the shed"),
    )
    rows = [row for row in found.work() if row.kind == "spraying"]
    assert {row.job for row in rows} == {"foliar_feed", "growth_regulator"}, found.week.left
    assert len({row.start for row in rows}) == 1
    assert all(row.end + timedelta(hours=4) <= sky.at(0, 15, 5) for row in rows)
    assert "jar" in str(rows[0]).lower()


def test_couch_in_high_summer_takes_its_sand_and_its_cores(tmp_path):
    # Warm-season turf is cored and dressed when it grows most. Common practice, no source.
    sky = under(TROPIC, date(2026, 3, 10), 24, 31, after=15).moist(88, 60).rain(-1, 2, 5, 5)
    sky.wind(9.0, hours=range(8, 19))
    couch = surface("green", grass="couch", root_depth_m=0.4)
    wanted = want(sky, "top_dressing", "green") + want(sky, "hollow_coring", "green")
    found = ask(tmp_path, sky, 6, [couch], place=TROPIC, wanted=wanted)
    found.holds_within("top_dressing", "green", 0, range(10, 16))
    found.holds_within("hollow_coring", "green", 0, range(7, 16))


def test_a_clock_that_moves_by_half_an_hour_shifts_no_gap(tmp_path):
    # Lord Howe puts its clock by half an hour; a day between two sprays is twenty-four hours.
    place = {**SOUTH, "timezone": "Australia/Lord_Howe", "longitude_deg": 159.1, "latitude_deg": -31.5}
    sky = under(place, date(2026, 10, 3), 12, 19)
    found = ask(
        tmp_path,
        sky,
        18,
        [DEEP],
        place=place,
        wanted=want(sky, "foliar_feed", "green"),
        done=[done(sky, "fungicide", "green", 0, 12)],
    )
    assert found.explain("foliar_feed", "green", 1, 12, 0).state == "barred"
    found.holds_within("foliar_feed", "green", 1, [14, 15])


def test_the_far_north_in_december_has_no_light_for_a_spray(tmp_path):
    # The sun stands under seven degrees at noon there; growth is over. Common practice, no source.
    sky = under(FJORD, date(2026, 12, 8), 2, 6)
    found = ask(tmp_path, sky, 8, [surface("green")], place=FJORD, wanted=want(sky, "foliar_feed", "green"))
    found.never("foliar_feed", "green", "grow|cold|air temp|sun")


def test_a_fungicide_three_days_before_play_and_nothing_disruptive(tmp_path):
    # Fungicide three days or more before play. Common practice, no source.
    sky = under(NORTH, date(2026, 9, 7), 11, 19).ground(0.18)
    found = ask(
        tmp_path,
        sky,
        6,
        [DEEP],
        play=[{"surface": "green", "at": told(sky, 5, 13)}],
        wanted=want(sky, "fungicide", "green", 5) + want(sky, "growth_regulator", "green", 5),
    )
    assert all(number <= 2 for number in found.work_days("fungicide")), found.work_days("fungicide")
    assert found.work("fungicide"), found.left("fungicide")


def test_grass_on_loam_is_not_rolled_wet(tmp_path):
    # It presses the air out of wet loam. Common practice, no source.
    sky = under(SOUTHERN_ALPS, date(2026, 10, 6), 8, 16).rain(-1, 20, *[3.0] * 8)
    collar = surface("collar", soil="loam")
    found = ask(tmp_path, sky, 7, [collar], place=SOUTHERN_ALPS)
    found.fails("rolling", "collar", 0, range(8, 17), "wet|soft|field capacity|soak")
