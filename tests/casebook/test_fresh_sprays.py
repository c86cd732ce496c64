"""Sprays: cases made up afresh, without a look at the limits they are judged by.

Labels come before all of it. Sources stand beside the checks; where none does, it is common practice, no source.
"""

from __future__ import annotations

from datetime import date

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
from tests.casebook.sites import NORTH, SOUTH, surface, told, want


def edge(name, bearing, kind, distance=15):
    return {"name": name, "bearing_deg": bearing, "distance_m": distance, "kind": kind}


def test_a_storm_every_afternoon_leaves_a_feed_of_the_leaf_no_hour(tmp_path):
    # What lies on the leaf runs off with 18 mm in an hour the same day. Labels; figure judgement.
    sky = under(TROPIC, date(2026, 12, 8), 24, 31).moist(94, 66)
    for number in range(10):
        sky.rain(number, 16, 18.0)
    green = surface("green", grass="couch")
    found = ask(tmp_path, sky, 6, [green], place=TROPIC, wanted=want(sky, "foliar_feed", "green"))
    found.never("foliar_feed", "green", "rain|storm|hot|air temp")
    row = found.barred("foliar_feed", "green")
    assert not (row.if_it_cannot_wait and row.if_it_cannot_wait.hours)


def test_in_the_desert_a_spray_belongs_to_the_first_hours(tmp_path):
    # Delta T above 10 avoid (Australian weather bureau, second-hand); heat leaves salt on the leaf.
    sky = under(DESERT, date(2026, 5, 19), 18, 34).moist(70, 18).rain(-1, 2, 6, 6)
    green = surface("green", grass="couch", root_depth_m=0.4)
    found = ask(tmp_path, sky, 5, [green], place=DESERT, wanted=want(sky, "foliar_feed", "green"))
    found.holds_within("foliar_feed", "green", 0, [6, 7])
    found.fails("foliar_feed", "green", 0, range(11, 17), "Delta T|hot|air temp")


@pytest.mark.parametrize(("first", "second"), [(190.0, 10.0), (175.0, 350.0)])
def test_the_playground_downwind_puts_the_next_day_first(tmp_path, first, second):
    # Steady, and away from what is sensitive (Waikato Regional Plan 6.2.9).
    sky = under(HILLS, date(2026, 10, 20), 13, 23).lay("wind_dir_deg", first).lay("wind_dir_deg", second, 1)
    tee = surface("tee", edges=[edge("playground", 0, "people", 25)], root_depth_m=0.4)
    found = ask(tmp_path, sky, 6, [tee], place=HILLS, wanted=want(sky, "systemic_herbicide", "tee"))
    found.is_not_steady("systemic_herbicide", "tee", 0, range(9, 15), "playground")
    found.holds_within("systemic_herbicide", "tee", 1, range(9, 15))
    best = found.windows("systemic_herbicide", "tee")[0]
    assert best.best_start.date() == sky.at(1, 0).date()


def test_a_pond_across_the_wind_is_no_reason(tmp_path):
    # A pond a quarter turn off the wind is not downwind. Judgement: within 45 to 60 degrees counts.
    sky = under(CAPE, date(2026, 11, 10), 12, 21).lay("wind_dir_deg", 270.0)
    tee = surface("tee", edges=[edge("dam", 350, "water", 10)], root_depth_m=0.4)
    found = ask(tmp_path, sky, 6, [tee], place=CAPE, wanted=want(sky, "contact_herbicide", "tee"))
    found.holds_within("contact_herbicide", "tee", 0, range(8, 16))
    assert "dam" not in found.why("contact_herbicide", "tee", 0, 11)


def test_between_a_pond_and_hives_only_a_wind_along_them_will_do(tmp_path):
    # Away from what is sensitive, on both sides (Waikato Regional Plan 6.2.9; NC State pollinator practices).
    sky = under(ROCK, date(2026, 7, 14), 12, 21)
    sky.lay("wind_dir_deg", 270.0, 0).lay("wind_dir_deg", 90.0, 1).lay("wind_dir_deg", 0.0, range(2, 10))
    edges = [edge("mill pond", 90, "water"), edge("hives of the chapel", 270, "bees")]
    rough = surface("rough", edges=edges, root_depth_m=0.4)
    found = ask(tmp_path, sky, 5, [rough], place=ROCK, wanted=want(sky, "contact_herbicide", "rough"))
    found.is_not_steady("contact_herbicide", "rough", 0, range(9, 16), "mill pond")
    found.is_not_steady("contact_herbicide", "rough", 1, range(9, 16), "hives of the chapel")
    found.holds_within("contact_herbicide", "rough", 2, range(9, 16))
    assert found.windows("contact_herbicide", "rough")[0].best_start.date() >= sky.at(2, 0).date()


