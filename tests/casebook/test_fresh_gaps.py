"""What may follow what on one surface: a spring day that suits everything, and one job on record.

Two to four days from a cut to a systemic herbicide and back, three to four cuts before it touches seedlings:
Clemson Extension. A regulator before seed: Georgia pest handbook 2022. Feed on seedlings: an article on aftercare
of 2014. The rest: common practice, no source.
"""

from __future__ import annotations

from datetime import date, timedelta

import pytest

from tests.casebook.answers import ask
from tests.casebook.far_places import CAPE, PRAIRIE, under
from tests.casebook.sites import surface

#: Done, hours before, next; on the green where none is told.
TOO_SOON = [
    ("foliar_feed", 10, "mow_green"),
    ("fungicide", 10, "mow_green"),
    ("growth_regulator", 3, "mow_green"),
    ("granular_feed", 20, "mow_green"),
    ("top_dressing", 20, "mow_green"),
    ("hollow_coring", 40, "mow_green"),
    ("scarifying", 40, "mow_green"),
    ("foliar_feed", 96, "foliar_feed"),
    ("granular_feed", 96, "foliar_feed"),
    ("hollow_coring", 60, "foliar_feed"),
    ("fungicide", 20, "foliar_feed"),
    ("growth_regulator", 20, "foliar_feed"),
    ("fungicide", 20, "growth_regulator"),
    ("foliar_feed", 20, "fungicide"),
    ("fungicide", 120, "fungicide"),
    ("hollow_coring", 40, "fungicide"),
    ("growth_regulator", 240, "oversowing"),
    ("fungicide", 120, "oversowing"),
    ("oversowing", 480, "hollow_coring"),
    ("hollow_coring", 480, "hollow_coring"),
    ("growth_regulator", 120, "hollow_coring"),
    ("top_dressing", 120, "top_dressing"),
    ("fungicide", 20, "top_dressing"),
    ("foliar_feed", 4, "rolling"),
    ("growth_regulator", 4, "rolling"),
    ("oversowing", 120, "mow_green"),
    ("oversowing", 240, "systemic_herbicide"),
    ("oversowing", 120, "granular_feed"),
    ("granular_feed", 360, "granular_feed"),
    ("systemic_herbicide", 120, "oversowing"),
    ("systemic_herbicide", 240, "hollow_coring"),
    ("systemic_herbicide", 40, "mow_surrounds"),
    ("mow_surrounds", 40, "systemic_herbicide"),
    ("pre_emergent", 1200, "oversowing"),
    ("pre_emergent", 480, "scarifying"),
    ("pre_emergent", 480, "hollow_coring"),
    ("oversowing", 240, "foliar_feed"),
    ("oversowing", 120, "fungicide"),
    ("wetting_agent", 10, "foliar_feed"),
    ("systemic_herbicide", 96, "top_dressing"),
    ("systemic_herbicide", 40, "granular_feed"),
]
LONG_ENOUGH = [
    ("foliar_feed", 26, "mow_green"),
    ("growth_regulator", 26, "mow_green"),
    ("mow_green", 3, "foliar_feed"),
    ("mow_green", 1, "rolling"),
    ("foliar_feed", 200, "foliar_feed"),
    ("fungicide", 30, "foliar_feed"),
    ("foliar_feed", 8, "rolling"),
    ("top_dressing", 1, "rolling"),
    ("hollow_coring", 3, "oversowing"),
    ("hollow_coring", 3, "top_dressing"),
    ("top_dressing", 400, "top_dressing"),
    ("systemic_herbicide", 1100, "oversowing"),
    ("systemic_herbicide", 80, "mow_surrounds"),
]
ON_BANKS = {"mow_surrounds", "systemic_herbicide", "pre_emergent"}
ON_TEES = {"hollow_coring", "top_dressing"}


def spring_day(tmp_path, place, day, done, hours, following):
    # Everything is asked of a mild day without wind or rain, of well watered turf.
    sky = under(place, day, 12, 21, before=10).lay("soil_temp_6cm_c", 15.0).ground(0.17)
    sky.rain(-2, 3, 3.0, 3.0)
    jobs = {done, following}
    on = ("tee" if jobs & ON_TEES else "surround") if jobs & ON_BANKS else "green"
    at = sky.at(0, 12) - timedelta(hours=hours)
    rows = {"done": [{"job": done, "surface": on, "at": at.replace(tzinfo=None)}]}
    if done == "oversowing":
        rows["sown"] = [{"surface": on, "at": at.replace(tzinfo=None)}]
    piece = surface(on, root_depth_m=0.4, soil="sand")
    return on, ask(
        tmp_path,
        sky,
        6,
        [piece],
        place=place,
        tables={f"growth.{on}": {"full_growth_mm_d": 2.0}},
        wanted=[{"job": following, "surface": on, "by": sky.at(5, 18).replace(tzinfo=None)}],
        **rows,
    )


@pytest.mark.parametrize(("done", "hours", "following"), TOO_SOON)
def test_too_soon_after_is_not_now(tmp_path, done, hours, following):
    # Table of the trade as above; each figure lies well inside the least.
    on, found = spring_day(tmp_path, PRAIRIE, date(2026, 5, 12), done, hours, following)
    assert found.state(following, on, 0, 12) in ("barred", "broken"), found.why(following, on, 0, 12)


@pytest.mark.parametrize(("done", "hours", "following"), LONG_ENOUGH)
def test_long_enough_after_is_no_reason(tmp_path, done, hours, following):
    # The same table from the other side.
    on, found = spring_day(tmp_path, CAPE, date(2026, 10, 13), done, hours, following)
    assert found.state(following, on, 0, 12) in ("steady", "narrow"), found.why(following, on, 0, 12)
