"""Finding three- and six-hourly blocks in an hourly list."""

from __future__ import annotations

import numpy as np
import pytest

from planner.forecast.hourly import native_step_h

HOURS = np.arange(48) * 3600


def steps(rain):
    return native_step_h(HOURS, np.atleast_2d(np.asarray(rain, dtype=float)))


def blocks(*amounts: float, size: int) -> list[float]:
    return [amount for amount in amounts for _ in range(size)]


def test_dry_list_has_no_evidence():
    assert (steps([0.0] * 48) == 1).all()


def test_hourly_rain_stays_hourly():
    rng = np.random.default_rng(4)
    assert (steps(np.round(rng.gamma(0.4, 1.0, 48), 1)) == 1).all()


def test_six_hourly_after_hourly():
    rain = [0.1, 0.4, 0.0, 0.3, 0.9, 0.2, *[0.0] * 6, *blocks(0.5, 0, 0.3, 0, 0, 0.2, size=6)]
    assert steps(rain).tolist() == [1] * 12 + [6] * 36


def test_three_then_six():
    rain = [0.1, 0.4, 0.0, *blocks(0.5, 0.2, 0.7, size=3), *blocks(0.1, 0.4, 0, 0.8, 0, 0.3, size=6)]
    assert steps(rain).tolist() == [1] * 3 + [3] * 9 + [6] * 36


def test_one_block_of_drizzle_proves_nothing_and_one_of_rain_does():
    dry = [0.0] * 24
    assert (steps([*dry, 0.1, 0.1, 0.1, *[0.0] * 21]) == 1).all()
    assert steps([*dry, 0.7, 0.7, 0.7, *[0.0] * 21])[24:].tolist() == [3] * 24


def test_equal_hours_that_straddle_two_blocks_prove_nothing():
    assert (steps([*[0.0] * 25, 0.7, 0.7, 0.7, *[0.0] * 20]) == 1).all()


def test_unknown_hours_neither_prove_nor_break():
    rain = np.array([0.1, 0.4, 0.0, *blocks(0.5, 0, 0.3, size=3), *[0.0] * 36])
    rain[[7, 47]] = np.nan
    assert steps(rain)[3:].tolist() == [3] * 45
    assert (steps(np.full(48, np.nan)) == 1).all()


def test_a_block_cut_off_at_the_edge_of_the_list_proves_nothing():
    rain = np.atleast_2d([0.7, 0.7, *[0.0] * 46])
    assert (native_step_h(HOURS + 3600, rain) == 1).all()


def test_any_member_gives_evidence_and_any_member_breaks_it():
    even, odd = [0.0] * 24 + blocks(0.4, 0.2, *[0] * 6, size=3), [0.0] * 48
    assert steps([even, odd])[24:].tolist() == [3] * 24
    odd[40] = 0.3
    assert (steps([even, odd]) == 1).all()


@pytest.mark.parametrize("shift", [1, 2])
def test_blocks_are_counted_from_midnight_utc(shift):
    rain = np.atleast_2d([0.0] * 24 + blocks(0.4, 0.2, *[0] * 6, size=3))
    assert (native_step_h(HOURS + shift * 3600, rain) == 1).all()