def test_where_one_calm_day_is_left_only_one_of_two_sprays_goes_out(tmp_path):
    # No two tanks on one leaf within a day unless the labels allow them together. Common practice, no source.
    sky = under(GULF, date(2026, 9, 22), 10, 19).wind(23.0, range(1, 10)).gust(42.0, range(1, 10))
    wanted = want(sky, "fungicide", "green", 1) + want(sky, "foliar_feed", "green", 6)
    found = ask(tmp_path, sky, 6, [surface("green")], place=GULF, wanted=wanted)
    rows = [row for row in found.work() if row.job in ("fungicide", "foliar_feed")]
    assert [row.job for row in rows] == ["fungicide"], [(row.job, row.start) for row in rows]
    assert found.left("foliar_feed")


def test_a_fungicide_goes_out_before_the_wet_spell_and_not_after(tmp_path):
    # A protectant wants a dry clean leaf and time to set. Common practice, no source.
    sky = under(PRAIRIE, date(2026, 6, 9), 14, 23)
    for number in (2, 3, 4):
        sky.rain(number, 8, *[1.0] * 8)
    found = ask(
        tmp_path, sky, 6, [surface("green")], place=PRAIRIE, wanted=want(sky, "fungicide", "green", 6)
    )
    days = found.work_days("fungicide", "green")
    assert len(days) == 1, found.left("fungicide")
    assert days[0] in (0, 1)


def test_a_likely_shower_at_noon_still_leaves_the_early_start(tmp_path):
    # Four dry hours are taken up by then (Stiegler, Richardson & Karcher 2011); chance: judgement.
    sky = under(FJORD, date(2026, 6, 16), 10, 19).lay("rain_chance_pct", 65.0, 0, range(13, 20))
    found = ask(tmp_path, sky, 5, [surface("green")], place=FJORD, wanted=want(sky, "foliar_feed", "green"))
    found.holds_within("foliar_feed", "green", 0, [7, 8])
    found.is_not_steady("foliar_feed", "green", 0, range(10, 16), "chance of rain")


def test_a_contact_herbicide_wants_light(tmp_path):
    # Light drives what blocks photosynthesis (Iowa State weed scientist); there is none in December.
    sky = under(NORTH, date(2026, 12, 8), 9, 12.5).lay("cloud_pct", 100.0)
    found = ask(tmp_path, sky, 6, [surface("tee")], wanted=want(sky, "contact_herbicide", "tee"))
    found.fails("contact_herbicide", "tee", 0, range(9, 15), "sun|light|grow")


def test_days_in_cloud_leave_no_spray_an_hour(tmp_path):
    # Above 90 to 95 % of humidity avoid; drops live long under 2 K of Delta T (weather bureau, second-hand).
    sky = under(SOUTHERN_ALPS, date(2026, 4, 14), 11, 15).moist(99, 96).lay("cloud_pct", 100.0)
    jobs = ("foliar_feed", "fungicide")
    wanted = [row for job in jobs for row in want(sky, job, "green")]
    found = ask(tmp_path, sky, 6, [surface("green")], place=SOUTHERN_ALPS, wanted=wanted)
    for job in jobs:
        found.never(job, "green", "humid|Delta T|wet")
        row = found.barred(job, "green")
        assert not (row.if_it_cannot_wait and row.if_it_cannot_wait.hours)
        assert job not in {one.job for one in found.work()}


def test_a_regulator_waits_for_its_degree_days(tmp_path):
    # 200 degree days above 0 C from one to the next (Kreuser & Soldat 2009).
    sky = under(SOUTH, date(2026, 11, 10), 9, 21, before=8).ground(0.18)
    found = ask(
        tmp_path,
        sky,
        6,
        [surface("green", root_depth_m=0.4)],
        place=SOUTH,
        wanted=[{"job": "growth_regulator", "surface": "green", "every_degree_days": 200}],
        done=[{"job": "growth_regulator", "surface": "green", "at": told(sky, -6, 10)}],
    )
    found.fails("growth_regulator", "green", 0, range(9, 15), "degree days")
    found.fails("growth_regulator", "green", 2, range(9, 15), "degree days")
    found.holds_within("growth_regulator", "green", 8, range(8, 16))
    assert all(number >= 5 for number in found.work_days("growth_regulator"))


def test_a_regulator_is_not_given_to_grass_that_must_fill_in(tmp_path):
    # Two weeks before sowing is the last (Georgia pest handbook 2022).
    sky = under(PRAIRIE, date(2026, 8, 25), 13, 22)
    found = ask(
        tmp_path,
        sky,
        6,
        [surface("green")],
        place=PRAIRIE,
        wanted=want(sky, "growth_regulator", "green"),
        planned=[{"job": "oversowing", "surface": "green", "at": told(sky, 8, 10)}],
    )
    found.fails("growth_regulator", "green", 0, range(9, 16), "sow|seed")
    assert not found.work("growth_regulator")


