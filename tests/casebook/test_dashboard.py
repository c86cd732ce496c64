"""What a home dashboard shows as next: what is wanted and can still be begun, and nothing that is not known."""

from __future__ import annotations

import re
from datetime import date, timedelta

import pytest
from msgspec.structs import replace

from planner.reports.as_of import as_of
from planner.reports.now import now as flat_now
from tests.casebook.answers import Found, ask
from tests.casebook.recipes import Sky
from tests.casebook.sites import NORTH, SHED, SOUTH, surface, told, want, write_site

SIDES = ["north", "south"]
#: Late spring on either side: nothing but wind decides.
PLACES = [(NORTH, date(2026, 5, 11)), (SOUTH, date(2026, 10, 12))]
GREEN = surface("green", root_depth_m=0.4)


def windy(place, day, *calm):
    """Too much wind for any spray, but in these hours of these days."""
    sky = Sky(place["timezone"], day, 9, 17).ground(0.18).wind(25.0).gust(45.0)
    for number, hours in calm:
        sky.wind(6.0, number, hours).gust(12.0, number, hours)
    return sky


def moment(text):
    return None if text is None else re.sub(r":00[+-].*", "", text)


@pytest.mark.parametrize(("place", "day"), PLACES, ids=SIDES)
def test_the_next_spray_is_the_wanted_one_and_not_the_soonest_of_any(tmp_path, place, day):
    sky = windy(place, day, (0, range(9, 11)), (1, range(8, 12)))
    wanted = want(sky, "foliar_feed", "green", not_before=told(sky, 1, 6))
    found = ask(tmp_path, sky, 6, [GREEN], place=place, wanted=wanted, materials=SHED)
    # A fungicide that nobody wants has a window today.
    assert 0 in found.days_offered("fungicide", "green")
    flat, tomorrow = found.now_object(), sky.at(1, 8).date().isoformat()
    for key in ("next", "spraying_next"):
        assert (flat[f"{key}_job"], flat[f"{key}_surface"]) == ("foliar_feed", "green")
        assert flat[f"{key}_start"].startswith(tomorrow)
    (window,) = [
        one for one in found.windows("foliar_feed", "green") if one.start.date() == sky.at(1, 8).date()
    ]
    assert flat["spraying_latest_start"] == window.latest_start.isoformat()
    mine = {key: value for key, value in flat.items() if not key.startswith("any_")}
    assert "fungicide" not in str(mine)


@pytest.mark.parametrize(
    ("place", "day"), [(NORTH, date(2026, 3, 10)), (SOUTH, date(2026, 8, 11))], ids=SIDES
)
def test_where_nothing_is_wanted_frost_and_its_end_are_the_news(tmp_path, place, day):
    sky = Sky(place["timezone"], day, -3, 8).ground(0.18).clear_calm_night([1])
    found = ask(tmp_path, sky, 19, [GREEN], place=place)
    flat = found.now_object()
    for key in ("next_job", "next_start", "next_latest_start", "spraying_next_job", "spraying_next_start"):
        assert flat[key] is None, key
    (tonight, *_) = found.warnings("frost")
    off = re.search(r"Off the frost from (\d\d:\d\d)", tonight.says)
    assert off is not None
    assert re.search(rf"frost likely tonight, keep off until {off[1]}", flat["headline"]), flat["headline"]
    assert flat["frost"] is True
    assert flat["warnings_count"] == len(found.warnings())


@pytest.mark.parametrize("later", [False, True], ids=["pass", "reading"])
@pytest.mark.parametrize(("place", "day"), PLACES, ids=SIDES)
def test_a_window_whose_latest_start_has_passed_is_next_no_more(tmp_path, place, day, later):
    sky = windy(place, day, (0, range(7, 11)), (3, range(7, 13)))
    path = write_site(tmp_path, [GREEN], place=place, wanted=want(sky, "foliar_feed", "green"))
    hours, asked = sky.write(tmp_path / "hours.csv"), sky.at(0, 10, 10)
    found = Found(path, hours, sky, sky.at(0, 6) if later else asked)
    if later:
        # Today's window was there in the morning, and could be begun until a quarter to ten.
        assert sorted(found.days_offered("foliar_feed", "green")) == [0, 3]
        assert found.windows("foliar_feed", "green")[0].latest_start < asked
    flat = flat_now(as_of(found.report, asked))
    assert flat["spraying_next_job"] == "foliar_feed"
    assert flat["spraying_next_start"].startswith(sky.at(3, 7).date().isoformat())
    assert " Not now: too much wind" in flat["spraying_reason"]
    assert flat["wanted_foliar_feed_green_start"] == flat["spraying_next_start"]
    assert flat["wanted_foliar_feed_green_holds"] is False


@pytest.mark.parametrize(("place", "day"), PLACES, ids=SIDES)
def test_a_forecast_of_yesterday_offers_no_hour_as_held(tmp_path, place, day):
    sky = windy(place, day, (1, range(10, 14)))
    wanted = want(sky, "foliar_feed", "green")
    found = ask(tmp_path, sky, 4, [GREEN], place=place, wanted=wanted)
    issued = replace(found.report.forecast, issued_at=sky.at(0, 4), fetched_at=sky.at(0, 4))
    fresh = replace(found.report, forecast=issued)
    assert flat_now(fresh)["spraying_state"] in ("steady", "narrow")
    flat = flat_now(as_of(fresh, sky.at(0, 4) + timedelta(hours=30)))
    assert flat["stale"] is True
    assert flat["headline"].startswith("Old forecast, 30 h: ")
    assert flat["spraying_next_start"].startswith(sky.at(1, 10).date().isoformat())
    states = {value for key, value in flat.items() if key.endswith("_state")}
    assert states <= {"unread", None}
    for key in ("frost", "rain_wash", "frost_warning", "wash_warning", "warnings_count"):
        assert flat[key] is None, key
    assert flat["wanted_foliar_feed_green_holds"] is None
