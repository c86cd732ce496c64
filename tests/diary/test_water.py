"""Water given and water measured count in the root zone; a measured height of the leaf counts as a cut's does."""

from __future__ import annotations

from typing import Any

import numpy as np
import pytest

from planner.actions.one_pass import assess
from planner.actions.pass_input import Record, record_of
from planner.config.load import Config
from planner.diary.book import Book, book_of
from planner.diary.consequences import diary_quantities
from planner.diary.growth import Height, pace_of, third_at
from planner.diary.observations import Observation
from planner.diary.water import told_water
from planner.indices.soil_water import soil_named
from planner.planning.conditions import SiteConditions, conditions_of
from planner.store.store import Store
from planner.weather import Array
from tests.diary.made import NOW, D, H, book, entry, steady
from tests.made import config, forecast, weather

FOUND = config()
GREEN = FOUND.site.surface("green")
START = NOW - 48 * H
AT = 24
SOIL = soil_named(GREEN.soil)


def told(hours_in: float, surface: str = "green", **figures: float) -> Observation:
    return Observation(at=START + hours_in * H, surface=surface, figures=figures)


def with_readings(*observations: Observation, entries: tuple[Any, ...] = ()) -> Book:
    return book_of(
        site=FOUND.site,
        grasses=FOUND.grasses,
        materials=FOUND.materials,
        entries=[(f"e{number}", one) for number, one in enumerate(entries)],
        observations=observations,
    )


def under(known: Book, **columns: Any) -> SiteConditions:
    hours = weather(START, 96, **columns)
    return conditions_of(hours, FOUND.site, now=NOW, told_water=told_water(FOUND.site, known, hours, NOW))


def water(known: Book, surface: str = "green", **columns: Any) -> Array:
    return under(known, **columns).surfaces[surface]["water_mm"][0]


def test_four_millimetres_by_hose_are_four_millimetres_in_the_root_zone():
    """Against the balance of FAO-56 equation 85 (from memory): what is given is stored, less what drains or is used."""
    dry, given = water(book()), water(with_readings(told(AT, water_mm=4.0)))
    assert np.array_equal(dry[: AT + 1], given[: AT + 1])
    assert given[AT + 1] - dry[AT + 1] == pytest.approx(4.0, abs=0.05)
    assert (given[AT + 1 :] > dry[AT + 1 :]).all()


def test_water_given_is_as_good_as_rain_of_that_hour():
    given = water(with_readings(told(AT, water_mm=4.0)))
    rained = water(book(), rain_mm={AT: 4.0})
    assert given == pytest.approx(rained, abs=1e-9)


def test_depletion_and_hand_water_follow():
    before, after = under(book()), under(with_readings(told(AT, water_mm=6.0)))
    for name in ("depletion_raw", "irrigation_mm", "storage_pct_fc"):
        was, now = (one.surfaces["green"][name][0, AT + 1] for one in (before, after))
        assert (now > was) if name == "storage_pct_fc" else (now < was) or (now == was == 0.0), name
    assert after.surfaces["green"]["depletion_raw"][0, -1] < before.surfaces["green"]["depletion_raw"][0, -1]


def test_other_surfaces_stay_as_they_were_and_go_on_sharing_a_run():
    before, after = under(book()), under(with_readings(told(AT, water_mm=4.0)))
    for surface in FOUND.site.surfaces:
        if surface.name != "green":
            assert np.array_equal(
                before.surfaces[surface.name]["water_mm"], after.surfaces[surface.name]["water_mm"]
            )
    runs = [key for key in after.sky._of_site if key[0] == "water_mm"]
    assert len(runs) == 1, "one run for all surfaces"
    ((_, zones),) = runs
    assert [zone[4] for zone in zones if zone[4]] == ["green"]


@pytest.mark.parametrize(
    "document", [{"water_mm": 4.0}, {"water_l": 4.0 * GREEN.area_m2}, {"water_l": 400.0, "area_m2": 100.0}]
)
def test_a_diary_entry_of_watering_counts_in_millimetres_or_litres(document):
    """A litre on a square metre is a millimetre: by the units, 1e-3 m3 over 1 m2."""
    done = entry("hand_watering", "watering", "green", START + AT * H, **document)
    assert water(with_readings(entries=(done,))) == pytest.approx(
        water(with_readings(told(AT, water_mm=4.0))), abs=1e-9
    )


def test_the_water_of_a_spray_is_no_watering():
    spray = entry("foliar_feed", "spraying", "green", START + AT * H, water_l=4000.0)
    assert np.array_equal(water(with_readings(entries=(spray,))), water(book()))


def test_watering_of_an_unknown_amount_is_not_taken_for_none():
    done = entry("hand_watering", "watering", "green", START + AT * H)
    found = water(with_readings(entries=(done,)))
    assert not np.isnan(found[AT])
    assert np.isnan(found[AT + 1])
    assert not np.isnan(water(with_readings(entries=(done,)), "collar")).any()


def test_a_probe_sets_the_root_zone_at_its_hour():
    """By hand: (volumetric share - field capacity) x depth."""
    share = SOIL.field_capacity - 0.02
    found = water(with_readings(told(AT, soil_moisture_pct=100 * share)))
    assert found[AT] == pytest.approx(-0.02 * 1000 * GREEN.root_depth_m)
    assert found[AT - 1] == water(book())[AT - 1]