def test_air_that_stands_still_carries_no_spray(tmp_path):
    # Under 3.2 km/h at the boom the drift goes where it will (UK drift note; Victorian table).
    sky = under(CAPE, date(2026, 5, 19), 10, 20).wind(1.5, 0).gust(4.0, 0)
    found = ask(tmp_path, sky, 6, [surface("green")], place=CAPE, wanted=want(sky, "foliar_feed", "green"))
    found.fails("foliar_feed", "green", 0, range(8, 17), "wind|still|calm")
    found.holds_within("foliar_feed", "green", 1, range(9, 15))


@pytest.mark.parametrize("by_the_water", [True, False])
def test_one_hard_hour_in_the_night_counts_more_beside_water(tmp_path, by_the_water):
    # Labels: not before rain that runs off; harder beside water. Figures: judgement.
    sky = under(FJORD, date(2026, 7, 7), 12, 20).rain(0, 22, 7.0)
    edges = [edge("tarn", 90, "water", 8)] if by_the_water else []
    tee = surface("tee", edges=edges, root_depth_m=0.4)
    sky.lay("wind_dir_deg", 90.0)
    found = ask(tmp_path, sky, 6, [tee], place=FJORD, wanted=want(sky, "contact_herbicide", "tee"))
    if by_the_water:
        found.fails("contact_herbicide", "tee", 0, range(9, 16), "rain|run")
    else:
        found.holds_within("contact_herbicide", "tee", 0, range(9, 16))
        assert found.state("contact_herbicide", "tee", 0, 10) == "narrow"
    found.holds_within("contact_herbicide", "tee", 2, range(9, 16))


def test_a_wet_night_of_twenty_six_millimetres_takes_a_fungicide_off_a_flat_green(tmp_path):
    # No hour above 4 mm and no slope; the sum within a day is too much. Labels; figure judgement.
    sky = under(SOUTH, date(2026, 10, 20), 10, 18).rain(0, 19, *[3.7] * 7)
    found = ask(tmp_path, sky, 6, [surface("green")], place=SOUTH, wanted=want(sky, "fungicide", "green"))
    found.fails("fungicide", "green", 0, range(8, 15), "rain")
    found.holds_within("fungicide", "green", 2, range(8, 15))


def test_one_wind_bars_a_spray_and_seed_but_no_mower(tmp_path):
    # A mean wind alone does not open a spray: gusts of 44 km/h. Common practice, no source.
    sky = under(ROCK, date(2026, 6, 9), 11, 19).wind(9.0).gust(44.0)
    found = ask(
        tmp_path,
        sky,
        6,
        [surface("green", root_depth_m=0.4)],
        place=ROCK,
        tables={"growth.green": {"full_growth_mm_d": 1.2}},
        done=[{"job": "mow_green", "surface": "green", "at": told(sky, -1, 8)}],
    )
    found.fails("foliar_feed", "green", 0, range(8, 18), "gust")
    found.fails("fungicide", "green", 0, range(8, 18), "gust")
    found.holds_within("mow_green", "green", 0, range(8, 11))


def test_sprays_a_day_apart_are_counted_in_hours_and_not_by_the_clock(tmp_path):
    # A clock put forward in the night leaves 23 hours between noon and noon. Elapsed hours count.
    sky = under(SOUTH, date(2026, 10, 3), 10, 19)
    found = ask(
        tmp_path,
        sky,
        18,
        [surface("green")],
        place=SOUTH,
        wanted=want(sky, "foliar_feed", "green"),
        done=[{"job": "fungicide", "surface": "green", "at": told(sky, 0, 12)}],
    )
    early = found.explain("foliar_feed", "green", 1, 12, 30)
    assert early.state == "barred", early.limiting.says
    found.holds_within("foliar_feed", "green", 1, [14, 15])


def test_a_spray_beyond_the_last_read_humidity_is_not_known(tmp_path):
    # What nobody knows is neither open nor closed. Common practice, no source.
    sky = under(NORTH, date(2026, 5, 12), 9, 18).lay("rel_humidity_pct", float("nan"), range(2, 10))
    found = ask(tmp_path, sky, 6, [surface("green")], wanted=want(sky, "foliar_feed", "green"))
    found.holds_within("foliar_feed", "green", 0, range(8, 14))
    for hour in (9, 11, 13):
        assert found.state("foliar_feed", "green", 3, hour) == "unread"
    assert not {2, 3, 4} & set(found.days_offered("foliar_feed", "green"))
