"""What must hold for any figures: formulas undo each other, and refuse what is not a number above zero."""

from __future__ import annotations

import math
from collections.abc import Callable

import pytest
from hypothesis import given
from hypothesis import strategies as st

from planner.errors import InputError
from planner.mix import formulas as f
from planner.mix.nutrients import K_IN_K2O, P_IN_P2O5, nutrient_kgha

flows = st.floats(0.1, 5.0)
speeds = st.floats(1.0, 15.0)
spacings = st.floats(0.2, 2.0)
pressures = st.floats(0.5, 8.0)
volumes = st.floats(20.0, 2000.0)


def test_litres_a_hectare_is_exact_from_the_units() -> None:
    # 1.2 L/min at 5 km/h, 0.5 m: in one minute 1000/12 m x 0.5 m = 41.67 m2, so 288 L on 10,000 m2.
    assert f.volume_lha(1.2, 5.0, 0.5) == pytest.approx(1.2 * 10_000 / (5000 / 60 * 0.5), rel=1e-15)
    assert f.volume_lha(1.2, 5.0, 0.5) == pytest.approx(288.0)


@given(flows, speeds, spacings)
def test_flow_speed_and_volume_undo_each_other(flow: float, speed: float, spacing: float) -> None:
    volume = f.volume_lha(flow, speed, spacing)
    assert f.flow_for_volume_lmin(volume, speed, spacing) == pytest.approx(flow)
    assert f.speed_for_volume_kmh(volume, flow, spacing) == pytest.approx(speed)


@given(flows, pressures, pressures)
def test_pressure_and_flow_undo_each_other(flow: float, at: float, bar: float) -> None:
    assert f.pressure_for_flow_bar(f.flow_at_pressure_lmin(flow, at, bar), flow, at) == pytest.approx(bar)
    assert f.flow_at_pressure_lmin(flow, at, 4 * at) == pytest.approx(2 * flow)


@given(st.floats(0.01, 5000.0), st.floats(1.0, 600.0))
def test_loads_add_up_and_none_overflows(total: float, capacity: float) -> None:
    loads = f.loads_of(total, capacity)
    assert sum(loads) == pytest.approx(total, abs=capacity * 1.1e-3)
    assert all(0 < load <= capacity for load in loads)
    assert all(load == capacity for load in loads[:-1])


def test_a_need_that_fills_the_tanks_exactly_has_no_part_load() -> None:
    assert f.loads_of(120.0, 60.0) == (60.0, 60.0)
    assert f.loads_of(0.3 * 3, 0.3) == (0.3, 0.3, 0.3)
    assert f.loads_of(130.0, 60.0) == pytest.approx((60.0, 60.0, 10.0))


def test_elements_in_their_oxides() -> None:
    # Exact stoichiometry; the trade's factors are 0.436 and 0.830.
    assert pytest.approx(0.436, abs=0.0005) == P_IN_P2O5
    assert pytest.approx(0.830, abs=0.0005) == K_IN_K2O


def test_nutrient_by_weight_and_by_volume() -> None:
    # Computed: 20 L/ha of 10 % w/w at 1.2 kg/L = 2.40 kg/ha; by volume no density enters.
    assert nutrient_kgha(20.0, "L", 10.0, "w/w", 1.2) == pytest.approx(2.40)
    assert nutrient_kgha(20.0, "L", 12.0, "w/v", None) == pytest.approx(2.40)
    # Computed: 46 % urea for 10 kg N/ha is 21.74 kg/ha.
    assert nutrient_kgha(21.739, "kg", 46.0, "w/w", None) == pytest.approx(10.0, abs=0.001)
    with pytest.raises(InputError, match="density is needed"):
        nutrient_kgha(20.0, "L", 10.0, "w/w", None)


CALLS: list[Callable[[float], object]] = [
    lambda x: f.flow_at_pressure_lmin(x, 3.0, 2.0),
    lambda x: f.flow_at_pressure_lmin(1.0, x, 2.0),
    lambda x: f.flow_at_pressure_lmin(1.0, 3.0, x),
    lambda x: f.pressure_for_flow_bar(x, 1.0, 3.0),
    lambda x: f.pressure_for_flow_bar(1.0, x, 3.0),
    lambda x: f.pressure_for_flow_bar(1.0, 1.0, x),
    lambda x: f.volume_lha(x, 4.0, 0.5),
    lambda x: f.volume_lha(1.0, x, 0.5),
    lambda x: f.volume_lha(1.0, 4.0, x),
    lambda x: f.flow_for_volume_lmin(x, 4.0, 0.5),
    lambda x: f.speed_for_volume_kmh(x, 1.0, 0.5),
    lambda x: f.speed_for_volume_kmh(400.0, x, 0.5),
    lambda x: f.speed_for_volume_kmh(400.0, 1.0, x),
    lambda x: f.speed_kmh(x, 10.0),
    lambda x: f.speed_kmh(10.0, x),
    lambda x: f.amount_for_area(x, 10.0),
    lambda x: f.amount_for_area(1.0, x),
    lambda x: f.loads_of(x, 60.0),
    lambda x: f.loads_of(60.0, x),
    lambda x: nutrient_kgha(x, "kg", 10.0, "w/w", None),
]


@pytest.mark.parametrize("wrong", [0.0, -1.0, math.nan, math.inf])
@pytest.mark.parametrize("call", CALLS)
def test_what_is_not_a_number_above_zero_is_refused(call: Callable[[float], object], wrong: float) -> None:
    with pytest.raises(InputError, match="a number above 0 is wanted"):
        call(wrong)
