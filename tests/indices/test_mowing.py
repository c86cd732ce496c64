"""Leaf length between cuts."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from planner.indices.growth import fit_full_growth


def test_pace_is_found_again_from_a_noisy_log() -> None:
    # A keeper who measures to half a millimetre, every few days over a season.
    rng = np.random.default_rng(4)
    sums = rng.uniform(0.5, 4.0, 40)
    grown = 1.3 * sums + rng.normal(0.0, 0.5, 40)
    fit = fit_full_growth(grown, sums)
    assert fit.mm_d == pytest.approx(1.3, abs=0.1)
    assert fit.spread_mm == pytest.approx(0.5, abs=0.15)
    assert fit.cuts == 40
    # The pace learned on the first twenty cuts tells the other twenty; a pace from books does not.
    half = fit_full_growth(grown[:20], sums[:20])
    error = [float(np.sqrt(np.mean((grown[20:] - pace * sums[20:]) ** 2))) for pace in (half.mm_d, 4.0)]
    assert error[0] < 0.7 < error[1]


def test_log_with_too_few_cuts_is_refused_and_gaps_are_left_out() -> None:
    with pytest.raises(ValueError, match="log at least three"):
        fit_full_growth([1.0, 2.0, np.nan], [1.0, 2.0, 3.0])
    fit = fit_full_growth([1.0, 2.0, 3.0, np.nan, 5.0], [1.0, 2.0, 3.0, 4.0, 0.0])
    assert fit.mm_d == pytest.approx(1.0)
    assert fit.cuts == 3
    assert fit.spread_mm == pytest.approx(0.0, abs=1e-12)


@given(st.lists(st.tuples(st.floats(0, 20), st.floats(0.1, 10)), min_size=3, max_size=30), st.floats(0.1, 5))
def test_pace_scales_with_the_ruler_and_is_never_negative(cuts: list[tuple[float, float]], by: float) -> None:
    grown, sums = (np.array([cut[part] for cut in cuts]) for part in (0, 1))
    fit = fit_full_growth(grown, sums)
    assert fit.mm_d >= 0.0
    assert fit_full_growth(by * grown, sums).mm_d == pytest.approx(by * fit.mm_d, abs=1e-9)
