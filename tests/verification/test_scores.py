"""Scores and intervals against a general library and against theory."""

import numpy as np
import pytest
import scores
import xarray

from planner.verification import base


def test_brier_agrees_with_a_general_library():
    rng = np.random.default_rng(3)
    chance, happened = rng.random(500), rng.random(500) < 0.3
    # Source: the scores package, brier_score.
    oracle = scores.probability.brier_score(
        xarray.DataArray(chance), xarray.DataArray(happened.astype(float))
    )
    assert base.brier(chance, happened).mean() == pytest.approx(float(oracle), abs=1e-12)


def test_kappa_of_a_worked_table():
    # Source: Cohen 1960 as in textbooks (from memory): 20 both yes, 5, 10, 15 both no of 50 give 0.4.
    assert base.kappa_of(np.array([20, 5, 10, 15])) == pytest.approx(0.40)
    said = np.repeat([True, True, False, False], [20, 5, 10, 15])
    happened = np.repeat([True, False, True, False], [20, 5, 10, 15])
    assert base.kappa(said, happened) == pytest.approx(0.40)


def test_interval_of_independent_blocks_is_that_of_the_normal():
    rng = np.random.default_rng(5)
    own, other = rng.normal(0.5, 1.0, 400), rng.normal(0.7, 1.0, 400)
    gain, low, high = base.loss_gain(own, other, np.arange(400))
    half = 1.96 * np.std(other - own) / np.sqrt(400)
    assert gain == pytest.approx((other - own).mean())
    assert high - gain == pytest.approx(half, rel=0.1)
    assert gain - low == pytest.approx(half, rel=0.1)


def test_cases_alike_in_a_block_widen_the_interval():
    rng = np.random.default_rng(7)
    alike = np.repeat(rng.normal(0.1, 1.0, 60), 7)
    zero = np.zeros(alike.size)
    apart = base.loss_gain(zero, alike, np.arange(alike.size))
    together = base.loss_gain(zero, alike, np.repeat(np.arange(60), 7))
    assert together[2] - together[1] > 2.0 * (apart[2] - apart[1])


def test_root_and_kappa_gains_have_the_sign_of_the_better():
    rng = np.random.default_rng(9)
    truth = rng.random(700) < 0.4
    good, poor = truth ^ (rng.random(700) < 0.05), truth ^ (rng.random(700) < 0.25)
    block = np.arange(700) // 7
    gain, low, _ = base.kappa_gain(good, poor, truth, block)
    assert gain == pytest.approx(base.kappa(good, truth) - base.kappa(poor, truth))
    assert low > 0.0
    error, worse = rng.normal(0, 1, 700) ** 2, rng.normal(0, 2, 700) ** 2
    gain, low, _ = base.loss_gain(error, worse, block, root=True)
    assert gain == pytest.approx(np.sqrt(worse.mean()) - np.sqrt(error.mean()))
    assert low > 0.0


def test_bins_count_what_was_said_and_what_came():
    chance = np.array([0.05, 0.1, 0.2, 0.6, 1.0])
    found = base.bins_of(chance, np.array([False, True, False, True, True]))
    assert [(part.low, part.cases) for part in found] == [(0.0, 1), (0.1, 2), (0.6, 2)]
    assert found[1].said == pytest.approx(0.15)
    assert found[1].happened == 0.5


def test_blocks_hold_what_has_the_same_labels():
    assert base.blocks_of(["a", "a", "b", "a"], np.array([1, 1, 1, 2])).tolist() == [0, 0, 1, 2]


def test_few_blocks_have_no_interval():
    gain, low, high = base.loss_gain(np.zeros(8), np.ones(8), np.repeat(np.arange(4), 2))
    assert (gain, low, high) == (1.0, None, None)
    assert base.loss_gain(np.zeros(10), np.ones(10), np.repeat(np.arange(5), 2)) == (1.0, 1.0, 1.0)


def test_kappa_without_a_choice_is_not_known():
    always = np.ones(40, dtype=bool)
    assert np.isnan(base.kappa(always, always))
    gain, low, high = base.kappa_gain(always, always, always, np.arange(40))
    assert np.isnan(gain)
    assert (low, high) == (None, None)
