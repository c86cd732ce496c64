"""Days to emergence."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from planner.indices.grasses import GRASSES
from planner.indices.growth import days_to_emerge, emergence_rate_per_day, established
from planner.site import Sowing
from tests.indices.made import NOW, quantities, weather


def test_ryegrass_worked_example() -> None:
    # 7 days at 20 C over a base of 4 C; at 10 C that is 18.7 days. Judgement, no source.
    assert days_to_emerge(10.0, 7.0, 20.0, 4.0) == pytest.approx(18.7, abs=0.05)
    assert days_to_emerge(20.0, 7.0, 20.0, 4.0) == 7.0
    assert days_to_emerge(30.0, 7.0, 20.0, 4.0) == 7.0
    assert days_to_emerge(4.0, 7.0, 20.0, 4.0) == np.inf


def test_established_between_once_and_three_times() -> None:
    assert established([0.5, 1.0, 2.0, 3.0, 9.0]).tolist() == [0.0, 0.0, 0.5, 1.0, 1.0]


@given(st.floats(-20, 44), st.sampled_from(sorted(GRASSES)))
def test_warmer_soil_is_never_slower(soil: float, name: str) -> None:
    grass = GRASSES[name]
    best = (grass.emergence_days, grass.emergence_optimum_c, grass.emergence_base_c)
    assert emergence_rate_per_day(soil + 1.0, *best) >= emergence_rate_per_day(soil, *best) >= 0.0
    assert days_to_emerge(soil, *best) >= grass.emergence_days - 1e-9


def test_unknown_soil_gives_unknown_days() -> None:
    assert np.isnan(days_to_emerge([np.nan, 60.0], 7.0, 20.0, 4.0)).all()


def test_grasses_are_sound() -> None:
    for grass in GRASSES.values():
        assert grass.season in {"cool", "warm"}
        assert grass.emergence_base_c < grass.emergence_optimum_c
        assert grass.optimum_c == (grass.optimum_c if grass.season == "warm" else min(grass.optimum_c, 20.0))
    assert GRASSES["bermuda"] is GRASSES["couch"]


def test_row_tells_days_for_the_grass_sown_last() -> None:
    q = quantities(weather(48, soil_temp_6cm_c=10.0))
    # Creeping bent, the surface's own: 10 days at 20 C over 4 C.
    assert q["days_to_emerge"][0, 0] == pytest.approx(10.0 * 16.0 / 6.0)
    sown = Sowing(surface="green", at=NOW, grass=GRASSES["perennial_ryegrass"])
    sown_q = quantities(weather(48, soil_temp_6cm_c=10.0), sowings=(sown,))
    assert sown_q["days_to_emerge"][0, 0] == pytest.approx(18.67, abs=0.01)
    assert quantities(weather(48, soil_temp_6cm_c=1.0))["days_to_emerge"].max() == 365.0


def test_best_temperature_lies_within_the_printed_optimum_range() -> None:
    # Purdue turf 101, adapted from Beard: optimum ranges of alternating temperature, printed in F.
    printed = {
        "creeping_bent": (59, 86),
        "annual_meadow_grass": (68, 86),
        "smooth_stalked_meadow_grass": (59, 86),
        "rough_stalked_meadow_grass": (68, 86),
        "tall_fescue": (68, 86),
        "red_fescue": (59, 77),
        "sheep_fescue": (59, 77),
        "perennial_ryegrass": (68, 86),
    }
    for name, (low, high) in printed.items():
        assert (low - 32) / 1.8 <= GRASSES[name].emergence_optimum_c <= (high - 32) / 1.8, name


def test_days_at_best_lie_within_the_popular_table() -> None:
    # A popular web table (read); bent, annual meadow-grass and kikuyu are from memory and not judged here.
    printed = {
        "perennial_ryegrass": (5, 10),
        "red_fescue": (7, 14),
        "hard_fescue": (7, 14),
        "tall_fescue": (7, 12),
        "smooth_stalked_meadow_grass": (14, 30),
        "couch": (10, 30),
        "zoysia": (14, 21),
    }
    for name, (low, high) in printed.items():
        assert low <= GRASSES[name].emergence_days <= high, name
