"""Ground frost at De Bilt: twenty years of grass minima (KNMI station 260, open data)."""

from __future__ import annotations

import numpy as np
import pytest

from planner.indices.frost import fit_grass_minimum, frost_chance
from planner.indices.humidity import saturation_vapour_pressure_hpa, vapour_pressure_hpa
from planner.indices.surface_temp import surface_temp_c
from planner.weather import Array
from tests.indices.made import table


@pytest.fixture(scope="module")
def days() -> dict[str, Array]:
    out = table("debilt_1980_1999_daily.csv")
    low, mean = out["air_temp_min_c"], out["air_temp_mean_c"]
    # Vapour of the day's mean stays through the night, up to saturation.
    vapour = vapour_pressure_hpa(mean, out["rel_humidity_mean_pct"])
    humidity = np.minimum(100.0 * vapour / saturation_vapour_pressure_hpa(low), 100.0)
    out["balance_c"] = surface_temp_c(
        low, humidity, out["wind_mean_ms"], out["cloud_okta"] / 8.0, mean, out["pressure_msl_hpa"]
    )
    out["year"] = out["date"] // 10000
    return out


def _brier(chance: Array, happened: Array) -> float:
    return float(np.mean((chance - happened) ** 2))


def _by_constant(days: dict[str, Array], name: str, fit: Array) -> Array:
    """Chance from one temperature less its mean error in the decade of the fit, with that decade's spread."""
    error = (days["grass_min_10cm_c"] - days[name])[fit]
    return frost_chance(days[name] + error.mean(), float(error.std()))


@pytest.mark.parametrize("fit_first", [True, False])
def test_fitted_on_one_decade_better_on_the_other(days: dict[str, Array], fit_first: bool) -> None:
    first = days["year"] < 1990
    fit = first if fit_first else ~first
    judged = ~fit
    names = ("air_temp_min_c", "air_temp_mean_c", "balance_c")
    model = fit_grass_minimum(*(days[name][fit] for name in names), days["grass_min_10cm_c"][fit])
    lowest = model.lowest_c(*(days[name] for name in names))
    happened = (days["grass_min_10cm_c"] < 0.0).astype(float)
    ours = _brier(frost_chance(lowest, model.spread_k)[judged], happened[judged])
    air = _brier(_by_constant(days, "air_temp_min_c", fit)[judged], happened[judged])
    # Measured: 0.0284 against 0.0371 on the 1990s, 0.0340 against 0.0428 on the 1980s.
    assert [ours, air] == pytest.approx([0.0284, 0.0371] if fit_first else [0.0340, 0.0428], abs=0.0001)
    error = (lowest - days["grass_min_10cm_c"])[judged]
    assert np.sqrt(np.mean(error**2)) < 1.2


@pytest.mark.parametrize("fit_first", [True, False])
def test_balance_less_a_constant_is_better_than_air_less_a_constant(
    days: dict[str, Array], fit_first: bool
) -> None:
    # Nothing but a shift is fitted here. Measured: 0.0358 against 0.0371, and 0.0419 against 0.0428.
    first = days["year"] < 1990
    fit = first if fit_first else ~first
    happened = (days["grass_min_10cm_c"] < 0.0).astype(float)[~fit]
    ours = _brier(_by_constant(days, "balance_c", fit)[~fit], happened)
    air = _brier(_by_constant(days, "air_temp_min_c", fit)[~fit], happened)
    assert [ours, air] == pytest.approx([0.0358, 0.0371] if fit_first else [0.0419, 0.0428], abs=0.0001)


def test_ground_frost_with_air_above_freezing_is_common(days: dict[str, Array]) -> None:
    ground = days["grass_min_10cm_c"] < 0.0
    assert (ground & (days["air_temp_min_c"] >= 0.0)).mean() > 0.08


def test_chances_are_reliable_on_the_decade_they_were_not_fitted_to(days: dict[str, Array]) -> None:
    fit = days["year"] < 1990
    names = ("air_temp_min_c", "air_temp_mean_c", "balance_c")
    model = fit_grass_minimum(*(days[name][fit] for name in names), days["grass_min_10cm_c"][fit])
    chance = frost_chance(model.lowest_c(*(days[name] for name in names)), model.spread_k)[~fit]
    happened = (days["grass_min_10cm_c"] < 0.0)[~fit]
    for low, high in ((0.1, 0.3), (0.3, 0.5), (0.5, 0.7), (0.7, 0.9)):
        inside = (chance >= low) & (chance < high)
        assert inside.sum() >= 50
        assert happened[inside].mean() == pytest.approx(chance[inside].mean(), abs=0.13)


def test_brier_score_agrees_with_an_independent_library(days: dict[str, Array]) -> None:
    scores = pytest.importorskip("scores")
    xarray = pytest.importorskip("xarray")
    fit = days["year"] < 1990
    chance = _by_constant(days, "balance_c", fit)
    happened = (days["grass_min_10cm_c"] < 0.0).astype(float)
    theirs = scores.probability.brier_score(xarray.DataArray(chance), xarray.DataArray(happened))
    assert float(theirs) == pytest.approx(_brier(chance, happened))
