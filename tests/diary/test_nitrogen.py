"""Nitrogen of a month with the pass that is judged: given, planned and brought, over the growth of the whole month."""

from __future__ import annotations

from dataclasses import replace
from datetime import UTC, datetime
from typing import Any

import numpy as np
import pytest

from planner.actions.mix_plan import tank_mix, with_nitrogen
from planner.actions.one_pass import assess, reported
from planner.actions.pass_input import Record
from planner.config.load import Config
from planner.diary.consequences import diary_quantities
from planner.diary.due import Wanted
from planner.diary.entry import Entry, StoredEntry
from planner.diary.growth import months_of
from planner.diary.nitrogen import SHARE, by_own_share, feeding_of, own
from planner.diary.timeline import Timeline, timeline_of
from planner.indices.past import Day
from planner.reports.nitrogen import in_grams
from planner.rules.limit import Limit
from planner.site import WorkDone
from tests.diary.made import NOW, D, H, book, entry, steady
from tests.made import config, forecast, weather

FOUND = config(wanted=(), planned=())
GREEN = FOUND.site.surface("green")
#: 25 L/ha of 10 % at 1.22 kg/L: 0.305 g/m2, by hand.
FOLIAR = 0.305
#: Full growth for bent at 20 C, so 3 g/m2 in the month: growth potential times a month's most (Woods 2015).
FULL = 3.0


def feed(days_ago: float, litres: float | None = 0.85) -> Entry:
    row = {"name": "foliar 10-0-4", "amount": litres, "unit": "L"}
    return entry("foliar_feed", "spraying", "green", NOW - days_ago * D, materials=[row])


def planned(days: float, job: str = "foliar_feed", kind: str = "spraying") -> WorkDone:
    return WorkDone(job=job, kind=kind, surface="green", at=NOW + days * D)


def shares(*entries: Entry, found: Config = FOUND, timeline: Timeline | None = None) -> dict[str, Any]:
    line = timeline or steady()
    feeding = feeding_of(found.site, found.jobs, found.materials, found.wanted, found.planned, NOW)
    given = diary_quantities(found.site, book(*entries), line, feeding=feeding)["green"]
    now = line.weather.index(NOW)
    return {name: values[0, now] for name, values in given.items()} | {"all": given}


def test_given_and_this_pass_over_the_months_growth():
    found = shares(feed(3), feed(10))
    assert found[own("foliar_feed")] == pytest.approx((2 * FOLIAR + FOLIAR) / FULL, abs=2e-3)
    assert found[SHARE] == pytest.approx(2 * FOLIAR / FULL, abs=2e-3)
    parts = [found[own("foliar_feed", part)] for part in ("given", "planned", "brings", "demand")]
    assert parts == [pytest.approx(figure, abs=2e-3) for figure in (2 * FOLIAR, 0.0, FOLIAR, FULL)]


def test_what_is_planned_in_the_month_counts_and_of_the_next_month_does_not():
    this = shares(found=replace(FOUND, planned=(planned(4),)))
    assert this[own("foliar_feed", "planned")] == pytest.approx(FOLIAR, abs=2e-3)
    assert this[own("foliar_feed")] == pytest.approx(2 * FOLIAR / FULL, abs=2e-3)
    later = shares(found=replace(FOUND, planned=(planned(20),)))
    assert later[own("foliar_feed", "planned")] == 0.0
    past = shares(found=replace(FOUND, planned=(planned(-1),)))
    assert past[own("foliar_feed", "planned")] == 0.0


def test_a_pass_that_is_the_planned_one_does_not_count_twice():
    found = shares(found=replace(FOUND, planned=(planned(0.2),)))
    assert found[own("foliar_feed")] == pytest.approx(FOLIAR / FULL, abs=2e-3)


def test_planned_work_of_a_job_that_is_not_judged_counts():
    alone = replace(FOUND, jobs=(FOUND.job("mow_green"),), planned=(planned(4),))
    assert shares(found=alone)[SHARE] == pytest.approx(FOLIAR / FULL, abs=2e-3)


def test_the_material_that_is_wanted_is_what_the_pass_brings():
    other = next(one for one in FOUND.materials if one.name == "foliar 10-0-4")
    strong = replace(other, jobs=(), material=replace(other.material, name="strong", rate_per_ha=30.0))
    wish = Wanted(job="foliar_feed", label="", surface="green", every_days=14, material="strong")
    found = replace(FOUND, materials=(*FOUND.materials, strong), wanted=(wish,))
    assert shares(found=found)[own("foliar_feed", "brings")] == pytest.approx(1.2 * FOLIAR, abs=2e-3)


def test_a_feed_without_a_known_material_is_not_known():
    found = shares(found=replace(FOUND, materials=()))
    assert np.isnan(found[own("foliar_feed")])
    assert found[SHARE] == 0.0


def test_what_is_spread_dry_is_held_against_what_was_given_before():
    # Common practice, no source: a granular feed lasts beyond the month.
    found = shares(feed(3))
    assert found[own("granular_feed", "brings")] == 0.0
    assert found[own("granular_feed")] == pytest.approx(FOLIAR / FULL, abs=2e-3)


def test_a_feed_of_unknown_amount_is_not_taken_for_none():
    assert np.isnan(shares(feed(3, litres=None))[own("foliar_feed")])


