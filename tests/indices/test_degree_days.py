"""Degree days."""

from __future__ import annotations

import numpy as np
import pytest

from planner.indices.growth import (
    COOL_REGULATOR,
    growing_degree_days,
)


def test_interval_in_summer_and_in_spring() -> None:
    # Kreuser and Soldat 2009: 200 degree days, base 0.
    # Soldat 2013: "about 7 days in summer, 21 to 28 in spring".
    assert growing_degree_days(np.full(7, 28.6)).sum() == pytest.approx(200.0, abs=0.5)
    assert 21 <= 200.0 / growing_degree_days(8.0) <= 28
    assert COOL_REGULATOR.due_at / growing_degree_days(28.6, COOL_REGULATOR.base_c) == pytest.approx(
        7.0, abs=0.05
    )
    assert COOL_REGULATOR.due_at < COOL_REGULATOR.rebounds_at


def test_bases_differ() -> None:
    days = [12.0, 15.0, 9.0]
    assert growing_degree_days(days).sum() == 36.0
    assert growing_degree_days(days, 10.0).sum() == 7.0


def test_frost_brings_none_and_unknown_stays_unknown() -> None:
    assert growing_degree_days(-5.0) == 0.0
    assert np.isnan(growing_degree_days([np.nan, 70.0])).all()
