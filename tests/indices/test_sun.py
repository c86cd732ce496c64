"""Place of the sun against the printed point of SPA and an independent library."""

from __future__ import annotations

from datetime import UTC, date, datetime, timedelta

import numpy as np
import pytest
from astral import LocationInfo
from astral.sun import sun as astral_sun
from hypothesis import given
from hypothesis import strategies as st

from planner.indices.sun import (
    clear_sky_wm2,
    cloudy_sky_wm2,
    daily_light_mol_m2,
    rise_and_set_s,
    sun_position_deg,
)


def test_spa_printed_point() -> None:
    # Reda and Andreas 2003: 17 October 2003 12:30:30 UTC-7, 39.742476 N 105.1786 W: zenith 50.11162 with
    # refraction, azimuth 194.34024. Refraction at that height and 820 hPa is 0.016 degrees.
    moment = datetime(2003, 10, 17, 19, 30, 30, tzinfo=UTC).timestamp()
    altitude, azimuth = sun_position_deg(moment, 39.742476, -105.1786)
    assert 90.0 - altitude - 0.016 == pytest.approx(50.11162, abs=0.02)
    assert azimuth == pytest.approx(194.34024, abs=0.02)


@pytest.mark.parametrize("latitude", [-35.0, 0.0, 36.1, 51.4769, 60.0])
@pytest.mark.parametrize("day", [date(2024, 3, 20), date(2024, 6, 21), date(2024, 10, 5), date(2024, 12, 21)])
def test_rise_and_set_against_astral(latitude: float, day: date) -> None:
    place = LocationInfo(latitude=latitude, longitude=0.0).observer
    theirs = astral_sun(place, date=day, tzinfo=UTC)
    start = datetime(day.year, day.month, day.day, tzinfo=UTC)
    rise, fall = rise_and_set_s(
        int(start.timestamp()), int((start + timedelta(days=1)).timestamp()), latitude, 0.0
    )
    assert rise == pytest.approx(theirs["sunrise"].timestamp(), abs=60)
    assert fall == pytest.approx(theirs["sunset"].timestamp(), abs=60)


def test_civil_dusk_against_astral() -> None:
    theirs = astral_sun(
        LocationInfo(latitude=51.4769, longitude=0.0).observer, date=date(2024, 6, 21), tzinfo=UTC
    )
    start = int(datetime(2024, 6, 21, tzinfo=UTC).timestamp())
    dawn, dusk = rise_and_set_s(start, start + 86400, 51.4769, 0.0, altitude_deg=-6.0)
    assert dawn == pytest.approx(theirs["dawn"].timestamp(), abs=60)
    assert dusk == pytest.approx(theirs["dusk"].timestamp(), abs=60)


def test_polar_day_and_night_have_no_rising() -> None:
    june = int(datetime(2024, 6, 21, tzinfo=UTC).timestamp())
    december = int(datetime(2024, 12, 21, tzinfo=UTC).timestamp())
    assert rise_and_set_s(june, june + 86400, 78.0, 15.0) == (None, None)
    assert rise_and_set_s(december, december + 86400, 78.0, 15.0) == (None, None)


def test_cloud_takes_three_quarters() -> None:
    # Kasten and Czeplak 1980, from memory: 910 sin h - 30 W/m2; whole cover leaves a quarter.
    assert clear_sky_wm2(90.0) == pytest.approx(880.0)
    assert cloudy_sky_wm2(40.0, 1.0) == pytest.approx(0.25 * clear_sky_wm2(40.0))
    assert clear_sky_wm2(-10.0) == 0.0
    assert np.isnan(cloudy_sky_wm2([40.0, np.nan, 40.0], [np.nan, 0.5, 2.0])).all()


def test_daily_light_of_twenty_megajoule() -> None:
    assert daily_light_mol_m2(20.0) == pytest.approx(41.1, abs=0.05)
    assert np.isnan(daily_light_mol_m2([np.nan, 90.0])).all()


@given(st.floats(0, 90), st.floats(0, 0.99))
def test_more_cloud_never_brings_more_light(altitude: float, cloud: float) -> None:
    assert cloudy_sky_wm2(altitude, cloud + 0.01) <= cloudy_sky_wm2(altitude, cloud)


def test_arrays_keep_their_shape() -> None:
    altitude, azimuth = sun_position_deg(np.zeros((2, 3)), 51.0, 0.0)
    assert altitude.shape == azimuth.shape == (2, 3)
