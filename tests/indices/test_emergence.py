"""Days to emergence."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from planner.errors import NotKnown
from planner.indices.emergence import days_to_emerge, emergence_rate_per_day, established
from planner.indices.grasses import GRASSES, grass_named


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
    assert grass_named("Perennial ryegrass") is GRASSES["perennial_ryegrass"]
    assert GRASSES["bermuda"] is GRASSES["couch"]
    with pytest.raises(NotKnown, match="creeping_bent"):
        grass_named("creeping_bnet")