def test_each_job_holds_its_own_share_and_other_needs_stay():
    jobs = {job.name: job for job in by_own_share(FOUND.jobs)}
    quantities = {
        need.quantity
        for need in jobs["foliar_feed"].needs
        if isinstance(need, Limit) and need.id == "nitrogen"
    }
    assert quantities == {own("foliar_feed")}
    assert jobs["mow_green"] == FOUND.job("mow_green")


# The growth of the whole month --------------------------------------------------------------------------


def two_halves(first_c: float, then_c: float, today: datetime, days_ahead: int = 5) -> Timeline:
    """Days of one warmth up to yesterday and a forecast of another from today on."""
    hours = weather(today.astimezone(UTC), 24 * days_ahead, air_temp_c=then_c, soil_temp_6cm_c=10.0)
    old = {
        today.date() - number * D: Day(air_c=first_c, soil_c=10.0, rain_mm=0.0, hours=24)
        for number in range(1, today.day)
    }
    return timeline_of(old, hours, FOUND.site.zone)


def test_the_rest_of_the_month_grows_as_the_last_days_known_do():
    """By hand: 1 to 10 June at 20 C (growth 1), 11 to 15 at 9 C, and 16 to 30 as the mean of the last ten."""
    timeline = two_halves(20.0, 9.0, datetime(2026, 6, 11, tzinfo=FOUND.site.zone))
    # exp(-0.5 ((9 - 20) / 5.5)^2), the growth potential of a cool grass (PACE turf formula, from memory).
    cold = np.exp(-0.5 * ((9.0 - 20.0) / 5.5) ** 2)
    last_ten = (5 * 1.0 + 5 * cold) / 10
    month = months_of(GREEN, (), timeline)["2026-06"]
    assert month.days_known == 15
    assert month.demand_g_m2 == pytest.approx(3.0 * (10 + 5 * cold + 15 * last_ten) / 30, rel=0.02)


def test_a_month_that_is_past_grows_as_its_own_days_did():
    months = months_of(GREEN, (), steady(days_back=40))
    assert months["2026-04"].demand_g_m2 == pytest.approx(FULL, abs=1e-6)


def test_too_few_days_make_no_month():
    timeline = two_halves(20.0, 20.0, datetime(2026, 6, 1, tzinfo=FOUND.site.zone), days_ahead=3)
    assert months_of(GREEN, (), timeline)["2026-06"].demand_g_m2 is None


# In words -----------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("figures", "says"),
    [
        ((1.2, 0.5, 0.4, 1.8), "1.2 given + 0.5 planned + 0.4 now = 2.1 of 1.8 g/m²; 0.1 g/m² left"),
        ((1.2, 0.0, 0.4, 1.8), "1.2 given + 0.4 now = 1.6 of 1.8 g/m²; 0.6 g/m² left"),
        ((2.0, 0.0, 0.0, 1.8), "2 given of 1.8 g/m²; none left"),
        ((1.2, None, 0.4, 1.8), ""),
        ((1.2, 0.0, float("nan"), 1.8), ""),
    ],
)
def test_in_grams(figures, says):
    assert in_grams(*figures) == says


def _pass(litres: float) -> tuple[Any, Any]:
    found = replace(FOUND, planned=(planned(4),))
    stored = StoredEntry(
        uuid="e", revision=1, entry=feed(12, litres), written_at=NOW, withdrawn=False, reason=""
    )
    hours = weather((NOW - 3 * D).replace(hour=0), 24 * 12, air_temp_c=20.0, soil_temp_6cm_c=20.0)
    return reported(assess(found, forecast(hours, NOW - H), now=NOW, record=Record(entries=(stored,))))


def test_the_sentence_and_the_mix_tell_the_same_grams():
    # 9 L on 340 m2 are 3.23 g/m2 by hand: over 1.2 times the month's 3.
    report, _ = _pass(9.0)
    row = next(row for row in report.surfaces if row.surface == "green")
    (one,) = (each for each in row.nitrogen.passes if each.job == "foliar_feed")
    assert one.says == "3.2 given + 0.3 planned + 0.3 now = 3.8 of 3 g/m²; none left"
    ribbon = next(r for r in report.ribbons if (r.job, r.surface) == ("foliar_feed", "green"))
    said = [run.says for run in ribbon.runs if run.need == "nitrogen"]
    assert any(
        "nitrogen 3.2 given + 0.3 planned + 0.3 now = 3.8 of 3 g/m²; none left" in text for text in said
    ), said or {run.says for run in ribbon.runs}
    mix = with_nitrogen(tank_mix(FOUND, "foliar_feed", surface="green"), report)
    assert mix.nitrogen == f"Nitrogen this month: {one.says}."


def test_the_mix_is_silent_where_a_figure_is_not_known():
    report, _ = _pass(1.0)
    plain = tank_mix(FOUND, "foliar_feed", surface="green")
    assert "0.36 given" in with_nitrogen(plain, report).nitrogen
    assert with_nitrogen(replace(plain, nutrients_not_known=("x",)), report).nitrogen == ""
    assert with_nitrogen(replace(plain, surface="collar", job="mow_green"), report).nitrogen == ""
