"""The two-stage regression of frost nights against its printed figure."""

from __future__ import annotations

import numpy as np
import pytest

from planner.verification.evening import fit_radiation_frost

#: Ten nights of Snyder and de Melo-Abreu 2005 (FAO frost book), as quoted in the R package frost.
T0 = [3.2, 0.8, 0.2, 2.6, 4.4, 5.2, 2.7, 1.2, 4.5, 5.6]
TD0 = [-4.2, -8.8, -6.5, -6.2, -6.1, 2.6, -0.7, -1.7, -1.2, 0.1]
TN = [-3.1, -5.0, -6.3, -5.4, -4.0, -2.5, -4.8, -5.0, -4.4, -3.3]


def test_two_stage_regression_published_prediction() -> None:
    # Published output for 10 C and dew point 2 C: -0.7409219.
    fit = fit_radiation_frost(T0, TD0, TN)
    assert float(fit.lowest_c(10.0, 2.0)) == pytest.approx(-0.7409219, abs=1e-6)


def test_ordinary_regression_does_not_give_the_published_prediction() -> None:
    columns = np.stack([np.ones(10), T0, TD0], axis=1)
    weights = np.linalg.lstsq(columns, np.array(TN), rcond=None)[0]
    assert float(weights @ [1.0, 10.0, 2.0]) == pytest.approx(-1.029, abs=0.001)


def test_regression_leaves_out_unknown_nights_and_refuses_too_few() -> None:
    whole = fit_radiation_frost(T0, TD0, TN)
    with_gap = fit_radiation_frost([*T0, np.nan], [*TD0, 1.0], [*TN, 1.0])
    assert with_gap == whole
    with pytest.raises(ValueError, match="give at least four"):
        fit_radiation_frost(T0[:3], TD0[:3], TN[:3])


def test_the_regression_holds_for_earthly_evenings_and_needs_four_nights() -> None:
    fit = fit_radiation_frost(T0[:4], TD0[:4], TN[:4])
    for temp, dew in ((39.0, 39.0), (-39.0, -59.0), (25.0, 25.0), (-25.0, -35.0)):
        assert np.isfinite(fit.lowest_c(temp, dew))
    for temp, dew in ((41.0, 0.0), (-41.0, 0.0), (0.0, 41.0), (0.0, -61.0)):
        assert np.isnan(fit.lowest_c(temp, dew))
