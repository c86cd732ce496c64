"""Warnings of the turf itself: disease weather, wilt, and seed that dries, read through the pass."""

from __future__ import annotations

from dataclasses import replace
from datetime import UTC, datetime, timedelta

import numpy as np
import pytest

from planner.actions.pass_input import Record
from planner.diary.due import Wanted
from planner.indices.grasses import GRASSES
from planner.indices.leaf_wetness import BROWN_PATCH_FROM, DOLLAR_SPOT_FROM
from planner.terms import LABEL_CAUTION
from planner.warnings.life import title
from tests.made import config
from tests.warnings.test_kinds import BACK, DRY, NOW, H, entry, of, sown, under

#: Local hours of the invented days, from NOW (08:00 British Summer Time) on.
SPAN = range(-BACK, 24 * 9 - BACK)


def days(by_day: float, by_night: float, *, from_hour: int = 8, to_hour: int = 20) -> dict[int, float]:
    """One value from 08:00 to 20:00 of every day and another by night."""
    return {hour: by_day if from_hour <= (hour + 8) % 24 < to_hour else by_night for hour in SPAN}


def muggy(**changes):
    """Days of 31 °C, nights of 22 °C at 96 %, with 3 mm in the first evening."""
    sky = {
        "air_temp_c": days(31.0, 22.0, from_hour=10, to_hour=18),
        "rel_humidity_pct": days(60.0, 96.0, from_hour=9, to_hour=18),
        "rain_mm": {11: 3.0},
    }
    return {**sky, **changes}


def test_a_hot_day_and_a_warm_wet_night_warn_on_green_and_collar():
    # Nutter 1983 (abstract): above 30 °C, then 14 h above 90 % and a night above 20 °C; Smith 2018: chance 0.20.
    found = of(under(muggy(), config()), "disease")
    assert {"green", "collar"} <= {one.surface for one in found}
    green = next(one for one in found if one.surface == "green")
    assert green.level == "care"
    assert "pythium" in green.says
    assert "dollar spot" in green.says
    assert "days to 31 °C, nights of 22 °C" in green.says
    assert "equation second-hand" in green.says
    assert green.figures["dollar_spot_chance"] > 0.2
    # One warning for the whole run of days.
    assert len([one for one in found if one.surface == "green"]) == 1


def test_it_advises_no_product():
    for one in of(under(muggy(), config()), "disease"):
        said = " ".join(one.advice)
        assert "No late water" in said
        assert "dew off at dawn" in said
        assert "nitrogen" in said
        assert "only if you want one, by its label" in said


def test_dollar_spot_alone_is_a_note():
    # 20 °C at 80 % all day: chance 0.40 (table of tests/indices/test_disease.py), no hot day, no warm night.
    found = of(under({"air_temp_c": 18.0, "rel_humidity_pct": 85.0}, config()), "disease")
    green = next(one for one in found if one.surface == "green")
    assert green.level == "note"
    assert green.figures["named"] == "dollar spot"
    assert "pythium" not in green.says


def test_nitrogen_is_held_back_for_what_takes_lush_turf_and_not_for_dollar_spot_alone():
    # Common practice, no source: hungry turf gets more dollar spot, lush turf more brown patch and pythium.
    (dollar,) = {
        one.advice for one in of(under({"air_temp_c": 18.0, "rel_humidity_pct": 85.0}, config()), "disease")
    }
    assert any("go hungry" in one for one in dollar)
    assert any("dew off" in one for one in dollar)
    assert not any("Hold back nitrogen" in one for one in dollar)
    green = next(one for one in of(under(muggy(), config()), "disease") if one.surface == "green")
    assert any("Hold back nitrogen" in one for one in green.advice)


@pytest.mark.parametrize(
    ("damp_until", "says"), [(9, "pythium (published rule)"), (3, "pythium (our own rule, 6 damp hours")]
)
def test_pythium_is_called_published_only_where_the_published_hours_are_reached(damp_until, says):
    # Nutter 1983 asks for 14 h over 90 % in the night: 18:00 to 09:00 are 15 h, 18:00 to 03:00 are 9 h.
    humid = {hour: 96.0 if not damp_until <= (hour + 8) % 24 < 18 else 60.0 for hour in SPAN}
    found = of(under(muggy(rel_humidity_pct=humid), config()), "disease")
    green = next(one for one in found if one.surface == "green")
    assert says in green.says
    assert says[9:-1] in green.figures["status"]


