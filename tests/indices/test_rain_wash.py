"""The wash index against vectors worked apart from it."""

from __future__ import annotations

from datetime import timedelta

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from planner.errors import NotKnown
from planner.indices.grasses import GRASSES
from planner.indices.rain_energy import rain_events
from planner.indices.rain_wash import WASH, seed_exposure, wash_constants, wash_index
from planner.indices.runoff import sheet_shear_pa
from planner.site import Sowing
from tests.indices.made import NOW, quantities, site, weather


def _index(rain: list[float], slope: float = 10.0, **given: object) -> float:
    hours = np.zeros((1, len(rain) + 4))
    hours[0, 2 : 2 + len(rain)] = rain
    out = wash_index(hours, slope_pct=slope, slope_length_m=10.0, curve_number=86.0, **given)  # type: ignore[arg-type]
    assert out[0, 0] == 0.0
    return float(out.max())


#: Hourly rain and W on a slope of 10 %, 10 m long, curve number 86, worked by hand.
VECTORS = [
    ([1.0] * 5, 0.058),
    ([3.0], 0.118),
    ([12.7 / 6] * 6, 0.353),
    ([20.0], 0.968),
    ([1.0, 3.0, 14.0, 8.0, 3.0, 1.0], 0.964),
    ([40.0 / 12] * 12, 0.836),
]


@pytest.mark.parametrize(("rain", "expected"), VECTORS)
def test_wash_index_worked_vectors(rain: list[float], expected: float) -> None:
    assert _index(rain) == pytest.approx(expected, abs=0.01)


def test_known_infiltration_adds_its_excess() -> None:
    assert _index([20.0], sinks_in_mm_h=15.0) == pytest.approx(0.994, abs=0.01)


def test_gentle_slope_washes_less() -> None:
    assert _index([1.0, 3.0, 14.0, 8.0, 3.0, 1.0], 2.0) == pytest.approx(0.734, abs=0.01)


def test_event_over_midnight_counts_on_both_days() -> None:
    rain = np.zeros(72)
    # Local midnight at the made site is 22 h UTC, the first hour.
    rain[22:26] = 8.0
    q = quantities(weather(72, rain_mm=rain), site(slope_pct=8.0))
    by_event, by_day = q["wash_bare"][0], q.days.highest(q["wash_bare"])[0]
    assert np.unique(by_event[22:26]).size == 1
    assert by_day[0] == by_day[1] == by_event[22]
    assert by_day[2] == 0.0


def test_two_wet_hours_on_a_bank() -> None:
    # 10 and 8 mm on 7 %, 8 m: 0.79 bare, 0.05 at 80 % cover (worked apart).
    rain = np.zeros((1, 6))
    rain[0, 2:4] = [10.0, 8.0]
    bank = {"slope_pct": 7.0, "slope_length_m": 8.0, "curve_number": 86.0}
    assert wash_index(rain, **bank).max() == pytest.approx(0.79, abs=0.01)
    assert wash_index(rain, **bank, exposure=seed_exposure(80.0, False, 0.0)).max() == pytest.approx(
        0.05, abs=0.01
    )


def test_exposure_under_cover() -> None:
    assert seed_exposure(80.0, False, 0.0) == pytest.approx(0.061, abs=0.001)
    assert seed_exposure(50.0, False, 0.0) == pytest.approx(0.174, abs=0.001)
    assert seed_exposure(0.0, True, 0.0) == pytest.approx(0.43)
    assert seed_exposure(0.0, False, 1.0) == WASH.established
    assert _index([1, 3, 14, 8, 3, 1], exposure=seed_exposure(80.0, False, 0.0)) == pytest.approx(
        0.059, abs=0.002
    )


def test_band_holds_the_middle() -> None:
    for rain, _ in VECTORS:
        assert _index(rain, end="low") <= _index(rain) <= _index(rain, end="high")


rains = st.lists(st.floats(0, 30), min_size=1, max_size=12)


