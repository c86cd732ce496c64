"""Adapters between the hours of weather and the formulas."""

from __future__ import annotations

from dataclasses import replace
from datetime import UTC, datetime

import numpy as np
import pytest

from planner.errors import NotKnown
from planner.indices import INDEX
from planner.indices.frost import frost_chance
from planner.indices.grass_min import DEEP_FROM_K, HOURLY, grass_spread_k
from planner.indices.grasses import GRASSES
from planner.indices.growth import growth_potential
from planner.indices.quantities import Quantities
from tests.indices.made import NOW, quantities, site, weather


def test_wind_is_brought_down_to_two_metres() -> None:
    # FAO-56 equation 47: 0.748 of the wind at 10 m.
    q = quantities(weather(24, wind_10m_ms=5.0, gust_10m_ms=10.0))
    assert q["wind_2m_kmh"][0, 0] == pytest.approx(5.0 * 0.748 * 3.6)
    assert q["gust_2m_kmh"][0, 0] == pytest.approx(36.0 * 0.748)


def test_rain_of_three_hours_looks_ahead() -> None:
    rain = np.zeros(8)
    rain[3:6] = [7.0, 6.0, 8.0]
    three = quantities(weather(8, rain_mm=rain))["rain_3h_mm"][0]
    np.testing.assert_allclose(three[:6], [0.0, 7.0, 13.0, 21.0, 14.0, 8.0])
    # The last two hours look past what is known.
    assert np.isnan(three[6:]).all()


def test_warm_damp_air_needs_both() -> None:
    q = quantities(weather(4, air_temp_c=[20, 20, 15, np.nan], rel_humidity_pct=[95, 60, 95, 95]))
    np.testing.assert_array_equal(q["warm_damp_air"][0], [1.0, 0.0, 0.0, np.nan])


def test_hour_of_the_day_is_the_sites_own() -> None:
    # Berlin is two hours ahead of UTC in summer.
    q = quantities(weather(24, start=datetime(2025, 7, 1, tzinfo=UTC)))
    assert q["clock_hour"][0, [0, 21, 22]].tolist() == [2.0, 23.0, 0.0]


def test_days_to_rest_are_counted_to_the_date_of_the_site() -> None:
    q = quantities(weather(48, start=datetime(2025, 11, 13, 23, tzinfo=UTC)))
    assert q["days_to_dormancy"][0, [0, 24, 47]].tolist() == [1.0, 0.0, 0.0]
    bare = replace(site(), dormant_from="")
    assert np.isnan(quantities(weather(24), bare)["days_to_dormancy"]).all()


def test_frozen_soil() -> None:
    q = quantities(weather(3, soil_temp_6cm_c=[-0.5, 0.0, 0.5]))
    assert q["soil_frozen"][0].tolist() == [1.0, 1.0, 0.0]


def test_heat_counts_from_thirty_two() -> None:
    q = quantities(weather(3, air_temp_c=[30.0, 32.0, 35.5]))
    assert q["heat_stress"][0].tolist() == [0.0, 0.0, 3.5]


def test_growth_is_that_of_the_local_day() -> None:
    air = np.full(72, 10.0)
    air[24:48] = 20.0
    q = quantities(weather(72, air_temp_c=air))
    growth = q["growth_potential"][0]
    assert growth[30] == pytest.approx(1.0)
    assert growth[0] == pytest.approx(float(growth_potential(10.0)))
    mean = np.mean([growth[0], growth[30], growth[60]])
    assert q["growth_potential_3d"][0, 60] == pytest.approx(mean)
    assert q["growth_potential_3d"][0, 30] == pytest.approx(np.mean(growth[[0, 30]]))


def test_degree_days_add_up_from_the_first_hour() -> None:
    q = quantities(weather(72, air_temp_c=10.0))
    sums = q["growing_degree_days"][0]
    assert sums[0] == 0.0
    assert sums[48] == pytest.approx(20.0)
    warm = quantities(weather(72, air_temp_c=14.0), site(grass=GRASSES["couch"]))
    assert warm["growing_degree_days"][0, 24] == pytest.approx(4.0)


def test_a_few_unknown_hours_leave_the_day_known() -> None:
    air = np.full(72, 10.0)
    air[30:33] = np.nan
    q = quantities(weather(72, air_temp_c=air))
    assert not np.isnan(q["growth_potential"]).any()
    air[30:40] = np.nan
    q = quantities(weather(72, air_temp_c=air))
    assert np.isnan(q["growth_potential"][0, 24:48]).all()
    assert not np.isnan(q["growth_potential"][0, :24]).any()


def test_days_of_twenty_three_and_twenty_five_hours() -> None:
    spring = quantities(weather(72, start=datetime(2025, 3, 29, 23, tzinfo=UTC)))
    assert spring.days.lengths.tolist()[:2] == [23, 24]
    autumn = quantities(weather(72, start=datetime(2025, 10, 25, 22, tzinfo=UTC)))
    assert autumn.days.lengths.tolist()[:2] == [25, 24]
    assert not np.isnan(spring["light_dli_mol"][0, :23]).any()


def test_light_is_of_whole_days_and_less_under_shade() -> None:
    made = weather(60)
    sun, shade = quantities(made), quantities(made, site(shade=0.4))
    np.testing.assert_allclose(shade["light_dli_mol"][0, :48], 0.6 * sun["light_dli_mol"][0, :48])
    assert np.isnan(sun["light_dli_mol"][0, 48:]).all()


def test_sunlight_is_estimated_where_only_cloud_is_known() -> None:
    clear = quantities(weather(48, shortwave_wm2=None, cloud_pct=0.0))["sunlight_wm2"]
    dull = quantities(weather(48, shortwave_wm2=None, cloud_pct=100.0))["sunlight_wm2"]
    assert clear.max() > 600.0
    np.testing.assert_allclose(dull, 0.25 * clear)
    assert np.isnan(quantities(weather(48, shortwave_wm2=None, cloud_pct=None))["sunlight_wm2"]).all()


