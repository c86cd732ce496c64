"""Orders of a week made up afresh: what comes first, what waits, what is given up, and that it is said.

How jobs follow each other is common practice, no source, unless a check names one.
"""

from __future__ import annotations

from datetime import date, time, timedelta
from itertools import pairwise

from tests.casebook.answers import ask
from tests.casebook.far_places import CAPE, FJORD, PRAIRIE, ROCK, SOUTHERN_ALPS, under
from tests.casebook.sites import done, surface, told

H = timedelta(hours=1)
GREEN = surface("green", root_depth_m=0.4)
BANK = surface("surround", "bank", root_depth_m=0.4)
GROWS = {"growth.green": {"full_growth_mm_d": 1.2}}


def test_a_weekend_of_play_is_prepared_and_left_alone(tmp_path):
    # Colour wants two to four days, the last sand lies a week back, a core three weeks.
    sky = under(CAPE, date(2026, 9, 21), 10, 19).ground(0.18)
    found = ask(
        tmp_path,
        sky,
        6,
        [GREEN],
        place=CAPE,
        tables=GROWS,
        play=[{"surface": "green", "at": told(sky, day, 14)} for day in (5, 6)],
        wanted=[
            {"job": "mow_green", "surface": "green", "every_days": 1},
            {"job": "foliar_feed", "surface": "green", "every_days": 10},
            *(
                {"job": job, "surface": "green", "by": told(sky, 6, 18)}
                for job in ("top_dressing", "hollow_coring", "scarifying")
            ),
        ],
        done=[done(sky, "mow_green", "green", -1), done(sky, "foliar_feed", "green", -9)],
    )
    assert set(found.work_days("foliar_feed")) <= {1, 2, 3}
    assert found.work("foliar_feed"), found.left("foliar_feed")
    assert all(number <= 1 or number > 6 for number in found.work_days("top_dressing"))
    for job in ("hollow_coring", "scarifying"):
        assert not {0, 1, 2, 3, 4, 5, 6} & set(found.work_days(job))
        assert "play" in found.left(job).lower() or found.work(job), found.left(job)
    for day in (5, 6):
        cuts = [row for row in found.work("mow_green") if row.start.date() == sky.at(day, 0).date()]
        assert cuts, found.left("mow_green")
        assert cuts[0].end <= sky.at(day, 14)


def test_the_cut_of_the_bank_makes_room_for_its_herbicide(tmp_path):
    # Two to three days uncut before and after a systemic herbicide (Clemson Extension).
    sky = under(ROCK, date(2026, 6, 15), 12, 20).ground(0.2)
    for number in (4, 5, 6):
        sky.rain(number, 7, *[0.8] * 12)
    found = ask(
        tmp_path,
        sky,
        9,
        [BANK],
        place=ROCK,
        wanted=[
            {"job": "systemic_herbicide", "surface": "bank", "by": told(sky, 5, 18)},
            {"job": "mow_surrounds", "surface": "bank", "every_days": 4},
        ],
        done=[done(sky, "mow_surrounds", "bank", 0, 8)],
    )
    sprays, cuts = found.work("systemic_herbicide"), found.work("mow_surrounds")
    assert len(sprays) == 1, found.left("systemic_herbicide")
    assert sprays[0].start.date() in (sky.at(2, 0).date(), sky.at(3, 0).date())
    for cut in cuts:
        assert cut.start < sprays[0].start or cut.start - sprays[0].end >= 48 * H
        assert not timedelta(0) < sprays[0].start - cut.start < 48 * H


def test_cores_come_before_the_sand_that_fills_them(tmp_path):
    # Sand goes into the holes; no cut for two days after. Common practice, no source.
    sky = under(PRAIRIE, date(2026, 5, 18), 14, 23, after=16).ground(0.17)
    found = ask(
        tmp_path,
        sky,
        6,
        [GREEN],
        place=PRAIRIE,
        tables=GROWS,
        wanted=[
            *(
                {"job": job, "surface": "green", "by": told(sky, 5, 18)}
                for job in ("hollow_coring", "top_dressing")
            ),
            {"job": "mow_green", "surface": "green", "every_days": 2},
        ],
        done=[done(sky, "mow_green", "green", -2)],
    )
    cores, sand = found.work("hollow_coring"), found.work("top_dressing")
    assert len(cores) == 1, found.left("hollow_coring")
    assert len(sand) == 1, found.left("top_dressing")
    assert cores[0].end <= sand[0].start
    assert not [row for row in found.work("mow_green") if timedelta(0) <= row.start - cores[0].end < 48 * H]