@settings(deadline=None)
@given(rains, st.floats(0, 40), st.floats(0.1, 5))
def test_index_is_bounded_and_grows_with_rain_and_slope(rain: list[float], slope: float, more: float) -> None:
    base = _index(rain, slope)
    assert 0.0 <= base <= 1.0
    scaled = [value * (1.0 + more / 10) for value in rain]
    if min(value for value in [*rain, 9.0] if value > 0 or value == 9.0) > 1.5:
        assert _index(scaled, slope) >= base - 1e-9


def test_unknown_rain_is_unknown_and_the_rest_is_judged() -> None:
    rain = np.array([[0.0, np.nan, 20.0, 0.0]])
    out = wash_index(rain, slope_pct=10, slope_length_m=10, curve_number=86)
    assert np.isnan(out[0]).tolist() == [False, True, False, False]
    assert out[0, 2] > 0.9


def test_turf_without_seed_is_not_at_risk_and_sown_turf_is() -> None:
    rain = np.zeros(72)
    rain[30:32] = [6.0, 14.0]
    made, place = weather(72, rain_mm=rain), site(slope_pct=8.0)
    bare = quantities(made, place)
    assert bare["wash_bare"].max() > 0.7
    assert bare["wash_risk"].max() <= 0.01
    fresh = Sowing(surface="green", at=NOW - timedelta(days=1), grass=GRASSES["fescue"])
    sown = quantities(made, place, sowings=(fresh,))
    assert sown["wash_risk"].max() == pytest.approx(sown["wash_bare"].max())
    covered = Sowing(surface="green", at=fresh.at, grass=fresh.grass, cover_pct=80.0, tackifier=True)
    assert quantities(made, place, sowings=(covered,))["wash_risk"].max() < 0.03
    old = Sowing(surface="green", at=NOW - timedelta(days=90), grass=fresh.grass)
    assert quantities(made, place, sowings=(old,))["wash_risk"].max() <= 0.01


def test_rain_before_the_seed_lies_there_does_not_count() -> None:
    rain = np.zeros(72)
    rain[10:12] = [6.0, 14.0]
    sowing = Sowing(surface="green", at=NOW + timedelta(days=1), grass=GRASSES["fescue"])
    q = quantities(weather(72, rain_mm=rain), site(slope_pct=8.0), sowings=(sowing,))
    assert q["wash_risk"].max() <= 0.01


def test_constants_of_a_site_replace_the_defaults() -> None:
    own = wash_constants({"ei50": 20.0, "curve_number_loam": 80.0, "sinks_in_mm_h_sand": 25.0})
    assert own.ei50 == 20.0
    assert own.curve_numbers["loam"] == 80.0
    assert own.curve_numbers["clay"] == WASH.curve_numbers["clay"]
    assert own.sinks_in_mm_h["sand"] == 25.0
    assert wash_constants({}) is WASH
    with pytest.raises(NotKnown, match="ei50"):
        wash_constants({"ei5": 1.0})
    rain = np.zeros(72)
    rain[30] = 10.0
    made, place = weather(72, rain_mm=rain), site(slope_pct=8.0)
    tame = quantities(made, place, constants={"ei50": 500.0})
    assert tame["wash_bare"].max() < quantities(made, place)["wash_bare"].max()


BED = {"slope_pct": 10.0, "slope_length_m": 10.0, "curve_number": 86.0}


def test_each_event_is_judged_for_itself() -> None:
    rain = np.zeros((1, 40))
    rain[0, 3] = rain[0, 30] = 20.0
    index = wash_index(rain, **BED)
    # The vector of one hour of 20 mm, twice, a day apart.
    assert index[0, [3, 30]] == pytest.approx([0.968, 0.968], abs=0.01)
    assert index[0, 15] == 0.0


