"""Cases that once went wrong and were mended by rule. Common practice, no source, unless a check names one."""

from __future__ import annotations

from datetime import date, timedelta
from itertools import pairwise

import pytest

from tests.casebook.answers import ask
from tests.casebook.far_places import FJORD, GULF, HILLS, PRAIRIE, ROCK, SOUTHERN_ALPS, under
from tests.casebook.sites import SHED, SOUTH, done, surface, told, want

DEEP = GREEN = surface("green", root_depth_m=0.4)
BANK = surface("surround", "bank", root_depth_m=0.4)
GROWS = {"growth.green": {"full_growth_mm_d": 1.2}}


def test_seed_is_not_sown_a_few_days_before_a_frost(tmp_path):
    # Seedlings out of the ground die of it. Common practice, no source.
    sky = under(SOUTHERN_ALPS, date(2026, 10, 13), 8, 18, after=16).lay("soil_temp_6cm_c", 13.5)
    sky.clear_calm_night(5).air({0: 2.0, 3: 0.4, 6: 0.2, 8: 6.0}, 5)
    found = ask(
        tmp_path,
        sky,
        6,
        [surface("tee")],
        place=SOUTHERN_ALPS,
        wanted=want(sky, "oversowing", "tee", 9),
    )
    assert found.day("tee", 5).surface_min_c < -1
    for number in (0, 2, 4):
        found.fails("oversowing", "tee", number, range(9, 16), "frost|turf|cold")
    found.holds_within("oversowing", "tee", 6, range(9, 16))


def test_a_feed_wanted_again_after_ten_days_is_placed_or_named(tmp_path):
    # A light feed every seven to fourteen days; the last one is not the one that is wanted. Common practice, no source.
    sky = under(SOUTH, date(2026, 10, 12), 10, 19).ground(0.18)
    found = ask(
        tmp_path,
        sky,
        6,
        [DEEP],
        place=SOUTH,
        wanted=want(sky, "foliar_feed", "green", 3),
        done=[done(sky, "foliar_feed", "green", -10)],
    )
    assert found.work("foliar_feed") or found.left("foliar_feed")


def test_leaf_sprays_are_not_placed_on_one_leaf_within_a_day(tmp_path):
    # One after the other, the one that is due first in front. Common practice, no source.
    sky = under(HILLS, date(2026, 4, 14), 11, 21).ground(0.18)
    wanted = want(sky, "growth_regulator", "green", 2) + want(sky, "fungicide", "green", 4)
    wanted += want(sky, "foliar_feed", "green", 6)
    found = ask(tmp_path, sky, 6, [surface("green", root_depth_m=0.4)], place=HILLS, wanted=wanted)
    rows = sorted((row for row in found.work() if row.kind == "spraying"), key=lambda row: row.start)
    assert len(rows) == 3, [(row.job, row.start) for row in rows] + [found.week.left]
    assert rows[0].job == "growth_regulator"
    for one, other in pairwise(rows):
        assert other.start - one.end >= timedelta(hours=22), (one.job, other.job)


def test_a_bank_dressed_with_seed_is_not_mown_the_same_week(tmp_path):
    # Seedlings pull out; ten to twenty-one days. Common practice, no source.
    sky = (
        under(FJORD, date(2026, 8, 24), 12, 20).lay("soil_temp_6cm_c", 16.0).ground(0.2).rain(0, 19, 1.5, 1.5)
    )
    found = ask(
        tmp_path,
        sky,
        6,
        [BANK],
        place=FJORD,
        wanted=[
            *want(sky, "oversowing", "bank", 3),
            {"job": "mow_surrounds", "surface": "bank", "every_days": 5},
        ],
        done=[done(sky, "mow_surrounds", "bank", -4)],
    )
    sowing = found.work("oversowing")
    assert len(sowing) == 1, found.left("oversowing")
    assert all(row.end <= sowing[0].start for row in found.work("mow_surrounds"))
    assert timedelta(0) <= sowing[0].start - found.now


def test_a_job_wanted_on_a_surface_where_it_is_not_usual_is_not_lost(tmp_path):
    # A keeper may feed the leaf of a tee; a wish is done, named, or refused.
    sky = under(PRAIRIE, date(2026, 5, 12), 11, 20).ground(0.2)
    tee = surface("tee", root_depth_m=0.4)
    found = ask(tmp_path, sky, 6, [tee], place=PRAIRIE, wanted=want(sky, "foliar_feed", "tee"))
    assert found.work("foliar_feed") or found.left("foliar_feed")


def test_one_tank_before_two_days_away_and_the_third_spray_after_them(tmp_path):
    # A jar test before two are mixed (labels); nothing while the keeper is away.
    sky = under(GULF, date(2026, 10, 12), 10, 19, before=16).ground(0.18)
    for night in range(-15, 0, 3):
        sky.rain(night, 22, 4.0, 4.0)
    found = ask(
        tmp_path,
        sky,
        6,
        [GREEN],
        place=GULF,
        materials=SHED,
        tables=GROWS,
        away=[{"start": told(sky, 1, 0), "end": told(sky, 3, 0), "why": "a wedding"}],
        wanted=[
            {
                "job": "growth_regulator",
                "surface": "green",
                "by": told(sky, 1, 18),
                "material": "regulator in the shed",
            },
            {
                "job": "foliar_feed",
                "surface": "green",
                "by": told(sky, 1, 18),
                "material": "leaf feed in the shed",
            },
            {"job": "fungicide", "surface": "green", "by": told(sky, 5, 18)},
        ],
        done=[done(sky, "foliar_feed", "green", -12)],
    )
    sprays = {row.job: row for row in found.work() if row.kind == "spraying"}
    assert "fungicide" in sprays, found.left("fungicide")
    assert sprays["fungicide"].start >= sky.at(3, 0)
    tank = [row for row in found.work() if "jar" in str(row).lower()]
    assert tank, [(row.job, row.start) for row in found.work()]
    assert tank[0].start.date() == sky.at(0, 0).date()
    assert not [row for row in found.work() if sky.at(1, 0) <= row.start < sky.at(3, 0)]


def test_a_roller_stays_off_seed_of_five_days(tmp_path):
    # Pressed in on the day, then not for ten days. Common practice, no source.
    sky = under(PRAIRIE, date(2026, 5, 12), 12, 21).lay("soil_temp_6cm_c", 15.0).ground(0.17)
    found = ask(
        tmp_path, sky, 6, [GREEN], place=PRAIRIE, sown=[{"surface": "green", "at": told(sky, -5, 10)}]
    )
    found.fails("rolling", "green", 0, range(9, 16), "seed|sow")


@pytest.mark.parametrize("every", [2, 3])
@pytest.mark.parametrize("job", ["systemic_herbicide", "oversowing"])
def test_repeated_cuts_do_not_crowd_out_what_is_wanted_once(tmp_path, job, every):
    # The cut is moved, not the weedkiller or the seed given up. Common practice, no source.
    sky = under(ROCK, date(2026, 6, 15), 12, 20).ground(0.2)
    found = ask(
        tmp_path,
        sky,
        9,
        [BANK],
        place=ROCK,
        tables={"growth.bank": {"full_growth_mm_d": 4.0}},
        wanted=[*want(sky, job, "bank", 5), {"job": "mow_surrounds", "surface": "bank", "every_days": every}],
        done=[done(sky, "mow_surrounds", "bank", 0, 8)],
    )
    assert len(found.work(job)) == 1, found.left(job)
