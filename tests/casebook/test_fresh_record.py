"""Growth, water, nitrogen, warm-season grass, heat, disease and working hours: cases made up afresh.

Sources stand beside the checks; where none does, it is common practice, no source.
"""

from __future__ import annotations

from datetime import date, time, timedelta

import pytest

from planner.actions.one_pass import assess, reported
from planner.actions.pass_input import Record
from planner.config.load import load
from planner.diary.entry import Entry, EntryDocument, StoredEntry
from planner.forecast.recorded import read_file
from tests.casebook.answers import Found, ask
from tests.casebook.far_places import CAPE, DESERT, FJORD, GULF, HILLS, PRAIRIE, ROCK, SOUTHERN_ALPS, under
from tests.casebook.sites import NORTH, SOUTH, surface, told, want, write_site

DEEP = surface("green", root_depth_m=0.4)
GROWS = {"growth.green": {"full_growth_mm_d": 1.2}}


@pytest.mark.parametrize("job", ["mow_green", "foliar_feed", "growth_regulator", "top_dressing"])
def test_couch_rests_at_temperatures_at_which_bent_still_grows(tmp_path, job):
    # Warm-season grass grows best near 31 C and hardly at 12 C (Woods 2014).
    sky = under(GULF, date(2026, 7, 14), 7, 17, before=10)
    couch = surface("green", grass="couch")
    found = ask(
        tmp_path,
        sky,
        6,
        [couch],
        place=GULF,
        wanted=want(sky, job, "green"),
        done=[{"job": "mow_green", "surface": "green", "at": told(sky, -9, 9)}],
    )
    assert found.day("green", 0).growth_potential < 0.05
    found.never(job, "green", "grow|nothing to cut|leaf")


NITROGEN = """
[[materials]]
name = "leaf feed, a third of a gram"
jobs = ["foliar_feed"]
unit = "L"
rate_per_ha = 30
form = "soluble"
density_kgl = 1.0
analysis_pct = { N = 10 }
"""


@pytest.mark.parametrize(("given_l_ha", "over"), [(290.0, True), (40.0, False)])
def test_a_month_that_has_had_its_nitrogen_gets_no_more(tmp_path, given_l_ha, over):
    # Growth potential times 3 g/m2 a month (Woods 2015); 2.9 g are more than a mild month can use.
    sky = under(SOUTHERN_ALPS, date(2026, 4, 21), 9, 20, before=20)
    path = write_site(
        tmp_path,
        [surface("green")],
        place=SOUTHERN_ALPS,
        materials=NITROGEN,
        wanted=[
            {
                "job": "foliar_feed",
                "surface": "green",
                "by": told(sky, 4, 18),
                "material": "leaf feed, a third of a gram",
            }
        ],
    )
    now = sky.at(0, 6)
    document = EntryDocument(
        materials=[
            {
                "name": "leaf feed, a third of a gram",
                "amount": given_l_ha * 350 / 10_000,
                "unit": "L",
                "rate_per_ha": given_l_ha,
            }
        ],
        area_m2=350,
    )
    entry = Entry(
        job="foliar_feed",
        kind="spraying",
        surface="green",
        started_at=sky.at(-12, 9),
        finished_at=sky.at(-12, 10),
        document=document,
    )
    stored = StoredEntry(
        uuid="00000000-0000-4000-8000-000000000002",
        revision=1,
        entry=entry,
        written_at=sky.at(-12, 11),
        withdrawn=False,
        reason="",
    )
    forecast = read_file(sky.write(tmp_path / "hours.csv"), fetched_at=now)
    report, workings = reported(assess(load(path), forecast, now=now, record=Record(entries=(stored,))))
    found = Found.of(report, workings, sky, now)
    if over:
        found.is_not_steady("foliar_feed", "green", 0, range(9, 15), "nitrogen|cannot use")
    else:
        found.holds_within("foliar_feed", "green", 0, range(9, 15))
        assert "nitrogen" not in found.why("foliar_feed", "green", 0, 11)