@pytest.mark.parametrize(("humidity", "named"), [(69.0, True), (55.0, False)])
def test_the_threshold_is_the_published_one(humidity, named):
    # Smith 2018: treats from 0.20. At 20 °C that is 68.9 %: 11.4041 - 0.0894 RH - 0.1932 * 20 = ln 4.
    found = of(under({"air_temp_c": 20.0, "rel_humidity_pct": humidity}, config()), "disease")
    assert any(one.surface == "green" for one in found) is named
    assert (DOLLAR_SPOT_FROM, BROWN_PATCH_FROM) == (0.2, 6.0)


def test_on_couch_only_dollar_spot_is_read():
    # Brown patch was modelled on ryegrass, pythium on bent and ryegrass (abstracts).
    shipped = config()
    couch = tuple(replace(one, grass=GRASSES["couch"]) for one in shipped.site.surfaces)
    found = of(under(muggy(), replace(shipped, site=replace(shipped.site, surfaces=couch))), "disease")
    assert {one.figures["named"] for one in found} == {"dollar spot"}


def test_below_the_range_of_a_model_there_is_no_risk_and_nothing_is_missing():
    found = under({"air_temp_c": 4.0, "rel_humidity_pct": 95.0}, config())
    assert of(found, "disease") == []
    assert (found.plan.conditions.surfaces["green"]["dollar_spot_chance"][0, 120:] == 0.0).all()
    assert "disease" not in [row.kind for row in found.not_read]


def test_without_humidity_disease_is_not_known():
    gone = muggy(rel_humidity_pct=dict.fromkeys(range(4, 60), np.nan))
    found = under(gone, config())
    row = next(row for row in found.not_read if row.kind == "disease")
    assert "lacks humidity" in row.says


def told(found, kind, surface):
    return [
        title(news) for news in found.life.news if (news.notice.kind, news.notice.surface) == (kind, surface)
    ]


@pytest.mark.parametrize(
    ("sky", "kind", "surface"),
    [
        (muggy(), "disease", "green"),
        ({**DRY, "air_temp_c": 30.0}, "wilt", "green"),
        (DRY, "seed_stress", "apron strip"),
    ],
)
def test_a_run_of_days_is_told_once(sky, kind, surface):
    states, words = {}, []
    for hour in range(0, 72, 6):
        found = under(sky, sown(), at=NOW + hour * H, record=Record(standing=tuple(states.values())))
        states |= {one.id: one for one in found.life.states}
        words += told(found, kind, surface)
    assert len(words) == 1, words


def test_turf_short_of_water_in_heat_asks_for_care():
    # FAO-56, chapter 8: stress begins where the readily available water is used up.
    found = under({**DRY, "air_temp_c": days(31.0, 18.0)}, config())
    green = next(one for one in of(found, "wilt") if one.surface == "green")
    assert green.level == "care"
    assert green.figures["depletion_of_ready_water"] >= 1.2
    assert "Hand water today 08:00–09:00" in green.advice[0]
    assert any("No rolling while footprints" in one for one in green.advice)


def test_in_cool_air_it_is_a_note():
    found = of(under({**DRY, "air_temp_c": 20.0}, config()), "wilt")
    assert {one.level for one in found} == {"note"}


def test_after_nine_the_water_is_for_what_wilts_now_and_for_the_next_dawn():
    found = under({**DRY, "air_temp_c": 30.0}, config(), at=NOW + 5 * H)
    assert "now only where it wilts, and all of it tomorrow 05:00–09:00" in of(found, "wilt")[0].advice[0]


def test_rain_that_fills_the_root_zone_calls_it_off():
    wet = {**DRY, "rain_mm": {2: 20.0, 3: 20.0, 20: 20.0, 30: 20.0}}
    assert of(under(wet, config()), "wilt") == []
    # In cool air turf waits for the rain of the coming night, in heat it does not: judgement.
    rain = {"rain_mm": {13: 20.0, 20: 20.0, 30: 20.0, 40: 20.0}}
    assert of(under({**DRY, "air_temp_c": 20.0, **rain}, config()), "wilt") == []
    hot = of(under({**DRY, "air_temp_c": 30.0, **rain}, config()), "wilt")
    assert hot
    assert all(one.ends is not None and one.ends <= NOW + 14 * H for one in hot)


def test_without_rain_figures_wilt_is_not_known():
    found = under({"rain_mm": dict.fromkeys(range(-60, 100), np.nan)}, config())
    row = next(row for row in found.not_read if row.kind == "wilt")
    assert "lacks rain" in row.says
    assert of(found, "wilt") == []