def test_sky_is_computed_once_for_all_surfaces() -> None:
    made, place = weather(48), site()
    sky = Quantities(made, place, INDEX, now=NOW)
    q = Quantities(made, place, INDEX, now=NOW, surface=place.surfaces[0], sky=sky)
    assert q["surface_temp_c"] is sky["surface_temp_c"]


def test_surface_quantities_need_a_surface_and_names_must_be_known() -> None:
    sky = Quantities(weather(24), site(), INDEX, now=NOW)
    with pytest.raises(NotKnown, match="surface"):
        sky["growth_potential"]
    with pytest.raises(NotKnown, match="delta_t_k"):
        sky["delta_t"]


def test_brown_patch_and_dollar_spot_lie_on_the_days() -> None:
    q = quantities(weather(72, air_temp_c=21.0, rel_humidity_pct=90.0))
    assert np.unique(q["brown_patch_index"].round(6)).size == 1
    assert q["brown_patch_index"][0, 0] == pytest.approx(6.85, abs=0.02)
    assert q["dollar_spot_chance"][0, 50] == pytest.approx(
        1 / (1 + np.exp(11.4041 - 8.046 - 4.0572)), abs=1e-6
    )


def test_turf_is_held_at_its_coldest_where_cloud_is_not_known() -> None:
    # The coldest of a hundred days at US climate stations (2020, infrared): 9.4 K below the air.
    clear = quantities(weather(48, cloud_pct=0.0, air_temp_c=5.0))
    unknown = quantities(weather(48, cloud_pct=np.nan, air_temp_c=5.0))
    night, noon = clear["sun_altitude_deg"][0] < 0.0, clear["sun_altitude_deg"][0] > 10.0
    assert np.isnan(unknown["surface_temp_c"]).all()
    assert (unknown["turf_least_c"][0, night] == 5.0 - 9.4).all()
    assert (unknown["turf_least_c"][0, noon] == 5.0).all()
    assert (unknown["turf_least_c"][0, night] <= clear["turf_least_c"][0, night]).all()
    assert (clear["turf_least_c"] == clear["grass_temp_c"]).all()
    nothing = quantities(weather(48, air_temp_c=np.nan))
    assert np.isnan(nothing["turf_least_c"]).all()


def test_thermometer_at_the_grass_reads_below_the_surface_at_night_and_as_it_by_day() -> None:
    # Irish and Dutch grass minima: the surface less 1.4 K at 3 m/s.
    q = quantities(weather(48, wind_10m_ms=3.0))
    gap = (q["grass_temp_c"] - q["surface_temp_c"])[0]
    sun = q["sun_altitude_deg"][0]
    deep = np.maximum((q["air_temp_c"] - q["surface_temp_c"])[0] - DEEP_FROM_K, 0.0)
    wanted = HOURLY.at_one_ms_k + HOURLY.per_log_wind_k * np.log(3.0) + HOURLY.per_deep * deep
    np.testing.assert_allclose(gap[sun < 0.0], wanted[sun < 0.0])
    np.testing.assert_allclose(gap[sun > 10.0], 0.0, atol=1e-12)


def test_calibration_leaves_what_dew_leaf_and_inversion_read() -> None:
    plain, shifted = (
        quantities(weather(48, air_temp_c=3.0), constants=c) for c in ({}, {"grass_shift_k": -1.5})
    )
    for name in ("surface_temp_c", "dew_mm", "leaf_wet", "inversion_likely"):
        np.testing.assert_array_equal(plain[name], shifted[name])
    night = plain["sun_altitude_deg"][0] < 0.0
    change = (shifted["grass_temp_c"] - plain["grass_temp_c"])[0]
    np.testing.assert_allclose(change[night], -1.5)
    assert shifted["frost_chance_ground"][0, 30] > plain["frost_chance_ground"][0, 30]


def test_without_cloud_the_air_alone_tells_a_chance_with_its_wider_spread() -> None:
    # Grass less air minimum, Ireland and De Bilt: -2.06 K, spread 1.50 K; a day ahead the forecast adds 1.5 K.
    q = quantities(weather(72, air_temp_c=3.0, cloud_pct=None))
    night = q.nights.first_hour[1] + 10
    wanted = frost_chance(3.0 - 2.06, float(np.hypot(1.5, 1.5)))
    assert q["frost_chance_ground"][0, night] == pytest.approx(float(wanted), abs=1e-6)


def test_hours_that_are_past_carry_the_error_of_the_model_and_none_where_they_were_measured() -> None:
    made = weather(72, air_temp_c=3.0, cloud_pct=0.0, rel_humidity_pct=80.0)
    ahead, past, read = (
        quantities(made, now=now, constants=constants)
        for now, constants in ((made.start, {}), (made.end, {}), (made.end, {"past_spread_k": 0.0}))
    )
    first, end = ahead.nights.first_hour[1:3]
    spread = grass_spread_k(made["wind_10m_ms"])[0, first]
    coldest = ahead["grass_temp_c"][0, first:end].min()
    # A kelvin between a service's model and a thermometer on the spot, judgement; a day ahead 1.5 K.
    for of, error in ((ahead, 1.5), (past, 1.0), (read, 0.0)):
        wanted = float(frost_chance(coldest, np.hypot(spread, error)))
        assert of["frost_chance_ground"][0, first] == pytest.approx(wanted)
        air = float(frost_chance(3.0, np.hypot(0.1, error)))
        assert of["frost_chance_air"][0, first] == pytest.approx(air, abs=1e-9)
