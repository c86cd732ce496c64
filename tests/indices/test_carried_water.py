"""Water of the root zone through the days kept before the hours."""

from __future__ import annotations

from dataclasses import replace
from datetime import date, timedelta
from typing import Any

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from planner.diary.timeline import days_of
from planner.indices import INDEX
from planner.indices.past import Day
from planner.indices.quantities import Quantities, ToldWater
from planner.indices.soil_water import (
    SERVICE_CAPACITY,
    SERVICE_WILTING,
    SOILS,
    TURF_WATER,
    carried_water_mm,
    from_service_mm,
    run_buckets,
)
from planner.indices.table_water import _root_zones, _zones_of_site
from planner.weather import Array, HourlyWeather
from tests.indices.made import START, quantities, site, weather

D = timedelta(days=1)
SAND, LOAM = site(soil="sand", root_depth_m=0.15), site(soil="loam", root_depth_m=0.3)


def rainy(days: int, seed: int = 3, every: int = 5, **columns: Any) -> HourlyWeather:
    rng = np.random.default_rng(seed)
    rain = np.zeros(24 * days)
    wet = rng.choice(days, days // every, replace=False) * 24
    rain[wet + 6], rain[wet + 7] = rng.uniform(1, 12, wet.size), rng.uniform(1, 6, wet.size)
    return weather(24 * days, rain_mm=rain, **columns)


def kept_of(whole: HourlyWeather, place: Any = SAND) -> dict[date, Day]:
    q = quantities(whole, place)
    return days_of(whole, place.zone, q["soil_temp_c"], q["et0_hour_mm"])


def as_run(whole: HourlyWeather, first_day: int, place: Any = SAND, **more: Any) -> Quantities:
    """A pass whose hours begin on that day, with what was kept of the days before."""
    cut = whole.cut(START + first_day * D, whole.end)
    past = {
        day: one
        for day, one in kept_of(whole, place).items()
        if day < cut.start.astimezone(place.zone).date()
    }
    return Quantities(cut, place, INDEX, now=cut.start, surface=place.surfaces[0], past=past, **more)


def test_a_services_moisture_is_read_on_its_own_scale() -> None:
    assert from_service_mm(SERVICE_WILTING, 18.0) == -18.0
    assert from_service_mm(SERVICE_CAPACITY, 18.0) == 0.0
    assert from_service_mm(0.45, 18.0) == 0.0
    assert from_service_mm(0.25, 18.0) == pytest.approx(-9.0)
    assert np.isnan(from_service_mm(np.nan, 18.0))


@pytest.mark.parametrize("place", [SAND, LOAM], ids=["sand", "loam"])
def test_days_come_to_what_hours_come_to(place: Any) -> None:
    """Against the hourly bucket over the whole time, told by the days up to the hours alone."""
    whole = rainy(60)
    truth = quantities(whole, place)["water_mm"][0]
    for first in (30, 45, 57):
        told = as_run(whole, first, place)["water_mm"][0]
        assert told[0] == pytest.approx(truth[24 * first], abs=1.0)
        np.testing.assert_allclose(told[24:], truth[24 * first + 24 :], atol=1.0)


def test_sand_after_three_dry_weeks_is_as_dry_as_by_hand() -> None:
    """18 mm of available water, 2.4 mm a day and nothing given: wilting is reached, whatever the passes hold."""
    whole = weather(24 * 24, et0_mm=3.0 / 24)
    assert as_run(whole, 21)["water_mm"][0, 0] == pytest.approx(-18.0, abs=0.6)
    # Three past days alone read it far too wet.
    alone = quantities(whole.cut(START + 21 * D, whole.end), SAND)["water_mm"][0, 0]
    assert alone == pytest.approx(-4.5, abs=0.1)


def test_the_middle_of_a_day_is_taken_up_where_the_hours_enter_it() -> None:
    whole = rainy(40)
    truth = quantities(whole, LOAM)["water_mm"][0]
    cut = whole.cut(START + 30 * D + timedelta(hours=14), whole.end)
    past = {
        day: one for day, one in kept_of(whole, LOAM).items() if day <= cut.start.astimezone(LOAM.zone).date()
    }
    told = quantities(cut, LOAM, past=past)["water_mm"][0]
    assert told[0] == pytest.approx(truth[24 * 30 + 14], abs=1.2)


@settings(deadline=None, max_examples=40)
@given(
    st.lists(st.floats(0, 25), min_size=5, max_size=40),
    st.floats(0.5, 7),
    st.sampled_from(sorted(SOILS)),
    st.integers(0, 4),
)
def test_the_likely_water_lies_between_the_bounds(rain: list[float], use: float, soil: str, gap: int) -> None:
    kind = SOILS[soil]
    total, surplus = (
        150 * (kind.field_capacity - kind.wilting_point),
        150 * (kind.saturated - kind.field_capacity),
    )
    fed = np.array([rain])
    fed[0, gap] = np.nan
    shape = fed.shape

    def run(start: float) -> Array:
        return carried_water_mm(
            fed,
            np.full(shape, use),
            np.full(shape, 0.4 * total),
            np.array([total]),
            np.array([surplus]),
            np.full(shape, np.exp(-24 / kind.drains_h)),
            np.array([start]),
            np.full(shape, np.nan),
        )

    least, likely, most = run(-0.25 * total)[:, 0]
    assert -total - 1e-9 <= least <= likely + 1e-9
    assert likely <= most + 1e-9 <= surplus + 2e-9
    assert run(0.0)[1, 0] >= likely - 1e-9


def test_a_missing_day_leaves_a_guess_and_not_a_hole() -> None:
    whole = weather(24 * 30, et0_mm=2.0 / 24)
    cut = whole.cut(START + 25 * D, whole.end)
    past = {day: one for day, one in kept_of(whole, LOAM).items() if day < (START + 25 * D).date() + D}
    gone = {day: one for day, one in past.items() if day != sorted(past)[-2]}
    q = quantities(cut, LOAM, past=gone)
    assert not np.isnan(q["water_mm"]).any()
    assert q["water_guess"][0, 0] == 1.0


def test_water_is_a_guess_until_the_record_settles_it() -> None:
    dry = weather(24 * 4, et0_mm=2.0 / 24)
    assert quantities(dry, LOAM)["water_guess"][0].all()
    soaked = np.zeros(96)
    soaked[10:20] = 30.0
    q = quantities(weather(96, rain_mm=soaked, et0_mm=0.05), SAND)
    assert q["water_guess"][0, 0] == 1.0
    assert q["water_guess"][0, -1] == 0.0
    assert not as_run(rainy(60, every=2), 50)["water_guess"].any()
    rain = np.full(96, np.nan)
    assert np.isnan(quantities(weather(96, rain_mm=rain), SAND)["water_guess"][0, 1:]).all()


def test_a_probe_settles_it() -> None:
    dry = weather(24 * 4, et0_mm=2.0 / 24)
    read = np.full(96, np.nan)
    read[40] = 15.0
    told = {"green": ToldWater(given_mm=np.zeros(96), probe_pct=read)}
    q = Quantities(dry, SAND, INDEX, now=dry.start, surface=SAND.surfaces[0], told_water=told)
    guess = q["water_guess"][0]
    assert guess[:40].all()
    assert not guess[40:].any()


def test_water_and_readings_of_the_days_before_count() -> None:
    whole = weather(24 * 24, et0_mm=2.0 / 24)
    day = (START + 15 * D).astimezone(SAND.zone).date()
    nothing = ToldWater(given_mm=np.zeros(72), probe_pct=np.full(72, np.nan))
    dry = as_run(whole, 21)["water_mm"][0, 0]
    hosed = as_run(whole, 21, told_water={"green": replace(nothing, given_before={day: 12.0})})
    assert hosed["water_mm"][0, 0] - dry > 3.0
    probed = as_run(whole, 21, told_water={"green": replace(nothing, probed_before={day: (18.0, 0.5)})})
    # Field capacity at noon of that day, then 1.6 mm a day, less as it grows short: between 7 and 9 mm gone.
    assert probed["water_mm"][0, 0] == pytest.approx(-8.0, abs=1.5)
    assert not probed["water_guess"].any()


def test_a_probe_on_the_day_that_the_hours_enter_late_by_hand() -> None:
    # Hours from 19:00 local; read at 10:00: nine of the nineteen hours before follow the reading.
    whole = weather(24 * 24, et0_mm=2.0 / 24)
    cut = whole.cut(START + 21 * D + timedelta(hours=19), whole.end)
    day = cut.start.astimezone(SAND.zone).date()
    past = {one: told for one, told in kept_of(whole).items() if one <= day}
    nothing = ToldWater(given_mm=np.zeros(cut.hours), probe_pct=np.full(cut.hours, np.nan))
    told = {"green": replace(nothing, probed_before={day: (14.0, 14.0 / 24)})}
    q = Quantities(cut, SAND, INDEX, now=cut.start, surface=SAND.surfaces[0], past=past, told_water=told)
    factor, capacity = TURF_WATER.cool_crop_factor, 150.0 * SOILS["sand"].field_capacity
    # 14 % of 150 mm, less nine hours and the first of the weather; sand under field capacity drains nothing.
    use = 9 * (2.0 / 24) * factor
    assert q["water_guess"][0, 0] == 0.0
    start = _root_zones(q, _zones_of_site(q)).start_mm[1, 0]
    assert start == pytest.approx(21.0 - capacity - use, abs=0.01)


def test_members_begin_alike_and_part_by_their_own_rain() -> None:
    whole = rainy(30)
    cut = whole.cut(START + 27 * D, whole.end)
    rain = np.zeros((3, cut.hours))
    rain[1, 5:8] = 6.0
    many = HourlyWeather.from_columns(
        epoch_s=cut.epoch_s,
        columns={name: cut[name] for name in cut if name != "rain_mm"} | {"rain_mm": rain},
    )
    past = {day: one for day, one in kept_of(whole).items() if day < (START + 27 * D).date() + D}
    water = quantities(many, SAND, past=past)["water_mm"]
    assert water[0, 0] == water[1, 0] == water[2, 0]
    assert water[1, 10] > water[0, 10]
    assert water[0, 10] == water[2, 10]


def test_a_lost_hour_is_bounded_by_what_was_carried() -> None:
    rain = np.zeros(200)
    rain[20] = np.nan
    soil = SOILS["sand"]
    out = run_buckets(
        rain[None],
        np.full((1, 200), 0.1),
        np.full((1, 200), 7.2),
        np.array([18.0]),
        np.array([33.0]),
        np.array([np.exp(-1 / soil.drains_h)]),
        np.array([-6.0]),
        np.full((1, 200), from_service_mm(0.15, 18.0)),
        1.35,
    )[0]
    # The service says wilting; two millimetres of use cannot have brought the zone there.
    assert out[21] == pytest.approx(-8.1, abs=0.2)


def test_a_moment_of_the_record_is_told() -> None:
    from planner.indices.table_water import record_begins

    whole = weather(24 * 24)
    assert record_begins(quantities(whole, SAND)) == "nothing is on record before Wed 2 Apr"
    assert record_begins(as_run(whole, 10)) == "nothing is on record before Wed 2 Apr"
    cut = whole.cut(START + 10 * D, whole.end)
    assert record_begins(quantities(cut, SAND)) == "nothing is on record before Sat 12 Apr"
