"""Snow that melts, and what its water does to seed."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from planner.indices.infiltration import INTAKES, Ground, peak_excess_mm_h
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


BANK = {"slope_pct": 10.0, "soil": "loam"}


def _excess(rain: Array, melt: Array, *, frozen: bool = False) -> Array:
    """Flow of each hour on moist loam as it is tabled, evenly wetted."""
    each = np.ones(rain.shape[0])
    ground = Ground(
        room=np.full(rain.shape, 0.18),
        suction_mm=INTAKES["loam"].suction_mm * each,
        conductivity_mm_h=INTAKES["loam"].conductivity_mm_h * each,
        spreads_h=24.0 * each,
        frozen=np.full(rain.shape, float(frozen)),
    )
    even = {"quarters": np.full((1, 4), 0.25), "beds": np.ones(1), "hollows_mm": 0.5}
    return peak_excess_mm_h(rain, melt, ground, **even)[0]


def test_melt_flows_as_even_rain_does() -> None:
    water, none = np.zeros((1, 24)), np.zeros((1, 24))
    water[0, 4:16] = 6.0
    assert _excess(none, water).max() > 1.0
    np.testing.assert_allclose(_excess(none, water), _excess(water, none))
    unknown = none.copy()
    unknown[0, 4] = np.nan
    assert _excess(unknown, water)[0, 4] == 0.0


def test_frozen_soil_sheds_all_water() -> None:
    rain = np.zeros((1, 24))
    rain[0, 4:10] = 2.0
    none = np.zeros((1, 24))
    assert _excess(rain, none).max() == 0.0
    # The hollows fill in the first of the hours.
    assert _excess(rain, none, frozen=True)[0, 5:10] == pytest.approx(2.0)
    q = quantities(weather(24, rain_mm=rain, soil_temp_6cm_c=-1.0, cloud_pct=90.0), site(**BANK))
    open_soil = quantities(weather(24, rain_mm=rain, soil_temp_6cm_c=5.0), site(**BANK))
    assert q["wash_bare"].max() > 0.2
    assert open_soil["wash_bare"].max() < 0.05


def test_snow_at_frost_does_not_wash_and_its_thaw_can() -> None:
    snow = np.zeros(96)
    snow[10:20] = 2.0
    cold = weather(96, air_temp_c=-5.0, rain_mm=snow, snow_mm=snow, soil_temp_6cm_c=1.0)
    assert quantities(cold, site(**BANK))["wash_bare"].max() == 0.0
    air = np.where(np.arange(96) < 40, -5.0, 8.0)
    thaw = quantities(
        weather(96, air_temp_c=air, rain_mm=snow, snow_mm=snow, soil_temp_6cm_c=1.0), site(**BANK)
    )
    assert thaw["wash_bare"][0, :40].max() == 0.0
    assert thaw["snow_melt_mm"][0, 40:].sum() > 15.0