def test_a_green_rolled_every_day_is_left_a_day(tmp_path):
    # Up to six times a week without harm on sand (Arkansas Turfgrass Report 2009).
    sky = under(PRAIRIE, date(2026, 6, 9), 13, 22)
    done = [{"job": "rolling", "surface": "green", "at": told(sky, -day, 9)} for day in range(1, 7)]
    done.append({"job": "rolling", "surface": "green", "at": told(sky, -3, 17)})
    found = ask(tmp_path, sky, 6, [DEEP], place=PRAIRIE, wanted=want(sky, "rolling", "green"), done=done)
    found.fails("rolling", "green", 0, range(10, 17), "roll|7 days|week")
    assert 0 not in found.work_days("rolling")


SPANS = [["06:30", "08:00"], ["16:30", "19:00"]]
TWICE = dict.fromkeys(("mon", "tue", "thu", "fri", "sat"), SPANS)


def test_a_keeper_who_comes_before_and_after_another_job(tmp_path):
    # The keeper's own rule, on a clock three quarters of an hour off.
    sky = under(HILLS, date(2026, 4, 13), 11, 21).ground(0.18)
    found = ask(
        tmp_path,
        sky,
        5,
        [DEEP, surface("tee", root_depth_m=0.4)],
        place=HILLS,
        hours=TWICE,
        tables=GROWS,
        wanted=[
            {"job": "mow_green", "surface": "green", "every_days": 2},
            {"job": "mow_tee", "surface": "tee", "every_days": 4},
            *want(sky, "foliar_feed", "green", 6),
        ],
        done=[
            {"job": "mow_green", "surface": "green", "at": told(sky, -2, 7)},
            {"job": "mow_tee", "surface": "tee", "at": told(sky, -4, 7)},
        ],
    )
    rows = found.work()
    assert {"mow_green", "mow_tee"} <= {row.job for row in rows}
    spans = [[time.fromisoformat(text) for text in span] for span in SPANS]
    for row in rows:
        start, end = (moment.astimezone(sky.zone) for moment in (row.start, row.end))
        assert start.weekday() not in (2, 6), (row.job, start)
        assert any(opens <= start.time() and end.time() <= closes for opens, closes in spans), (
            row.job,
            start,
        )
    assert found.work("foliar_feed") or found.left("foliar_feed")


@pytest.mark.parametrize("day", [date(2026, 3, 27), date(2026, 10, 23)])
def test_working_hours_are_of_the_wall_clock_when_it_is_put_forward_or_back(tmp_path, day):
    # The keeper's own rule; the clock changes in the night to Sunday.
    sky = under(FJORD, day, 9, 17).ground(0.18)
    names = ("mon", "tue", "wed", "thu", "fri", "sat", "sun")
    found = ask(
        tmp_path,
        sky,
        6,
        [DEEP],
        place=FJORD,
        hours={name: ["07:00", "11:00"] for name in names},
        tables=GROWS,
        wanted=[{"job": "mow_green", "surface": "green", "every_days": 1}],
        done=[{"job": "mow_green", "surface": "green", "at": told(sky, -1, 8)}],
    )
    rows = found.work("mow_green")
    days = {row.start.astimezone(sky.zone).date() for row in rows}
    assert {sky.at(number, 0).date() for number in (0, 1, 3, 4)} <= days, found.left("mow_green")
    for row in rows:
        start, end = (moment.astimezone(sky.zone) for moment in (row.start, row.end))
        assert time(7) <= start.time(), start
        assert end.time() <= time(11), end


def test_no_hand_water_before_rain_that_will_do_it(tmp_path):
    # Common practice, no source.
    sky = under(SOUTH, date(2026, 1, 20), 15, 28, before=8).moist(75, 35).rain(0, 15, 3, 3, 2)
    found = ask(tmp_path, sky, 5, [surface("green")], place=SOUTH)
    dry = next(row for row in found.explain("hand_watering", "green", 0, 7).needs if row.need == "dry")
    assert dry.value > 0.6
    found.fails("hand_watering", "green", 0, range(6, 14), "rain")


def test_water_given_in_the_desert_is_in_the_ground(tmp_path):
    # The water balance counts irrigation like rain (FAO-56, equation 85).
    sky = under(DESERT, date(2026, 4, 14), 14, 28, before=6).moist(60, 20)
    surfaces = [surface("green"), surface("collar")]
    for name in ("wet", "dry"):
        (tmp_path / name).mkdir()
    readings = [{"surface": on, "at": told(sky, 0, 3), "water_mm": 14} for on in ("green", "collar")]
    dry = ask(tmp_path / "dry", sky, 6, surfaces, place=DESERT)
    wet = ask(tmp_path / "wet", sky, 6, surfaces, place=DESERT, readings=readings)
    for on in ("green", "collar"):
        dry.holds_within("hand_watering", on, 0, range(6, 10))
        assert not set(range(5, 11)) & set(wet.starts("hand_watering", on, 0))
        assert wet.day(on, 0).storage_pct_fc > dry.day(on, 0).storage_pct_fc + 10


