"""Rows as a forecast would fill them, on the measured hours of Payerne, June 2016, none of them tuned to it."""

from __future__ import annotations

import numpy as np
import pytest

from tests.indices.made import payerne


def _rmse(error: np.ndarray) -> float:  # type: ignore[type-arg]
    return float(np.sqrt(np.mean(error**2)))


def test_surface_row_is_as_good_as_the_formula_it_calls() -> None:
    # Without a soil temperature in the forecast: 0.83 K at night against 1.36 K for the air, by day 2.2 and 3.2.
    june, q = payerne()
    measured, dark = june["grass_surface_temp_c"], june["shortwave_wm2"] < 1.0
    surface, air = (q[name][0] - measured for name in ("surface_temp_c", "air_temp_c"))
    assert [_rmse(surface[dark]), _rmse(air[dark])] == pytest.approx([0.83, 1.36], abs=0.01)
    assert [_rmse(surface[~dark]), _rmse(air[~dark])] == pytest.approx([2.34, 3.16], abs=0.01)


def test_inversion_is_told_on_nine_of_ten_hours_with_a_surface_colder_than_the_air() -> None:
    # What was measured is the surface alone; layers aloft were not.
    june, q = payerne()
    dark = june["shortwave_wm2"] < 1.0
    cold = (june["air_temp_c"] - june["grass_surface_temp_c"])[dark] > 1.0
    told = q["inversion_likely"][0][dark] == 1.0
    assert cold.sum() == 87
    assert (told & cold).sum() / cold.sum() == pytest.approx(0.90, abs=0.01)
    assert (told & ~cold).sum() / told.sum() == pytest.approx(0.33, abs=0.01)


def test_stable_classes_have_the_colder_surface() -> None:
    # Mean of air less surface: about 1 to 2 K in classes 5 to 7, below 0 in classes 1 to 4.
    june, q = payerne()
    below = june["air_temp_c"] - june["grass_surface_temp_c"]
    classes = q["stability_class"][0]
    assert all(below[classes == number].mean() > 1.0 for number in (5, 6, 7))
    assert all(below[classes == number].mean() < -1.0 for number in (1, 2, 3, 4))


def test_sunlight_estimated_from_cloud_is_a_seventh_low_over_the_month() -> None:
    june, q = payerne(without=("shortwave_wm2",))
    measured, made = np.maximum(june["shortwave_wm2"], 0.0), q["sunlight_wm2"][0]
    assert made.sum() / measured.sum() == pytest.approx(0.864, abs=0.005)
    by_day = 0.0036 * (made - measured).reshape(30, 24).sum(axis=1)
    assert _rmse(by_day) == pytest.approx(3.5, abs=0.1)
    assert np.corrcoef(made, measured)[0, 1] > 0.93
