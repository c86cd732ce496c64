"""The bucket of the root zone."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from planner.errors import NotKnown
from planner.indices.grasses import GRASSES
from planner.indices.soil_water import (
    MEETS_SHARE,
    SERVICE_CAPACITY,
    SOILS,
    readily_available_mm,
    run_buckets,
    soil_named,
)
from planner.weather import Array
from tests.indices.made import quantities, site, weather


def _run(
    rain: object, use: object, start: float = 0.0, soil: str = "loam", measured_mm: Array | None = None
) -> Array:
    """A root zone of 0.15 m with 9 mm of ready water; bounds within 5 % of field capacity count as one."""
    rain_mm, use_mm = np.atleast_2d(np.asarray(rain, float)), np.atleast_2d(np.asarray(use, float))
    rain_mm, use_mm, ready_mm = np.broadcast_arrays(rain_mm, use_mm, np.full((1, 1), 9.0))
    zone, members = SOILS[soil], len(rain_mm)
    return run_buckets(
        rain_mm,
        use_mm,
        ready_mm,
        np.full(members, 1000 * (zone.field_capacity - zone.wilting_point) * 0.15),
        np.full(members, 1000 * (zone.saturated - zone.field_capacity) * 0.15),
        np.full(members, np.exp(-1 / zone.drains_h)),
        np.full(members, start),
        None if measured_mm is None else np.broadcast_to(measured_mm, rain_mm.shape),
        MEETS_SHARE * 1000 * zone.field_capacity * 0.15,
    )


def test_stress_in_the_worked_sand() -> None:
    # Sand: 18 % and 6 % over 0.15 m is 18.0 mm; p 0.40 is 7.2 mm; at 3 mm/d p is 0.48.
    # Worked by hand with FAO-56 equations 82 and 83 (from memory).
    sand = SOILS["sand"]
    total = 1000 * (sand.field_capacity - sand.wilting_point) * 0.15
    assert total == pytest.approx(18.0)
    assert readily_available_mm(total, 5.0, 0.40) == pytest.approx(7.2)
    assert readily_available_mm(total, 3.0, 0.40) == pytest.approx(18.0 * 0.48)


def test_surplus_drains_and_drought_is_bounded() -> None:
    rain = np.zeros(96)
    rain[0] = 20.0
    wet = _run(rain, np.zeros(96))[0]
    assert wet[0] == 0.0
    assert wet[1] == pytest.approx(20.0 * np.exp(-1 / 24))
    assert wet[25] == pytest.approx(20.0 * np.exp(-25 / 24), rel=1e-6)
    dry = _run(np.zeros(2000), np.full(2000, 0.3))[0]
    assert dry[-1] >= -1000 * (0.27 - 0.12) * 0.15 - 1e-9
    assert (np.diff(dry) <= 1e-12).all()


def test_sand_is_firm_again_before_loam() -> None:
    rain = np.zeros(48)
    rain[0:4] = 5.5
    sand, loam = (_run(rain, np.zeros(48), soil=soil)[0, 12] for soil in ("sand", "loam"))
    assert sand < 4.0 < loam


@settings(deadline=None)
@given(st.lists(st.floats(0, 30), min_size=3, max_size=40), st.floats(0, 0.8), st.sampled_from(sorted(SOILS)))
def test_water_stays_between_dry_and_full(rain: list[float], use: float, soil: str) -> None:
    kind = SOILS[soil]
    out = _run(rain, np.full(len(rain), use), soil=soil)
    assert (out <= 150 * (kind.saturated - kind.field_capacity) + 1e-9).all()
    assert (out >= -150 * (kind.field_capacity - kind.wilting_point) - 1e-9).all()
    wetter = _run([value + 1 for value in rain], np.full(len(rain), use), soil=soil)
    assert (wetter >= out - 1e-9).all()


def test_lost_state_is_taken_up_again_from_a_measurement() -> None:
    rain = np.zeros(10)
    rain[3] = np.nan
    lost = _run(rain, np.zeros(10), start=-3.0)
    assert np.isnan(lost[0, 4:]).all()
    measured = np.full((1, 10), np.nan)
    measured[0, 7] = -2.0
    found = _run(rain, np.zeros(10), start=-3.0, measured_mm=measured)
    assert np.isnan(found[0, 4:7]).all()
    assert (found[0, 7:] == -2.0).all()
    # No use in the gap: it cannot have become drier than it was.
    measured[0, 7] = -5.0
    assert (_run(rain, np.zeros(10), start=-3.0, measured_mm=measured)[0, 7:] == -3.0).all()


def test_surface_starts_from_forecast_moisture_or_a_quarter_down() -> None:
    place = site(soil="sand", root_depth_m=0.15)
    guess = quantities(weather(48), place)
    assert guess["depletion_raw"][0, 0] == pytest.approx(0.25 * 18.0 / 7.9, abs=0.2)
    given = quantities(weather(48, soil_moisture_m3m3=SERVICE_CAPACITY), place)
    assert given["storage_pct_fc"][0, 0] == pytest.approx(100.0)
    assert given["depletion_raw"][0, 0] == 0.0
    assert given["storage_pct_fc"][0, -1] < 100.0
    # The forecast's soil may be a loam: its surplus says nothing about sand.
    wet = quantities(weather(48, soil_moisture_m3m3=0.42), place)
    assert wet["storage_pct_fc"][0, 0] == pytest.approx(100.0)


def test_warm_grass_draws_less() -> None:
    cool = quantities(weather(72, et0_mm=0.2), site(root_depth_m=0.4))
    warm = quantities(weather(72, et0_mm=0.2), site(root_depth_m=0.4, grass=GRASSES["couch"]))
    drawn = [float(q["water_mm"][0, 0] - q["water_mm"][0, 48]) for q in (cool, warm)]
    assert drawn[0] == pytest.approx(48 * 0.2 * 0.80, abs=0.3)
    assert drawn[1] == pytest.approx(48 * 0.2 * 0.65, abs=0.3)


def test_rain_lifts_storage_over_field_capacity_for_a_day() -> None:
    rain = np.zeros(72)
    rain[8:12] = 5.5
    q = quantities(weather(72, rain_mm=rain), site(soil="loam"))
    storage = q["storage_pct_fc"][0]
    assert storage[13] > 120.0
    assert storage[13] > storage[30] > storage[60]


def test_soil_must_be_known() -> None:
    assert soil_named("Sandy loam") is SOILS["sandy_loam"]
    with pytest.raises(NotKnown, match="sandy_loam"):
        soil_named("peat")


def test_lost_state_is_known_again_once_its_bounds_have_met() -> None:
    # A hole of one hour; then enough rain to fill the driest and the fullest alike.
    rain = np.zeros(96)
    rain[20] = np.nan
    rain[40:44] = 12.0
    out = _run(rain, np.full(96, 0.1), start=-6.0)[0]
    assert not np.isnan(out[:21]).any()
    assert np.isnan(out[21:40]).all()
    assert not np.isnan(out[46:]).any()
    # What it is then lies within half the tolerance of any rain that may have fallen in the hole.
    tolerance = MEETS_SHARE * 1000.0 * SOILS["loam"].field_capacity * 0.15
    for fell in (0.0, 3.0, 40.0):
        rain[20] = fell
        true = _run(rain, np.full(96, 0.1), start=-6.0)[0]
        assert np.abs(true - out)[46:].max() <= 0.5 * tolerance


def test_dry_hole_stays_unknown_for_long() -> None:
    rain = np.zeros(72)
    rain[20] = np.nan
    assert np.isnan(_run(rain, np.full(72, 0.1), start=-6.0)[0, 21:]).all()


@settings(deadline=None)
@given(
    st.lists(st.floats(0, 20), min_size=30, max_size=30),
    st.floats(0, 0.6),
    st.floats(0, 30),
    st.integers(2, 20),
    st.sampled_from(sorted(SOILS)),
)
def test_state_told_after_a_gap_is_near_the_truth(
    rain: list[float], use: float, fell: float, hole: int, soil: str
) -> None:
    true_rain = np.array(rain)
    true_rain[hole] = fell
    true = _run(true_rain, np.full(30, use), soil=soil)[0]
    seen = true_rain.copy()
    seen[hole] = np.nan
    told = _run(seen, np.full(30, use), soil=soil)[0]
    known = ~np.isnan(told)
    tolerance = MEETS_SHARE * 1000.0 * SOILS[soil].field_capacity * 0.15
    assert known[: hole + 1].all()
    assert np.abs(true - told)[known].max() <= 0.5 * tolerance + 1e-9
    # Once known, always known.
    after = known[hole + 1 :]
    assert not after.any() or after[int(np.argmax(after)) :].all()


def test_hole_in_the_forecast_does_not_blind_the_rest_of_the_run() -> None:
    rain = np.zeros(24 * 6)
    rain[30] = np.nan
    rain[40:48] = 6.0
    storage = quantities(weather(24 * 6, rain_mm=rain))["storage_pct_fc"][0]
    assert np.isnan(storage[31:40]).all()
    assert not np.isnan(storage[50:]).any()