def test_frozen_soil_lets_all_water_run() -> None:
    # 3 mm break the bed by 0.118 (the vector above, too little to run off); frozen, all 3 mm shear as well.
    pull = float(sheet_shear_pa(3.0, 10.0, 10.0, WASH.roughness)) / WASH.critical_shear_pa
    carried = pull**2 / (1.0 + pull**2)
    rain = np.zeros((1, 8))
    rain[0, 4] = 3.0
    frozen = np.zeros((1, 8), dtype=bool)
    assert wash_index(rain, **BED, frozen=frozen)[0, 4] == pytest.approx(0.118, abs=0.001)
    frozen[0, 4] = True
    assert wash_index(rain, **BED, frozen=frozen)[0, 4] == pytest.approx(1 - 0.882 * (1 - carried), abs=0.001)
    # Frost in another hour of the same event changes nothing of this one.
    two = np.zeros((1, 8))
    two[0, 4:6] = 3.0, 0.3
    beside = np.zeros((1, 8), dtype=bool)
    beside[0, 5] = True
    assert wash_index(two, **BED, frozen=beside)[0, 4] < wash_index(two, **BED, frozen=frozen)[0, 4]


def test_melt_flows_and_strikes_nothing() -> None:
    pull = float(sheet_shear_pa(3.0, 10.0, 10.0, WASH.roughness)) / WASH.critical_shear_pa
    none, melt = np.zeros((1, 8)), np.zeros((1, 8))
    melt[0, 4] = 3.0
    found = wash_index(none, **BED, melt_mm=melt, frozen=True)[0]
    assert found[4] == pytest.approx(pull**2 / (1.0 + pull**2))
    assert found[0] == 0.0
    # On open ground 3 mm sink in.
    assert wash_index(none, **BED, melt_mm=melt)[0, 4] == pytest.approx(0.0, abs=1e-6)
    unknown = none.copy()
    unknown[0, 4] = np.nan
    assert np.isnan(wash_index(unknown, **BED, melt_mm=melt)[0]).tolist() == [n == 4 for n in range(8)]


def test_ground_that_takes_more_than_falls_adds_nothing() -> None:
    assert _index([20.0], sinks_in_mm_h=100.0) == pytest.approx(_index([20.0]))


def test_events_that_are_parted_already_are_taken_as_they_are() -> None:
    rain = np.zeros((1, 8))
    rain[0, 4] = 20.0
    assert wash_index(rain, **BED, events=rain_events(np.zeros((1, 8)))).max() == 0.0
    assert wash_index(np.zeros((1, 8)), **BED).max() == 0.0


def test_exposure_keeps_to_what_can_be() -> None:
    assert (
        seed_exposure(140.0, False, 0.0)
        == seed_exposure(100.0, False, 0.0)
        == pytest.approx(0.0302, abs=1e-4)
    )
    assert seed_exposure(-20.0, False, 0.0) == 1.0
    assert seed_exposure(0.5, False, 0.0) == pytest.approx(0.9827, abs=1e-4)
    assert seed_exposure(0.0, False, -0.5) == 1.0
    assert seed_exposure(0.0, False, 0.4) == pytest.approx(0.6)


def test_a_soil_that_is_not_known_has_no_constants() -> None:
    for name in ("curve_number_peat", "sinks_in_mm_h_peat", "curve_number_"):
        with pytest.raises(NotKnown):
            wash_constants({name: 80.0})
    mixed = wash_constants({"ei50": 20.0, "sinks_in_mm_h_sand": 25.0})
    assert dict(mixed.sinks_in_mm_h) == {"sand": 25.0}
    assert mixed.curve_numbers == WASH.curve_numbers


def test_an_hour_that_is_not_known_counts_as_dry_within_its_event() -> None:
    hole, dry = np.zeros((1, 12)), np.zeros((1, 12))
    hole[0, 4:7], dry[0, 4:7] = [8.0, np.nan, 8.0], [8.0, 0.0, 8.0]
    assert wash_index(hole, **BED)[0, 4] == pytest.approx(wash_index(dry, **BED)[0, 4])
    none = np.zeros((1, 12))
    assert wash_index(hole, **BED, melt_mm=none)[0, 6] == pytest.approx(wash_index(dry, **BED)[0, 6])
