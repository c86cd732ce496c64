"""What the record changes: cover, growth, regulator, nitrogen, emergence, and what is due."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from planner.diary.book import Book
from planner.diary.consequences import Consequences, consequences, diary_quantities
from planner.diary.due import Wanted
from planner.diary.entry import Entry
from planner.diary.growth import Height, cuts_of, feeds_of, growth_rate, pace_of
from planner.diary.timeline import Timeline
from planner.indices.seed_clock import SeedClock, seed_clock
from planner.planning.conditions import conditions_of
from planner.rules.job import Job
from planner.site import Sowing
from tests.diary.made import NOW, D, H, book, entry, steady
from tests.made import config

FOUND = config()
GREEN = FOUND.site.surface("green")


def changes_of(
    known: Book, timeline: Timeline, wanted: tuple[Wanted, ...] = (), jobs: tuple[Job, ...] = ()
) -> Consequences:
    given = diary_quantities(FOUND.site, known, timeline)
    return consequences(
        FOUND.site, jobs, known, timeline, given, NOW, clocks=clocks_of(known, timeline), wanted=wanted
    )


def clocks_of(known: Book, timeline: Timeline) -> dict[Sowing, SeedClock]:
    ground = conditions_of(
        timeline.weather,
        FOUND.site,
        now=NOW,
        sowings=known.sowings,
        past=timeline.days,
    )
    return {sowing: seed_clock(ground.surfaces[sowing.surface], sowing) for sowing in known.sowings}


def cut(days_ago: float, **document: float) -> Entry:
    return entry("mow_green", "mowing", "green", NOW - days_ago * D, **document)


def regulator(days_ago: float) -> Entry:
    return entry("growth_regulator", "spraying", "green", NOW - days_ago * D)


def feed(days_ago: float, litres: float | None = 0.85) -> Entry:
    row = {"name": "foliar 10-0-4", "amount": litres, "unit": "L"}
    return entry("foliar_feed", "spraying", "green", NOW - days_ago * D, materials=[row])


def sown(days_ago: float, **document: object) -> Entry:
    return entry("oversowing", "seeding", "apron strip", NOW - days_ago * D, **document)


# Cover and tackifier ------------------------------------------------------------------------------------


def test_a_sowing_in_the_diary_is_seed_in_the_ground():
    known = book(sown(4, grass="perennial_ryegrass", cover_pct=30))
    (sowing,) = known.sowings
    assert (sowing.surface, sowing.grass.name, sowing.cover_pct) == ("apron strip", "perennial_ryegrass", 30)
    assert [work.kind for work in known.done] == ["seeding"]


def test_a_net_laid_later_counts_and_one_taken_off_counts_too():
    net = entry("net", "covering", "apron strip", NOW - 2 * D, cover_pct=80, tackifier=True)
    off = entry("net off", "covering", "apron strip", NOW - 1 * D, cover_pct=0)
    laid = book(sown(4), net).sowings[0]
    assert (laid.cover_pct, laid.tackifier) == (80, True)
    gone = book(sown(4), net, off).sowings[0]
    assert (gone.cover_pct, gone.tackifier) == (0, True)


def test_a_cover_of_another_surface_or_before_the_sowing_does_not_count():
    elsewhere = entry("net", "covering", "green", NOW - 2 * D, cover_pct=80)
    before = entry("net", "covering", "apron strip", NOW - 9 * D, cover_pct=80)
    assert book(before, sown(4), elsewhere).sowings[0].cover_pct == 0


def test_entries_of_a_surface_the_site_no_longer_has_are_left_out():
    assert book(entry("mow_green", "mowing", "old green", NOW)).works == ()


# Height of the grass ------------------------------------------------------------------------------------


def test_leaf_since_the_last_cut_by_hand():
    # Growth potential 1 at 20 C for bent: 0.97 mm a day on 3.8 mm, four days: (3.8 + 3.886) / 3.8.
    known, timeline = book(cut(9), cut(4)), steady()
    pace = pace_of(GREEN, cuts_of(known.works), timeline, None)
    assert pace.source == "guess"
    ratio = diary_quantities(FOUND.site, known, timeline)["green"]["grass_height_ratio"]
    now = timeline.weather.index(NOW)
    assert ratio[0, now] == pytest.approx((3.8 + 4 * pace.full_growth_mm_d) / 3.8, rel=1e-6)


def test_leaf_without_a_cut_is_not_known_and_without_a_regulator_nothing_is_held_back():
    given = diary_quantities(FOUND.site, book(), steady())
    assert np.isnan(given["green"]["grass_height_ratio"]).all()
    assert np.isinf(given["green"]["degree_days_since_regulator"]).all()
    assert given["green"]["grass_height_ratio"].shape == (1, steady().weather.hours)


def test_leaf_is_not_known_when_days_on_the_way_are_not():
    ratio = diary_quantities(FOUND.site, book(cut(30)), steady(days_back=10))["green"]["grass_height_ratio"]
    assert np.isnan(ratio).all()


def test_the_pace_is_learned_from_leaf_lengths_measured_at_cuts():
    known = book(*(cut(20 - 4 * n, leaf_length_mm=3.8 + 4 * 1.4) for n in range(5)))
    pace = pace_of(GREEN, cuts_of(known.works), steady(), None)
    assert (pace.source, pace.lengths) == ("own cuts", 4)
    assert pace.full_growth_mm_d == pytest.approx(1.4, rel=1e-3)


def test_the_pace_is_learned_from_heights_read_between_cuts_too():
    known = book(*(cut(20 - 4 * n) for n in range(5)))
    cuts = cuts_of(known.works)
    read = tuple(Height(at=NOW - (18 - 4 * n) * D, mm=3.8 + 2 * 1.4) for n in range(4))
    pace = pace_of(GREEN, cuts, steady(), None, read)
    assert (pace.source, pace.lengths) == ("own cuts", 4)
    assert pace.full_growth_mm_d == pytest.approx(1.4, rel=0.02)
    # One read before any cut says nothing of growth.
    assert pace_of(GREEN, cuts[-1:], steady(), None, read).source == "guess"


def test_two_lengths_are_too_few_and_the_site_file_comes_first():
    known = book(*(cut(20 - 4 * n, leaf_length_mm=9.4) for n in range(3)))
    cuts = cuts_of(known.works)
    assert pace_of(GREEN, cuts, steady(), None).source == "guess"
    assert pace_of(GREEN, cuts, steady(), 2.0).full_growth_mm_d == 2.0


def test_a_cut_is_due_at_the_one_third_mark():
    # 1.9 mm to grow at 0.5 mm a day: 3.8 days after the cut.
    known, timeline = book(cut(2)), steady()
    given = diary_quantities(FOUND.site, known, timeline, full_growth_mm_d={"green": 0.5})
    jobs = (FOUND.job("mow_green"),)
    found = consequences(
        FOUND.site, jobs, known, timeline, given, NOW, clocks={}, full_growth_mm_d={"green": 0.5}
    )
    (due,) = found.due
    assert due.due_at is not None
    assert (due.due_at - NOW) / D == pytest.approx(1.8, abs=1 / 24 + 1e-6)


# Growth regulator ---------------------------------------------------------------------------------------


def test_degree_days_since_the_regulator_reach_back_beyond_the_forecast():
    # Kreuser & Soldat 2009: 200 degree days, base 0: ten days at 20 C.
    found = changes_of(book(regulator(8)), steady(20.0))
    regulated = found.by_surface["green"].regulated
    assert regulated is not None
    assert regulated.degree_days == pytest.approx(160.0, abs=1e-6)
    assert regulated.due_at is not None
    assert (regulated.due_at - NOW) / D == pytest.approx(2.0, abs=1 / 24 + 1e-6)


def test_the_newest_regulator_counts_and_its_own_material_says_how_long():
    row = {"name": "growth regulator, leaf", "amount": 0.027, "unit": "L"}
    newest = entry("other", "spraying", "green", NOW - 1 * D, materials=[row])
    regulated = changes_of(book(regulator(8), newest), steady()).by_surface["green"].regulated
    assert regulated is not None
    assert (regulated.degree_days, regulated.lasts) == (pytest.approx(20.0), 200)


def test_work_wanted_by_degree_days():
    wish = Wanted(job="growth_regulator", label="growth regulator", surface="green", every_degree_days=180)
    (due,) = changes_of(book(regulator(8)), steady(), (wish,)).due
    assert due.due_at is not None
    assert (due.due_at - NOW) / D == pytest.approx(1.0, abs=1 / 24 + 1e-6)
    assert "160 so far" in due.because


# Nitrogen -----------------------------------------------------------------------------------------------


def test_nitrogen_of_a_feed_by_hand():
    # Check sum: 25 L/ha of 10 % at 1.22 kg/L on 340 m2 is 0.305 g/m2.
    (one,) = feeds_of(book(feed(3)), GREEN)
    assert one.nitrogen_g_m2 == pytest.approx(0.305, abs=1e-3)


def test_nitrogen_against_the_demand_of_the_month():
    # Steady 20 C is full growth for bent: 3 g/m2 in the month.
    fed = changes_of(book(feed(3), feed(10)), steady()).by_surface["green"].fed
    month = fed.months["2026-05"]
    assert month.demand_g_m2 == pytest.approx(3.0, abs=1e-6)
    assert month.given_g_m2 == pytest.approx(0.61, abs=1e-2)
    share = diary_quantities(FOUND.site, book(feed(3), feed(10)), steady())["green"][
        "nitrogen_share_of_month"
    ]
    assert share[0, steady().weather.index(NOW)] == pytest.approx(0.61 / 3.0, abs=1e-2)


def test_a_feed_of_last_month_is_not_this_months():
    fed = changes_of(book(feed(25)), steady()).by_surface["green"].fed
    assert fed.months["2026-05"].given_g_m2 == 0.0
    assert fed.months["2026-04"].given_g_m2 == pytest.approx(0.305, abs=1e-3)
    assert fed.season_given_g_m2 == pytest.approx(0.305, abs=1e-3)


def test_a_feed_of_unknown_amount_is_not_taken_for_none():
    known = book(feed(3, litres=None), feed(10))
    month = changes_of(known, steady()).by_surface["green"].fed.months["2026-05"]
    assert (month.not_known, month.given_g_m2) == (1, pytest.approx(0.305, abs=1e-3))
    share = diary_quantities(FOUND.site, known, steady())["green"]["nitrogen_share_of_month"]
    assert np.isnan(share[0, steady().weather.index(NOW)])


# Emergence ----------------------------------------------------------------------------------------------


def test_emergence_is_counted_from_the_day_of_sowing():
    # Smooth-stalked meadow-grass: 21 days at 20 C, from a popular table; sown 14 days ago at 20 C.
    (seed,) = changes_of(book(sown(14)), steady()).by_surface["apron strip"].seed
    assert seed.way == pytest.approx(14 / 21, abs=1e-6)
    assert seed.is_estimate
    assert seed.emerges_at is not None
    assert (seed.emerges_at - NOW) / D == pytest.approx(7.0, abs=0.05)


def test_seed_that_has_rooted_is_no_longer_told():
    assert (
        changes_of(book(sown(14, grass="perennial_ryegrass")), steady())
        .by_surface["apron strip"]
        .seed[0]
        .emerges_at
        == NOW - 7 * D
    )
    assert (
        changes_of(book(sown(22, grass="perennial_ryegrass")), steady()).by_surface["apron strip"].seed == ()
    )


def test_seed_in_soil_too_cold_has_no_day():
    (seed,) = changes_of(book(sown(14)), steady(soil_c=3.0)).by_surface["apron strip"].seed
    assert (seed.way, seed.emerges_at) == (0.0, None)


# What is due --------------------------------------------------------------------------------------------


@pytest.mark.parametrize(("days_ago", "overdue_h"), [(3, -48.0), (5, 0.0), (7, 48.0)])
def test_work_wanted_every_five_days(days_ago, overdue_h):
    wish = Wanted(job="foliar_feed", label="foliar feed", surface="green", every_days=5)
    (due,) = changes_of(book(feed(days_ago)), steady(), (wish,)).due
    assert due.overdue_h(NOW) == pytest.approx(overdue_h)


def test_work_wanted_and_never_done_waits():
    wish = Wanted(job="foliar_feed", label="foliar feed", surface="green", every_days=5)
    (due,) = changes_of(book(), steady(), (wish,)).due
    assert (due.due_at, due.waits) == (None, True)
    assert due.presses(NOW, 3.0)


def test_work_wanted_once_is_gone_when_done():
    wish = Wanted(job="foliar_feed", label="foliar feed", surface="green", by=NOW + 2 * D)
    assert changes_of(book(), steady(), (wish,)).due[0].due_at == NOW + 2 * D
    assert changes_of(book(feed(1)), steady(), (wish,)).due == ()
    assert len(changes_of(book(feed(30)), steady(), (wish,)).due) == 1


def test_growth_potential_is_that_of_the_grass():
    assert growth_rate(GREEN.grass)(np.array([20.0]))[0] == pytest.approx(1.0)
    assert growth_rate(replace(GREEN.grass, optimum_c=31.0))(np.array([20.0]))[0] < 0.2


def test_hours_before_a_cut_hold_the_cut_before():
    timeline = steady()
    ratio = diary_quantities(FOUND.site, book(cut(2.5), cut(1)), timeline)["green"]["grass_height_ratio"][0]
    just_before, after = timeline.weather.index(NOW - 1 * D - 1 * H), timeline.weather.index(NOW - 1 * D)
    assert ratio[just_before] > ratio[after] == pytest.approx(1.0)


def test_a_cut_of_this_hour_is_known_at_once():
    leaf = changes_of(book(cut(0.25 / 24)), steady()).by_surface["green"].leaf
    assert leaf is not None
    assert leaf.ratio == pytest.approx(1.0, abs=0.01)


# Work that the rules do not have ------------------------------------------------------------------------


def test_work_counts_for_the_intervals_of_the_job_it_names():
    other = entry("seaweed", "spraying", "green", NOW - 2 * D, counts_as="foliar_feed")
    nothing = entry("lay_net", "other", "green", NOW - 2 * D, counts_as="nothing")
    known = book(other, nothing)
    assert [(work.job, work.kind) for work in known.done] == [("foliar_feed", "spraying")]
    wish = Wanted(job="foliar_feed", label="foliar feed", surface="green", every_days=7)
    (due,) = changes_of(known, steady(), (wish,)).due
    assert due.due_at == NOW + 5 * D


def test_work_counts_as_growth_regulator_where_it_says_so():
    other = entry("other product", "spraying", "green", NOW - 8 * D, counts_as="growth_regulator")
    regulated = changes_of(book(other), steady(20.0)).by_surface["green"].regulated
    assert regulated is not None
    assert regulated.degree_days == pytest.approx(160.0, abs=1e-6)
