"""Frost, cold and frozen ground.

Keep off the leaf until it has thawed (a golf association's explainer for its members); rollers and wheels harm on
days when the soil is below 0 C, morning and noon (Oregon State reports 2022-24). Feed goes on ground that is not
frozen (a Minnesota city page). The rest: common practice, no source.
"""

from __future__ import annotations

from datetime import date

import pytest

from tests.casebook.answers import ask
from tests.casebook.recipes import Sky
from tests.casebook.sites import NORTH, SOUTH, surface

APRILS = [(NORTH, date(2026, 4, 14)), (SOUTH, date(2026, 10, 13))]
SIDES = ["north", "south"]


def foliar_in_a_cold_spring(tmp_path, place, day):
    """Three cold days with frosty nights, then mild and breezy ones; the feed is due on the fourth day on."""
    sky = Sky(place["timezone"], day, 10, 19).quiet(2, 15, range(-4, 3)).clear_calm_night(range(-3, 3))
    sky.wind(12.0, range(3, 10)).gust(19.0, range(3, 10))
    return ask(
        tmp_path,
        sky,
        12,
        [surface("green")],
        place=place,
        wanted=[{"job": "foliar_feed", "surface": "green", "every_days": 10}],
        done=[{"job": "foliar_feed", "surface": "green", "at": sky.at(-6, 12).replace(tzinfo=None)}],
    )


@pytest.mark.parametrize(("place", "day"), APRILS, ids=SIDES)
def test_a_feed_waits_for_growth_and_for_the_frost_to_go(tmp_path, place, day):
    # A feed is of use where grass can take it up (Ohio State turf note); frost the night after: common
    # practice, no source.
    found = foliar_in_a_cold_spring(tmp_path, place, day)
    assert found.day("green", 1).surface_min_c < 0
    found.fails("foliar_feed", "green", 0, range(12, 18), "frost|turf temp")
    found.fails("foliar_feed", "green", 1, range(10, 17), "frost|turf temp")
    found.is_not_steady("foliar_feed", "green", 2, range(10, 17), "grow")
    for number in (3, 4, 5):
        found.holds_within("foliar_feed", "green", number, range(9, 17))


@pytest.mark.parametrize(("place", "day"), APRILS, ids=SIDES)
def test_the_week_puts_the_feed_near_its_day_though_the_wind_leaves_little_room(tmp_path, place, day):
    # Narrow by wind is still a pass; nearly no growth is not made good by many other needs. Common
    # practice, no source.
    found = foliar_in_a_cold_spring(tmp_path, place, day)
    assert found.state("foliar_feed", "green", 4, 11) == "narrow"
    days = found.work_days("foliar_feed", "green")
    assert len(days) == 1, found.left("foliar_feed")
    assert days[0] in (3, 4, 5)


@pytest.mark.parametrize("off", [0.0, -0.4])
def test_seed_waits_for_an_hour_without_frost_on_the_turf(tmp_path, off):
    # Feet and a spreader stay off the leaf until it has thawed (golf association explainer); for the
    # spreader common practice.
    sky = Sky(SOUTH["timezone"], date(2026, 5, 5), 8, 17).quiet(7, 17, range(1, 10))
    sky.clear_calm_night(0).lay("soil_temp_6cm_c", 12.0)
    sky.air({0: 4.5 + off, 4: 2.4 + off, 6: 1.8 + off, 7: 1.4 + off, 8: 1.6 + off, 9: 9.0, 10: 10.5}, 0)
    found = ask(
        tmp_path,
        sky,
        5,
        [surface("apron")],
        place=SOUTH,
        wanted=[{"job": "oversowing", "surface": "apron", "by": sky.at(6, 12).replace(tzinfo=None)}],
    )
    assert found.day("apron", 0).surface_min_c < 0
    found.fails("oversowing", "apron", 0, range(5, 8), "frost|turf temp|thaw")
    # The nights to come are warm, and that is no leave to walk on frost now.
    found.holds_within("oversowing", "apron", 0, range(9, 12))