def test_a_keeper_of_saturdays_gets_one_forenoon_in_its_order(tmp_path):
    # Cut first, roll before the leaf is wet with feed. Common practice, no source.
    sky = under(SOUTHERN_ALPS, date(2026, 11, 12), 10, 19).ground(0.18)
    found = ask(
        tmp_path,
        sky,
        20,
        [GREEN],
        place=SOUTHERN_ALPS,
        hours={"sat": ["08:00", "12:30"]},
        tables=GROWS,
        wanted=[
            {"job": "mow_green", "surface": "green", "every_days": 7},
            {"job": "rolling", "surface": "green", "every_days": 7},
            {"job": "foliar_feed", "surface": "green", "every_days": 14},
        ],
        done=[
            done(sky, "mow_green", "green", -5),
            done(sky, "rolling", "green", -5, 10),
            done(sky, "foliar_feed", "green", -12),
        ],
    )
    for row in found.work():
        assert row.start.astimezone(sky.zone).weekday() == 5
        assert time(8) <= row.start.astimezone(sky.zone).time()
        assert row.end.astimezone(sky.zone).time() <= time(12, 30)
    saturday = sky.at(2, 0).date()
    cut, roll, feed = (
        next((row for row in found.work(job) if row.start.date() == saturday), None)
        for job in ("mow_green", "rolling", "foliar_feed")
    )
    assert cut, found.left("mow_green")
    assert roll, found.left("rolling")
    assert feed, found.left("foliar_feed")
    assert cut.end <= roll.start
    assert roll.end <= feed.start
    assert feed.start - cut.end >= 0.5 * H


def test_a_tee_cut_every_third_day_steps_over_the_soaked_one(tmp_path):
    # Wet loam scalps and ruts. Common practice, no source.
    sky = under(FJORD, date(2026, 6, 8), 11, 19)
    sky.rain(3, 2, *[4.0] * 8)
    found = ask(
        tmp_path,
        sky,
        6,
        [surface("tee")],
        place=FJORD,
        tables={"growth.tee": {"full_growth_mm_d": 4.0}},
        wanted=[{"job": "mow_tee", "surface": "tee", "every_days": 3}],
        done=[done(sky, "mow_tee", "tee", -3)],
    )
    days = found.work_days("mow_tee")
    assert days, found.left("mow_tee")
    assert {0, 1} & set(days)
    assert 3 not in days
    assert {4, 5, 6} & set(days), found.left("mow_tee")
    assert all(later - sooner >= 2 for sooner, later in pairwise(days))


def test_seed_and_weedkiller_for_one_bank_exclude_each_other(tmp_path):
    # Four weeks and more from a systemic herbicide to seed (labels), three to four cuts from seed to it.
    sky = under(PRAIRIE, date(2026, 9, 1), 12, 21).lay("soil_temp_6cm_c", 17.0).ground(0.2)
    found = ask(
        tmp_path,
        sky,
        6,
        [BANK],
        place=PRAIRIE,
        wanted=[
            {"job": job, "surface": "bank", "by": told(sky, 5, 18)}
            for job in ("systemic_herbicide", "oversowing")
        ],
        done=[done(sky, "mow_surrounds", "bank", -4)],
    )
    placed = [job for job in ("systemic_herbicide", "oversowing") if found.work(job)]
    assert len(placed) == 1, placed
    (other,) = {"systemic_herbicide", "oversowing"} - set(placed)
    assert found.left(other)


def test_three_cuts_a_week_are_three_rows_spread_over_it(tmp_path):
    # As the keeper wants it.
    sky = under(CAPE, date(2026, 10, 5), 10, 19).ground(0.18)
    found = ask(
        tmp_path,
        sky,
        6,
        [GREEN],
        place=CAPE,
        tables=GROWS,
        wanted=[{"job": "mow_green", "surface": "green", "times_a_week": 3}],
        done=[done(sky, "mow_green", "green", -2)],
    )
    days = [day for day in found.work_days("mow_green") if day < 7]
    assert len(days) == 3, (days, found.left("mow_green"))
    assert all(later - sooner >= 2 for sooner, later in pairwise(days)), days