def test_dry_nights_are_no_disease_weather(tmp_path):
    # Dollar spot wants damp days (Smith and others 2018), the others warm wet nights (Fidanza and others 1996).
    sky = under(CAPE, date(2026, 1, 13), 13, 30).moist(65, 30)
    found = ask(tmp_path, sky, 7, [surface("green"), surface("collar")], place=CAPE)
    assert not [row for row in found.warnings() if "disease" in f"{row.kind} {row.says}".lower()]


def test_a_cool_season_green_is_cut_at_dawn_and_not_rolled_on_a_day_of_thirty_four(tmp_path):
    # Above 32 C cool-season greens spend more than they make: no stress (Green Section updates).
    sky = under(PRAIRIE, date(2026, 7, 21), 20, 34).moist(85, 45).rain(-1, 3, 8, 8)
    found = ask(
        tmp_path,
        sky,
        5,
        [DEEP],
        place=PRAIRIE,
        tables=GROWS,
        wanted=[{"job": job, "surface": "green", "every_days": 1} for job in ("mow_green", "rolling")],
        done=[{"job": "mow_green", "surface": "green", "at": told(sky, -2, 7)}],
    )
    found.holds_within("mow_green", "green", 0, range(7, 10))
    found.fails("mow_green", "green", 0, range(14, 17), "hot|heat|air temp")
    found.fails("rolling", "green", 0, range(13, 17), "hot|heat|air temp")


def test_after_a_wet_night_sand_is_cut_before_loam(tmp_path):
    # Soft ground scalps and pugs; sand drains. Common practice, no source.
    sky = under(ROCK, date(2026, 6, 16), 10, 18).rain(-1, 21, *[4.0] * 8)
    found = ask(
        tmp_path,
        sky,
        6,
        [surface("green"), surface("tee", soil="clay")],
        place=ROCK,
        tables={**GROWS, "growth.tee": {"full_growth_mm_d": 3.0}},
        done=[
            {"job": "mow_green", "surface": "green", "at": told(sky, -2, 8)},
            {"job": "mow_tee", "surface": "tee", "at": told(sky, -4, 8)},
        ],
    )
    found.fails("mow_tee", "tee", 0, range(8, 18), "soft|wet|field capacity|soak")
    sand, clay = (found.starts(*one) for one in (("mow_green", "green"), ("mow_tee", "tee")))
    assert sand
    assert sand[0] <= 36
    assert clay
    assert clay[0] > sand[0]


def test_a_cut_yesterday_keeps_a_herbicide_off_for_two_days(tmp_path):
    # Leaf to catch it: two to four days without a cut (Clemson Extension).
    sky = under(NORTH, date(2026, 6, 2), 12, 20)
    found = ask(
        tmp_path,
        sky,
        6,
        [surface("surround", root_depth_m=0.4)],
        wanted=want(sky, "systemic_herbicide", "surround"),
        done=[{"job": "mow_surrounds", "surface": "surround", "at": told(sky, -1, 16)}],
    )
    found.fails("systemic_herbicide", "surround", 0, range(9, 16), "cut|mow")
    found.fails("systemic_herbicide", "surround", 1, range(9, 15), "cut|mow")
    found.holds_within("systemic_herbicide", "surround", 3, range(9, 15))
    rows = found.work("systemic_herbicide")
    assert rows
    assert rows[0].start - sky.at(-1, 16) >= timedelta(days=2)


def test_a_long_neglected_green_is_not_taken_down_at_once(tmp_path):
    # Never more than a third of the leaf at one cut (from memory).
    sky = under(FJORD, date(2026, 6, 9), 14, 22, before=12).ground(0.18)
    found = ask(
        tmp_path,
        sky,
        6,
        [DEEP],
        place=FJORD,
        tables=GROWS,
        done=[{"job": "mow_green", "surface": "green", "at": told(sky, -11, 8)}],
    )
    found.is_not_steady("mow_green", "green", 0, range(8, 11), "third|leaf|height")