def test_a_probe_ends_what_was_not_known():
    done = entry("hand_watering", "watering", "green", START + AT * H)
    known = with_readings(told(AT + 5, soil_moisture_pct=100 * SOIL.field_capacity), entries=(done,))
    found = water(known)
    assert np.isnan(found[AT + 1 : AT + 5]).all()
    assert not np.isnan(found[AT + 5 :]).any()
    assert found[AT + 5] == 0.0


@pytest.mark.parametrize(("pct", "bound"), [(70.0, "saturated"), (0.0, "wilting_point")])
def test_a_probe_beyond_what_the_soil_holds_is_brought_to_its_edge(pct, bound):
    found = water(with_readings(told(AT, soil_moisture_pct=pct)))
    edge = (getattr(SOIL, bound) - SOIL.field_capacity) * 1000 * GREEN.root_depth_m
    assert found[AT] == pytest.approx(edge)


def test_water_in_the_hour_of_a_probe_counts_only_after_it():
    pct = 100 * (SOIL.field_capacity - 0.03)
    before = with_readings(told(AT + 0.2, water_mm=3.0), told(AT + 0.6, soil_moisture_pct=pct))
    after = with_readings(told(AT + 0.8, water_mm=3.0), told(AT + 0.6, soil_moisture_pct=pct))
    probe = with_readings(told(AT + 0.6, soil_moisture_pct=pct))
    assert np.array_equal(water(before)[AT:], water(probe)[AT:])
    assert water(after)[AT + 1] - water(probe)[AT + 1] == pytest.approx(3.0, abs=0.05)


def test_water_still_to_come_or_older_than_the_forecast_does_not_count():
    for hours_in in (49.0, -1.0):
        assert np.array_equal(water(with_readings(told(hours_in, water_mm=9.0))), water(book()))


def test_water_counts_in_every_member():
    many = under(with_readings(told(AT, water_mm=4.0)), members=3)
    dry = under(book(), members=3)
    gained = many.surfaces["green"]["water_mm"] - dry.surfaces["green"]["water_mm"]
    assert gained.shape[0] in (1, 3)
    assert gained[:, AT + 1] == pytest.approx(4.0, abs=0.05)


# Height of the leaf -------------------------------------------------------------------------------------


def test_a_measured_height_sets_the_leaf_from_then_on():
    cut = entry("mow_green", "mowing", "green", NOW - 4 * D)
    known = with_readings(
        Observation(at=NOW - 1 * D, surface="green", figures={"height_mm": 5.0}), entries=(cut,)
    )
    timeline = steady()
    ratio = diary_quantities(FOUND.site, known, timeline)["green"]["grass_height_ratio"][0]
    measured = timeline.weather.index(NOW - 1 * D)
    assert ratio[measured] == pytest.approx(5.0 / GREEN.cut_height_mm)
    assert ratio[measured - 1] != pytest.approx(5.0 / GREEN.cut_height_mm, abs=0.01)
    # Full growth at 20 C for bent, a day long, of the guessed pace.
    pace = pace_of(GREEN, (), timeline, None).full_growth_mm_d
    assert ratio[timeline.weather.index(NOW)] == pytest.approx((5.0 + pace) / GREEN.cut_height_mm, rel=1e-6)


def test_a_cut_after_the_measurement_sets_it_again():
    cut = entry("mow_green", "mowing", "green", NOW)
    known = with_readings(
        Observation(at=NOW - 1 * D, surface="green", figures={"height_mm": 9.0}), entries=(cut,)
    )
    timeline = steady()
    ratio = diary_quantities(FOUND.site, known, timeline)["green"]["grass_height_ratio"][0]
    assert ratio[timeline.weather.index(NOW)] == pytest.approx(1.0)


def test_the_third_is_counted_from_the_measured_height():
    timeline = steady()
    pace = pace_of(GREEN, (), timeline, 0.5)
    # Half as high again as the cut, less what stands, at half a millimetre a day: by hand.
    last = Height(at=NOW, mm=1.5 * GREEN.cut_height_mm - 1.0)
    due = third_at(GREEN, last, timeline, pace)
    assert due is not None
    assert (due - NOW) / D == pytest.approx(2.0, abs=1 / 24 + 1e-6)


# The whole way ------------------------------------------------------------------------------------------


def test_a_pass_counts_water_of_the_store_and_of_the_site_file(tmp_path):
    four = Observation(at=NOW - 2 * H, surface="green", figures={"water_mm": 4.0})
    store = Store.open(str(tmp_path / "store.db"))
    store.add_observation(four, NOW)
    gone = store.add_observation(Observation(at=NOW, surface="green", figures={"water_mm": 50.0}), NOW)
    store.withdraw_observation(gone.uuid, NOW, reason="5 was meant")
    record = record_of(store, FOUND, NOW)
    store.close()
    at = weather(START, 96).index(NOW)

    def reached(found: Config, record: Record | None) -> float:
        made = assess(found, forecast(weather(START, 96), NOW), now=NOW, record=record)
        return float(made.plan.conditions.surfaces["green"]["water_mm"][0, at])

    dry = reached(FOUND, None)
    assert reached(FOUND, record) - dry == pytest.approx(4.0, abs=0.1)
    assert reached(config(readings=(four,)), None) == reached(FOUND, record)
