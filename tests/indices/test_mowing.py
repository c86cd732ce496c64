"""Leaf length between cuts."""

from __future__ import annotations

import numpy as np
import pytest

from planner.indices.mowing import ONE_THIRD, days_to_cut, leaf_length_mm


def test_days_to_cut_of_a_lawn() -> None:
    # Cut at 25 mm, growth potential 0.662, 4 mm a day: 4.7 days (worked; rule and pace from memory).
    assert days_to_cut(25.0, 0.662, 4.0) == pytest.approx(4.7, abs=0.05)
    assert days_to_cut(25.0, 0.0, 4.0) == np.inf


def test_leaf_reaches_the_third_when_it_should() -> None:
    leaf = leaf_length_mm(25.0, np.full(24 * 6, 0.662), 4.0)
    assert leaf[0] == 25.0
    days = int(np.argmax(leaf >= ONE_THIRD * 25.0)) / 24
    assert days == pytest.approx(4.72, abs=0.05)


def test_unknown_growth_is_unknown_from_there_on() -> None:
    leaf = leaf_length_mm(4.0, [0.5, np.nan, 0.5], 2.0)
    assert np.isnan(leaf).tolist() == [False, True, True]
    assert np.isnan(days_to_cut(4.0, [np.nan, 1.4], 2.0)).all()
