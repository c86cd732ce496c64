"""Cans under nozzles, trays under a spreader."""

from __future__ import annotations

import pytest

from planner.errors import InputError
from planner.mix.calibration import catch_can


def test_cans_give_the_calibrated_flow() -> None:
    test = catch_can([800.0, 790.0, 810.0], 30.0)
    assert test.flows_lmin == pytest.approx((1.60, 1.58, 1.62))
    assert test.mean_lmin == pytest.approx(1.60)
    assert test.off == ()
    assert test.says() == "Mean flow 1.60 L/min."


def test_a_nozzle_off_by_more_than_a_tenth_is_named() -> None:
    test = catch_can([1600.0, 1776.0, 1420.0], 60.0, new_lmin=1.6)
    assert [(nozzle.number, round(nozzle.off_pct, 2)) for nozzle in test.off] == [(2, 11.0), (3, -11.25)]
    assert "Nozzle 2 gives 11 % too much: worn, replace it." in test.says()
    assert "Nozzle 3 gives 11 % too little: clean it" in test.says()


def test_a_nozzle_off_by_just_a_tenth_is_not_named() -> None:
    assert catch_can([1760.0], 60.0, new_lmin=1.6).off == ()


def test_without_the_flow_when_new_each_is_held_against_the_mean() -> None:
    test = catch_can([1000.0, 1000.0, 1000.0, 1400.0], 60.0)
    assert test.against_lmin == test.mean_lmin == pytest.approx(1.1)
    assert [nozzle.number for nozzle in test.off] == [4]


def test_a_can_not_read_is_unknown_and_not_zero() -> None:
    test = catch_can([800.0, None, 800.0], 30.0)
    assert test.mean_lmin == pytest.approx(1.6)
    assert test.flows_lmin[1] is None
    assert test.not_caught == (2,)
    assert "Not caught: nozzle 2." in test.says()
    with pytest.raises(InputError, match="No can was read"):
        catch_can([None, None], 30.0)
    with pytest.raises(InputError, match="nozzle 2"):
        catch_can([800.0, 0.0], 30.0)
