"""Where the air moves, how long drops last, and layered air by the temperature aloft."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from planner.indices.spray_air import CALM_MS, direction_spread_deg, drift_towards, drop_life_s
from planner.site import Edge
from tests.indices.made import quantities, site, weather


def test_wind_from_the_west_moves_towards_the_east() -> None:
    assert drift_towards(270.0, 90.0) == 1.0
    assert drift_towards(270.0, 270.0) == 0.0
    # The fan is 60 degrees to either side, across north too.
    np.testing.assert_array_equal(drift_towards(180.0, [0.0, 59.0, 61.0, 301.0, 299.0]), [1, 1, 0, 1, 0])
    # A wind that turns through 60 degrees reaches half as far again on either side.
    assert drift_towards(180.0, 85.0, 60.0) == 1.0
    assert drift_towards(180.0, 85.0, 20.0) == 0.0


def test_calm_may_go_any_way_and_unknown_direction_is_unknown() -> None:
    assert drift_towards(270.0, 270.0, 0.0, 0.5 * CALM_MS) == 1.0
    assert drift_towards(np.nan, 270.0, 0.0, 0.5 * CALM_MS) == 1.0
    assert np.isnan(drift_towards(np.nan, 270.0, 0.0, 3.0))
    assert np.isnan(drift_towards(270.0, 270.0, np.nan, 3.0))
    assert np.isnan(drift_towards(400.0, 270.0))


@given(st.floats(0, 360), st.floats(0, 360), st.floats(0, 240), st.floats(-360, 360))
def test_turning_both_changes_nothing(wind: float, edge: float, spread: float, turn: float) -> None:
    away = abs((wind + 180.0 - edge + 180.0) % 360.0 - 180.0)
    if abs(away - 60.0 - spread / 2) < 1e-6:
        return
    turned = drift_towards((wind + turn) % 360.0, (edge + turn) % 360.0, spread)
    assert turned == drift_towards(wind, edge, spread)


def test_row_tells_of_any_edge_and_of_none() -> None:
    made = weather(24, wind_dir_deg=200.0)
    pond, hives = Edge(name="pond", bearing_deg=20.0), Edge(name="hives", bearing_deg=180.0)
    assert (quantities(made, site(edges=(hives, pond)))["drift_to_edge"] == 1.0).all()
    assert (quantities(made, site(edges=(hives,)))["drift_to_edge"] == 0.0).all()
    assert (quantities(made, site())["drift_to_edge"] == 0.0).all()
    blind = weather(24, wind_dir_deg=None)
    assert np.isnan(quantities(blind, site(edges=(pond,)))["drift_to_edge"]).all()


@given(st.lists(st.floats(0, 360), min_size=3, max_size=20))
def test_spread_is_the_arc_of_a_plain_search(directions: list[float]) -> None:
    out = direction_spread_deg(np.array([directions]))[0]
    for hour in range(len(directions)):
        three = [a % 360.0 for a in directions[max(hour - 1, 0) : hour + 2]]
        arcs = [max((b - start) % 360.0 for b in three) for start in three]
        assert out[hour] == pytest.approx(min(arcs), abs=1e-9)


def test_drop_life_falls_with_delta_t_and_rises_with_the_square() -> None:
    # Square of the diameter over 80 times Delta T (from memory): 100 um at 8 K live 15.6 s.
    assert drop_life_s(8.0) == pytest.approx(15.625)
    assert drop_life_s(8.0, 200.0) == pytest.approx(4 * 15.625)
    assert drop_life_s(0.0) == 3600.0
    assert np.isnan(drop_life_s([np.nan, 60.0])).all()
    assert np.isnan(drop_life_s(8.0, 5000.0))
    q = quantities(weather(24), constants={"spray_drop_um": 200.0})
    np.testing.assert_allclose(q["spray_drop_life_s"], 4 * quantities(weather(24))["spray_drop_life_s"])


def test_warmer_air_aloft_is_an_inversion() -> None:
    # Noon in a fresh wind: no other sign speaks for layers.
    noon = {"wind_10m_ms": 5.0, "cloud_pct": 60.0}
    made = weather(24, air_temp_80m_c=20.0, air_temp_c=15.0, **noon)
    q = quantities(made)
    assert (q["warmer_aloft_k"] == 5.0).all()
    assert (q["inversion_likely"] == 1.0).all()
    lapse = quantities(weather(24, air_temp_80m_c=14.2, air_temp_c=15.0, **noon))
    assert lapse["inversion_likely"][0, 13] == 0.0
    assert np.isnan(quantities(weather(24))["warmer_aloft_k"]).all()
