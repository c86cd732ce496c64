"""Temperature of the grass against measured upwelling longwave."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from planner.indices.surface_temp import longwave_down_wm2, surface_temp_c
from planner.weather import Array
from tests.indices.made import table


def _rmse(error: Array) -> float:
    return float(np.sqrt(np.mean(error**2)))


def _payerne() -> dict[str, Array]:
    june = table("payerne_2016_06_hourly.csv")
    june["cloud_fraction"] = np.minimum(june["cloud_fraction"], 1.0)
    air = june["air_temp_c"]
    june["ground_c"] = np.array([air[max(0, hour - 23) : hour + 1].mean() for hour in range(air.size)])
    return june


def _balance(june: dict[str, Array], **given: Array) -> Array:
    return surface_temp_c(
        june["air_temp_c"],
        np.minimum(june["rel_humidity_pct"], 100.0),
        june["wind_10m_ms"],
        june["cloud_fraction"],
        june["ground_c"],
        june["pressure_hpa"],
        june["shortwave_wm2"],
        **given,
    )


def test_payerne_nights_better_than_air() -> None:
    # BSRN Payerne, June 2016: grass surface from upwelling longwave, 222 hours without sun.
    june = _payerne()
    night = june["shortwave_wm2"] < 1.0
    measured = june["grass_surface_temp_c"]
    by_balance = _rmse((_balance(june) - measured)[night])
    by_air = _rmse((june["air_temp_c"] - measured)[night])
    assert night.sum() == 222
    assert by_balance < 1.1
    assert by_balance < 0.75 * by_air
    # The second half of the month had no part in the choice of the thatch's conductance.
    later = night & (np.arange(720) >= 360)
    halves = [_rmse((guess - measured)[later]) for guess in (_balance(june), june["air_temp_c"])]
    assert halves == pytest.approx([0.92, 1.46], abs=0.01)


def test_payerne_days_no_worse_than_air() -> None:
    june = _payerne()
    day = june["shortwave_wm2"] >= 1.0
    measured = june["grass_surface_temp_c"]
    assert _rmse((_balance(june) - measured)[day]) < 0.9 * _rmse((june["air_temp_c"] - measured)[day])


def test_measured_longwave_does_better_still() -> None:
    june = _payerne()
    night = june["shortwave_wm2"] < 1.0
    error = _balance(june, longwave_wm2=june["longwave_down_wm2"]) - june["grass_surface_temp_c"]
    assert _rmse(error[night]) == pytest.approx(0.66, abs=0.01)


def test_longwave_of_payerne_nights() -> None:
    june = _payerne()
    night = june["shortwave_wm2"] < 1.0
    sky = longwave_down_wm2(june["air_temp_c"], june["rel_humidity_pct"].clip(0, 100), june["cloud_fraction"])
    error = (sky - june["longwave_down_wm2"])[night]
    assert abs(error.mean()) < 12.0
    assert _rmse(error) < 20.0


#: Air, humidity, wind, cloud, pressure, ground and surface: worked by bisection of the same balance, apart.
WORKED = [
    (2, 90, 1.5, 0.1, 1013, 5, -1.775),
    (2, 90, 1.5, 1.0, 1013, 5, 1.862),
    (2, 90, 6, 0.1, 1013, 5, 0.253),
    (0.5, 95, 3, 0.5, 1000, 3, -1.012),
    (15, 60, 2, 0.2, 960, 15, 10.808),
]


@pytest.mark.parametrize(("air", "rh", "wind", "cloud", "pressure", "ground", "surface"), WORKED)
def test_worked_nights(
    air: float, rh: float, wind: float, cloud: float, pressure: float, ground: float, surface: float
) -> None:
    assert surface_temp_c(air, rh, wind, cloud, ground, pressure) == pytest.approx(surface, abs=0.05)


def test_depression_has_no_floor() -> None:
    # 6 % of days at US climate stations fell more than 6 K below the air: a fixed floor of 6 K was not the coldest.
    assert surface_temp_c(4.0, 40.0, 0.0, 0.0, -4.0) < 4.0 - 6.5


temps, humids = st.floats(-10, 25), st.floats(40, 98)


@settings(deadline=None)
@given(temps, humids, st.floats(0, 8), st.floats(0, 0.9), st.floats(-8, 6))
def test_colder_under_clear_still_dry_skies(
    air: float, rh: float, wind: float, cloud: float, above: float
) -> None:
    ground = air + above
    base = surface_temp_c(air, rh, wind, cloud, ground)
    slack = 0.03
    assert surface_temp_c(air, rh, wind, cloud + 0.1, ground) >= base - slack
    assert surface_temp_c(air, rh + 2.0, wind, cloud, ground) >= base - slack
    assert surface_temp_c(air, rh, wind, cloud, ground + 2.0) >= base - slack


def test_strong_wind_brings_the_surface_to_the_air() -> None:
    assert surface_temp_c(5.0, 70.0, 70.0, 0.0, 5.0) == pytest.approx(5.0, abs=0.4)


def test_unknown_cloud_gives_no_surface() -> None:
    out = surface_temp_c([5.0, 5.0, np.nan], 80.0, 2.0, [np.nan, 0.5, 0.5], 5.0)
    assert np.isnan(out).tolist() == [True, False, True]