@pytest.mark.parametrize(
    ("hour", "begins"),
    [(0, "2026-04-08 09:00"), (5, "2026-04-08 13:00"), (13, "2026-04-09 09:00"), (19, "2026-04-09 09:00")],
)
def test_seed_that_dries_is_one_warning_that_never_begins_in_the_past(hour, begins):
    # Drying hours from 09:00 to 20:00: common practice, no source.
    (warned,) = of(under(DRY, sown(), at=NOW + hour * H), "seed_stress")
    zone = config().site.zone
    assert f"{warned.begins.astimezone(zone):%Y-%m-%d %H:%M}" == begins
    assert "dry since Sat 4 Apr" in warned.says or "dry since Sun 5 Apr" in warned.says


def test_a_wet_day_between_two_dry_ones_does_not_make_two_warnings():
    between = {**DRY, "rain_mm": {26: 1.5, 28: 1.5}}
    assert len(of(under(between, sown()), "seed_stress")) == 1


#: Days that take some 4 mm.
MILD = {**DRY, "shortwave_wm2": 290.0, "rel_humidity_pct": 60.0, "air_temp_c": 16.0}


def test_after_a_soaking_seed_is_told_to_dry_only_once_the_top_layer_has_used_its_water():
    # By hand: of 20 mm in the evening the layer holds 5 mm. The next day takes all of them or less; the day after is
    # beyond what is left by 2.5 mm or more.
    (dry,) = of(under(MILD, sown()), "seed_stress")
    assert dry.begins == NOW + H
    assert 2.5 + 5.0 / 2.0 > dry.figures["et0_mm"] > 2.5 + 5.0 / 4.0
    (soaked,) = of(under({**MILD, "rain_mm": {-14: 20.0}}, sown()), "seed_stress")
    assert soaked.begins == NOW + 25 * H
    # A shower that its own day has used leaves nothing for the morning.
    (showered,) = of(under({**MILD, "rain_mm": {-20: 1.5}}, sown()), "seed_stress")
    assert showered.begins == NOW + H


def test_water_by_hose_counts_down_like_rain():
    def given(**amount):
        stored = entry(job="hand_watering", surface="apron strip", **amount)
        told = Record(entries=(replace(stored, entry=replace(stored.entry, kind="watering")),))
        return of(under(MILD, sown(), record=told), "seed_stress")[0].begins

    assert given(water_mm=0.5) == NOW + H
    assert given() == NOW + H
    assert given(water_mm=5.0) == NOW + 25 * H


def test_heat_on_damp_ground_asks_for_shade_and_not_for_water():
    rain = {"rain_mm": dict.fromkeys(range(-14, 120, 12), 10.0)}
    (warned,) = of(under({**DRY, **rain, "air_temp_c": days(34.0, 20.0)}, sown()), "seed_stress")
    assert not any("Water lightly" in one for one in warned.advice)
    assert "fleece shades it" in warned.advice[0]


def test_names_of_days_are_told_in_one_style():
    at = datetime(2026, 4, 8, 7, tzinfo=UTC) + timedelta(hours=1)
    (warned,) = of(under(DRY, sown(), at=at), "seed_stress")
    assert "from Wed 8 Apr 09:00" in warned.says


def test_turf_that_runs_short_tomorrow_is_watered_at_tomorrows_dawn():
    # Rain at 10:00 and 11:00 fills it; at that drying it is short again by 15:00 tomorrow.
    (green,) = (
        one
        for one in of(under({**DRY, "rain_mm": {2: 20.0, 3: 20.0}}, config()), "wilt")
        if one.surface == "green"
    )
    assert "from Thu 9 Apr 15:00" in green.says
    assert "Hand water tomorrow 05:00–09:00" in green.advice[0]


@pytest.mark.parametrize(("job", "bound"), [("systemic_herbicide", True), ("foliar_feed", False)])
def test_work_under_a_label_carries_the_short_caution(job, bound):
    # The label decides: law of the place on pesticides, common practice for the rest.
    surface = "green" if job == "foliar_feed" else "apron strip"
    wish = Wanted(job=job, label=job.replace("_", " "), surface=surface, by=NOW - timedelta(days=2))
    (late,) = of(under({}, config(wanted=(wish,))), "overdue")
    assert (LABEL_CAUTION in late.advice) is bound
    assert late.advice[0].startswith(("Next window: ", "No window for it"))


def test_a_narrow_window_is_called_only_just_with_what_limits_it():
    # Wind of 5 m/s at 10 m is 13.5 km/h at 2 m (FAO-56 equation 47), of 15 km/h at most.
    wish = Wanted(job="foliar_feed", label="foliar feed", surface="green", by=NOW - timedelta(days=2))
    (late,) = of(under({"wind_10m_ms": 5.0}, config(wanted=(wish,))), "overdue")
    assert ", only just (" in late.advice[0]