@pytest.mark.parametrize("air", [2.0, 1.6])
def test_granular_feed_waits_for_the_frost_that_nobody_sees(tmp_path, air):
    # Dry air leaves no white on the leaf, and the turf is frozen all the same. Never on frozen ground (a
    # Minnesota city page).
    sky = Sky(NORTH["timezone"], date(2026, 3, 12), 4, 11).clear_calm_night(0).lay("soil_temp_6cm_c", 7.0)
    sky.lay("dew_point_c", -6.0, 0, range(10)).moist(50, 40, [0])
    sky.lay("rel_humidity_pct", 55.0, 0, range(10)).lay("rel_humidity_pct", 55.0, -1, range(19, 24))
    sky.air({0: air + 1.5, 5: air, 7: air, 8: air + 1.0, 9: 7.5, 10: 9.0}, 0)
    found = ask(
        tmp_path,
        sky,
        6,
        [surface("surround")],
        wanted=[{"job": "granular_feed", "surface": "surround", "every_days": 40}],
    )
    found.fails("granular_feed", "surround", 0, range(6, 8), "frost|turf temp|thaw")
    found.holds_within("granular_feed", "surround", 0, range(9, 13))
    # A job and a warning of one pass must not contradict each other.
    off_frost = found.day("surround", 0).off_frost_at
    assert off_frost is not None
    first = min(found.starts("granular_feed", "surround", 0))
    assert sky.at(0, first) >= off_frost.replace(minute=0, second=0)
    frost = found.warnings("frost")
    assert frost, "the turf is frozen and nobody is warned"


FROZEN = ("hand_watering", "granular_feed", "mow_green", "rolling")


@pytest.mark.parametrize("soil", [-0.5, -0.8])
@pytest.mark.parametrize(
    ("place", "day"), [(NORTH, date(2026, 2, 17)), (SOUTH, date(2026, 7, 14))], ids=SIDES
)
def test_frozen_soil_closes_the_whole_day_though_noon_is_sunny(tmp_path, place, day, soil):
    # Rollers harm turf over frozen soil, noon as well (Oregon State 2022-24); for water common practice,
    # no source.
    sky = Sky(place["timezone"], day, -5, 6, before=9).lay("soil_temp_6cm_c", soil).moist(75, 35)
    sky.lay("wind_dir_deg", 90.0).lay("cloud_pct", 5.0).wind(9.0)
    found = ask(tmp_path, sky, 8, [surface("green")], place=place)
    dry = next(row for row in found.explain("hand_watering", "green", 0, 12).needs if row.need == "dry")
    assert dry.value > 0.6, "the case is of a green that would take water if the soil let it in"
    for job in FROZEN:
        found.fails(job, "green", 0, range(8, 19), "frozen|soil")
        row = found.barred(job, "green")
        assert not (row.if_it_cannot_wait and row.if_it_cannot_wait.hours), job


def test_hand_water_is_not_given_before_a_frost_nor_in_it(tmp_path):
    # Water left on the leaf freezes. Common practice, no source; that dawn is the best hour: a review
    # article of 2018.
    sky = Sky(NORTH["timezone"], date(2026, 4, 14), 3, 13, before=9).clear_calm_night(1)
    sky.air({19: 7.0, 22: 2.2, 23: 1.6}, 0).air({0: 1.2, 5: 0.8, 6: 1.0, 7: 2.0, 9: 6.0}, 1)
    found = ask(tmp_path, sky, 6, [surface("green")])
    assert found.day("green", 1).surface_min_c <= -1.5
    found.holds_within("hand_watering", "green", 0, range(9, 13))
    found.fails("hand_watering", "green", 0, range(20, 24), "cold|frost|freez")
    found.fails("hand_watering", "green", 1, range(3, 7), "cold|frost|freez")
