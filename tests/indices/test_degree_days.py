"""Degree days."""

from __future__ import annotations

import numpy as np
import pytest

from planner.indices.degree_days import (
    COOL_REGULATOR,
    WARM_REGULATOR,
    days_until_sum,
    growing_degree_days,
    interval_days,
)


def test_interval_in_summer_and_in_spring() -> None:
    # Kreuser and Soldat 2009: 200 degree days, base 0.
    # Soldat 2013: "about 7 days in summer, 21 to 28 in spring".
    assert growing_degree_days(np.full(7, 28.6)).sum() == pytest.approx(200.0, abs=0.5)
    assert 21 <= 200.0 / growing_degree_days(8.0) <= 28
    assert interval_days(28.6) == pytest.approx(7.0, abs=0.05)
    assert 21 <= interval_days(8.0) <= 28
    assert interval_days(28.6, WARM_REGULATOR) == pytest.approx(200.0 / 18.6)
    assert np.isinf(interval_days(-3.0))
    assert np.isnan(interval_days(np.nan))
    for interval in (COOL_REGULATOR, WARM_REGULATOR):
        assert interval.due_at < interval.rebounds_at


def test_bases_differ() -> None:
    days = [12.0, 15.0, 9.0]
    assert growing_degree_days(days).sum() == 36.0
    assert growing_degree_days(days, 10.0).sum() == 7.0


def test_frost_brings_none_and_unknown_stays_unknown() -> None:
    assert growing_degree_days(-5.0) == 0.0
    assert np.isnan(growing_degree_days([np.nan, 70.0])).all()


def test_days_until_the_sum_count_part_days() -> None:
    daily = [10.0, 20.0, 30.0]
    assert days_until_sum(daily, 20.0) == pytest.approx(1.5)
    assert days_until_sum(daily, 20.0, already=25.0) == 0.0
    assert days_until_sum(daily, 60.0) == pytest.approx(3.0)
    assert np.isinf(days_until_sum(daily, 61.0))
    assert np.isnan(days_until_sum([10.0, np.nan, 30.0], 20.0))
    assert days_until_sum([10.0, np.nan], 10.0) == pytest.approx(1.0)
