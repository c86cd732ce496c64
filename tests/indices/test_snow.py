"""Snow that melts, and what it does to the wash index."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from planner.indices.rain_wash import wash_index
from planner.indices.runoff import snow_melt_mm
from planner.weather import Array
from tests.indices.made import quantities, site, weather


def test_snow_melts_by_the_degree_and_no_more_than_there_is() -> None:
    snow = np.zeros((1, 72))
    snow[0, 2] = 5.0
    cold = snow_melt_mm(snow, np.full((1, 72), -1.0))
    assert cold.sum() == 0.0
    mild = snow_melt_mm(snow, np.full((1, 72), 1.0))
    # 2.74 mm for each degree and day.
    assert mild[0, 3:27].sum() == pytest.approx(2.74)
    warm = snow_melt_mm(snow, np.full((1, 72), 10.0))
    assert warm.sum() == pytest.approx(5.0)
    assert snow_melt_mm(np.zeros((1, 24)), np.full((1, 24), 1.0), lying_mm=1.0).sum() == pytest.approx(1.0)


@given(st.lists(st.tuples(st.floats(0, 5), st.floats(-10, 15)), min_size=1, max_size=40))
def test_no_more_melts_than_fell(hours: list[tuple[float, float]]) -> None:
    snow, temp = (np.array([[hour[part] for hour in hours]]) for part in (0, 1))
    melt = snow_melt_mm(snow, temp)
    assert (melt >= 0.0).all()
    assert (np.cumsum(melt) <= np.cumsum(snow) + 1e-9).all()


def test_unknown_snow_stays_unknown_and_unknown_warmth_only_while_snow_lies() -> None:
    snow = np.array([[0.0, 0.0, 1.0, 0.0, np.nan, 0.0]])
    temp = np.array([[np.nan, 1.0, -1.0, np.nan, -1.0, -1.0]])
    out = snow_melt_mm(snow, temp)[0]
    assert out[[0, 1, 2]].tolist() == [0.0, 0.0, 0.0]
    assert np.isnan(out[3:]).all()


def _bank(rain: Array, **given_: object) -> Array:
    return wash_index(rain, slope_pct=10.0, slope_length_m=10.0, curve_number=86.0, **given_)  # type: ignore[arg-type]


def test_melt_flows_and_strikes_nothing() -> None:
    water = np.zeros((1, 24))
    water[0, 4:16] = 2.0
    none = np.zeros((1, 24))
    melt = _bank(none, melt_mm=water).max()
    assert 0.0 < melt < _bank(water).max()


def test_frozen_soil_sheds_all_water() -> None:
    rain = np.zeros((1, 24))
    rain[0, 4:10] = 2.0
    frozen = np.ones((1, 24), dtype=bool)
    assert _bank(rain, frozen=frozen).max() > _bank(rain).max() + 0.1
    np.testing.assert_array_equal(_bank(rain, frozen=~frozen), _bank(rain))
    q = quantities(weather(24, rain_mm=rain, soil_temp_6cm_c=-1.0, cloud_pct=90.0), site(slope_pct=8.0))
    open_soil = quantities(weather(24, rain_mm=rain, soil_temp_6cm_c=5.0), site(slope_pct=8.0))
    assert q["wash_bare"].max() > open_soil["wash_bare"].max()


def test_snow_at_frost_does_not_wash_and_its_thaw_can() -> None:
    snow = np.zeros(96)
    snow[10:20] = 2.0
    cold = weather(96, air_temp_c=-5.0, rain_mm=snow, snow_mm=snow, soil_temp_6cm_c=1.0)
    assert quantities(cold, site(slope_pct=8.0))["wash_bare"].max() == 0.0
    air = np.where(np.arange(96) < 40, -5.0, 8.0)
    thaw = quantities(
        weather(96, air_temp_c=air, rain_mm=snow, snow_mm=snow, soil_temp_6cm_c=1.0), site(slope_pct=8.0)
    )
    assert thaw["wash_bare"][0, :40].max() == 0.0
    assert thaw["wash_bare"][0, 40:].max() > 0.0
