"""Chance of frost, and the hour off the frost."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from planner.indices.frost import (
    forecast_spread_k,
    frost_chance,
    keep_off,
    off_frost,
)
from planner.weather import HourlyWeather
from tests.indices.made import quantities, weather


def test_frost_chance_worked_values() -> None:
    np.testing.assert_allclose(frost_chance([-1.45, 2.05, 0.0], 1.5), [0.833, 0.086, 0.5], atol=0.001)
    assert np.isnan(frost_chance([np.nan, 80.0], 1.5)).all()
    assert np.isnan(frost_chance(1.0, 0.0))


@given(st.floats(-20, 20), st.floats(0.5, 4))
def test_frost_chance_falls_with_warmth(lowest: float, spread: float) -> None:
    chance = float(frost_chance(lowest, spread))
    assert 0.0 <= chance <= 1.0
    assert frost_chance(lowest + 0.5, spread) <= chance


def test_spread_grows_with_lead() -> None:
    # From memory: 1.5 K a day ahead, 2.5 K at five days.
    np.testing.assert_allclose(forecast_spread_k([0.3, 1.0, 3.0, 5.0]), [1.5, 1.5, 2.0, 2.5])
    assert np.isnan(forecast_spread_k([30.0, np.nan])).all()


def _kept(surface, air, sun) -> str:
    """The hours as text: x keep off, . free, ? not known."""
    count = len(surface)
    hours = keep_off(surface, np.broadcast_to(air, count), np.broadcast_to(sun, count))[0]
    return "".join("?" if value != value else "x" if value else "." for value in hours)


def test_off_frost_waits_for_a_full_hour() -> None:
    # common practice, no source: nobody walks on frosted turf, nor in the hour in which it thaws.
    surface = np.array([1.0, -1.0, -2.0, -1.0, 0.7, 0.2, 0.8, 1.5, 4.0])
    air = np.full(9, 2.0)
    sun = np.array([-30.0, -30, -10, 0, 6, 9, 14, 20, 25])
    assert _kept(surface, air, sun) == ".xxxxxx.."
    assert _kept(surface, air, np.full(9, -5.0)) == ".xxxxxxxx"
    assert _kept(np.ones(9), air, sun) == "." * 9
    gap = surface.copy()
    gap[4] = np.nan
    assert _kept(gap, air, sun) == ".xxx?xx.."


def test_clear_still_night_is_ground_frost_without_air_frost() -> None:
    # The screen says 1.2 C and dew point -1.5 C: a rule on the screen alone would be silent.
    hours = 40
    air = np.full(hours, 9.0)
    air[14:31] = [7, 6, 5, 4, 3.5, 3, 2.5, 2, 1.8, 1.5, 1.3, 1.2, 1.2, 1.5, 3, 5, 7]
    made = weather(
        hours,
        start=datetime(2025, 4, 2, 4, tzinfo=UTC),
        air_temp_c=air,
        rel_humidity_pct=np.clip(100 * np.exp(0.0715 * (-1.5 - air)), 20, 100),
        wind_10m_ms=0.8,
        cloud_pct=5.0,
        soil_temp_6cm_c=5.0,
        shortwave_wm2=None,
    )
    q = quantities(made, now=datetime(2025, 4, 2, 16, tzinfo=UTC))
    night = q.weather.index(datetime(2025, 4, 3, 2, tzinfo=UTC))
    assert q["frost_chance_ground"][0, night] > 0.75
    assert q["frost_chance_air"][0, night] < 0.25
    off = off_frost(q, after=datetime(2025, 4, 3, 2, tzinfo=UTC))
    assert off is not None
    assert datetime(2025, 4, 3, 5, tzinfo=UTC) <= off <= datetime(2025, 4, 3, 9, tzinfo=UTC)


def test_night_is_one_chance_and_unknown_when_it_is_cut_before_sunrise() -> None:
    made = weather(50)
    q = quantities(made)
    chance = q["frost_chance_air"]
    starts = q.nights.first_hour
    assert np.isnan(chance[0, starts[-1] :]).all()
    assert np.unique(chance[0, starts[1] : starts[2]]).size == 1


def test_night_that_the_hours_enter_after_sunrise_is_unknown() -> None:
    q = quantities(weather(48, start=datetime(2025, 4, 2, 6, tzinfo=UTC)))
    ends = q.nights.first_hour[1]
    assert np.isnan(q["frost_chance_air"][0, :ends]).all()
    assert not np.isnan(q["frost_chance_air"][0, ends])


def test_members_that_share_the_air_keep_the_spread_of_one_forecast() -> None:
    air = np.full((1, 72), 1.0)
    alone = quantities(weather(72, air_temp_c=air))["frost_chance_air"]
    made = weather(72, members=5, air_temp_c=air)
    columns = {name: made[name] for name in made} | {"air_temp_c": made["air_temp_c"][:1]}
    shared = HourlyWeather(first_hour=made.first_hour, hours=72, columns=columns)
    np.testing.assert_array_equal(quantities(shared)["frost_chance_air"], alone)


def test_members_each_give_their_own_chance() -> None:
    air = np.full((3, 72), 8.0)
    air[0] = -4.0
    q = quantities(weather(72, members=3, air_temp_c=air))
    chance = q["frost_chance_air"]
    assert chance[0, 30] > 0.99
    assert chance[1, 30] < 0.01


def test_one_unknown_hour_of_the_night_makes_it_unknown() -> None:
    air = np.full(72, 5.0)
    air[26] = np.nan
    q = quantities(weather(72, air_temp_c=air))
    assert np.isnan(q["frost_chance_air"][0, 20:30]).all()


NAN = float("nan")


@pytest.mark.parametrize(
    ("surface", "air", "sun", "kept"),
    [
        # In the sun the surface must be at half a degree or above for a full hour.
        ([-1, -1, 1, 1, 1], 2, 10, "xxx.."),
        ([-1, 0.5, 0.5, 0.5], 2, 10, "xx.."),
        ([-1, 0.4, 0.4, 0.4], 2, 10, "xxxx"),
        ([-1, 0.6, 0.4, 0.6, 0.6], 2, 10, "xxxx."),
        ([-1, 1, 1, 1], 2, 5, "xxxx"),
        ([-1, 1, 1, 1], 2, 5.1, "xx.."),
        ([-1, 1, 1, 1], 2, [0, 4, 6, 6], "xxx."),
        # Without sun the air must be above four degrees.
        ([-1, 1, 1, 1], 4.1, -5, "xx.."),
        ([-1, 1, 1, 1], 4, -5, "xxxx"),
        ([-1, 1, 1, 1], [0, 3, 5, 5], -5, "xxx."),
        # Frost that comes back is frost again; a single hour at the end is no full hour.
        ([-1, 1, 1, -1, 1, 1], 2, 10, "xx.xx."),
        ([-1, -1, 1], 2, 10, "xxx"),
        # What is not known stays so until the next frost, or the next full hour of thaw.
        ([NAN, 1, -1, 1, 1], 2, 0, "??xxx"),
        ([NAN, 1, 1, 1], 5, 10, "??.."),
        ([-1, -1, 1, 1], [2, 2, NAN, 2], 10, "xx?."),
    ],
)
def test_off_the_frost_hour_by_hour(surface, air, sun, kept) -> None:
    assert _kept(surface, air, sun) == kept


class _Night:
    """Quantities of a night given by hand: the turf by member and hour, mild sunless air."""

    def __init__(self, surface) -> None:
        turf = np.atleast_2d(np.array(surface, dtype=float))
        hours = turf.shape[1]
        self.weather = weather(hours)
        self._columns = {"frost_keep_off": keep_off(turf, np.full(hours, 6.0), np.full(hours, -10.0))}

    def __getitem__(self, name: str):
        return self._columns[name]


def _off_h(surface, after_h: float = 0.0) -> float | None:
    night = _Night(surface)
    off = off_frost(night, after=night.weather.start + timedelta(hours=after_h))  # type: ignore[arg-type]
    return None if off is None else (off - night.weather.start) / timedelta(hours=1)


def test_off_the_frost_within_a_day_of_the_moment_asked() -> None:
    assert _off_h([-1.0] * 23 + [1.0] * 20) == 24
    assert _off_h([-1.0] * 24 + [1.0] * 20) is None
    assert _off_h([-1.0] * 24 + [1.0] * 20, after_h=1) == 25
    assert _off_h([1.0] * 30) is None
    # The weather may end sooner than the day, and begin later than the moment.
    assert _off_h([-1.0, -1.0, 1.0, 1.0]) == 3
    assert _off_h([-1.0, 1.0, 1.0, 1.0], after_h=-5) == 2
    # Frost before the moment is another's.
    assert _off_h([-1.0, 1.0, 1.0, -1.0, -1.0, 1.0, 1.0], after_h=3) == 6


def test_the_plain_forecast_decides_the_hour_off_the_frost() -> None:
    assert _off_h([[-3.0, -3.0, -1.0, 2.0, 2.0], [-1.0, -1.0, 3.0, 2.0, 2.0]]) == 4


def test_what_lies_outside_all_weather_has_no_chance() -> None:
    np.testing.assert_allclose(frost_chance([39.0, -59.0], 1.5), [0.0, 1.0], atol=1e-6)
    assert np.isnan(frost_chance([41.0, -61.0], 1.5)).all()
    np.testing.assert_allclose(frost_chance(0.0, [40.0, 49.0]), 0.5)
    assert np.isnan(frost_chance(0.0, 51.0))


def test_the_spread_is_given_for_sixteen_days_and_the_night_after() -> None:
    # A quarter of a kelvin a day more than 1.5 K.
    np.testing.assert_allclose(forecast_spread_k([12.0, 17.0]), [4.25, 5.5])
    assert np.isnan(forecast_spread_k(17.01))


def test_air_may_decide_a_night_that_leaves_the_grass_open() -> None:
    # A dark hour is not known; the site's own readings put its grass well above the calibration.
    air = np.full(72, -2.5)
    air[26] = np.nan
    q = quantities(
        weather(72, air_temp_c=air, rel_humidity_pct=95.0, cloud_pct=100.0, soil_temp_6cm_c=5.0),
        constants={"grass_shift_k": 4.0},
    )
    night = q.nights.first_hour[1]
    assert np.isnan(q["frost_chance_ground"][0, night])
    assert q["frost_chance_air"][0, night] > 0.9
