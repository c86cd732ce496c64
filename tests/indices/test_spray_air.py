"""Stability of the air against Turner's table."""

from __future__ import annotations

from datetime import UTC, datetime

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from planner.indices import INDEX
from planner.indices.quantities import Quantities
from planner.indices.spray_air import direction_spread_deg, inversion_likely, stability_class
from planner.site import Site
from tests.indices.made import weather


@pytest.mark.parametrize(
    ("wind", "cloud", "sun", "night", "expected"),
    [
        (1.0, 0.0, -20.0, True, 7),
        (3.0, 0.8, -20.0, True, 5),
        (1.0, 0.0, 62.0, False, 1),
        (1.0, 0.0, 40.0, False, 2),
        (1.0, 1.0, 62.0, False, 4),
        (9.0, 1.0, -20.0, True, 4),
        (6.0, 0.0, -20.0, True, 4),
    ],
)
def test_turner_table(wind: float, cloud: float, sun: float, night: bool, expected: int) -> None:
    # EPA meteorological monitoring guidance, section 6.4.1, tables 6-4 to 6-6.
    assert stability_class(wind, cloud, sun, night) == expected


#: The printed table itself: middle of each wind row, then the classes for index 4, 3, 2, 1, 0, -1, -2.
PRINTED = [
    (0.4, [1, 1, 2, 3, 4, 6, 7]),
    (1.3, [1, 2, 2, 3, 4, 6, 7]),
    (2.4, [1, 2, 3, 4, 4, 5, 6]),
    (3.1, [2, 2, 3, 4, 4, 5, 6]),
    (3.6, [2, 2, 3, 4, 4, 4, 5]),
    (4.4, [2, 3, 3, 4, 4, 4, 5]),
    (5.2, [3, 3, 4, 4, 4, 4, 5]),
    (5.7, [3, 3, 4, 4, 4, 4, 4]),
    (8.0, [3, 4, 4, 4, 4, 4, 4]),
]


@pytest.mark.parametrize(("wind", "row"), PRINTED)
def test_every_cell_of_the_printed_table(wind: float, row: list[int]) -> None:
    by_day = [stability_class(wind, 0.2, sun, False) for sun in (70.0, 50.0, 20.0, 10.0)]
    overcast = stability_class(wind, 1.0, 20.0, False)
    by_night = [stability_class(wind, cloud, -30.0, True) for cloud in (0.7, 0.2)]
    assert [int(value) for value in [*by_day, overcast, *by_night]] == row


def test_ceiling_moves_the_class_by_day() -> None:
    # From memory: broken low cloud takes two steps, middle cloud one, high cloud none.
    classes = [int(stability_class(1.0, 0.7, 50.0, False, ceiling)) for ceiling in (3000.0, 10000.0, 20000.0)]
    assert classes == [3, 2, 2]
    assert stability_class(1.0, 1.0, -30.0, True, 20000.0) == 6


def test_inversion_in_the_evening_and_not_at_noon() -> None:
    # Sunset at Greenwich on 21 June 2024 is 20:20 UTC; an inversion is expected from 19:20.
    hours = 24
    made = weather(
        hours,
        start=datetime(2024, 6, 21, tzinfo=UTC),
        wind_10m_ms=1.5,
        cloud_pct=5.0,
        air_temp_c=20.0,
        rel_humidity_pct=50.0,
        shortwave_wm2=None,
    )
    place = Site(name="x", latitude_deg=51.4769, longitude_deg=0.0, elevation_m=40.0, timezone="UTC")
    q = Quantities(made, place, INDEX, now=datetime(2024, 6, 21, tzinfo=UTC))
    likely = q["inversion_likely"][0]
    assert likely[12] == 0.0
    assert likely[18] == 0.0
    assert (likely[19:] == 1.0).all()
    assert (likely[:4] == 1.0).all()


def test_wind_alone_never_clears_a_layer_that_the_surface_shows() -> None:
    assert inversion_likely(4, 7.0, 0.0, -20.0, True, 1.5) == 1.0
    assert inversion_likely(4, 7.0, 0.0, -20.0, True, 0.5) == 0.0


def test_warmer_air_aloft_is_a_direct_sign() -> None:
    assert inversion_likely(4, 7.0, 1.0, 30.0, False, -5.0, 0.5) == 1.0


def test_what_is_needed_and_not_known_is_unknown() -> None:
    assert np.isnan(inversion_likely(np.nan, 1.0, np.nan, -20.0, True, np.nan))
    assert inversion_likely(np.nan, 1.0, np.nan, 40.0, False, np.nan) == 0.0
    assert inversion_likely(7, 1.0, 0.0, -20.0, True, np.nan) == 1.0
    assert np.isnan(inversion_likely(np.nan, np.nan, np.nan, 40.0, False, np.nan))
    assert np.isnan(
        stability_class([np.nan, 1.0, 1.0], [0.5, np.nan, 0.5], [10.0, 10.0, np.nan], False)
    ).all()


@given(st.floats(0, 20), st.floats(0, 1))
def test_night_air_is_never_unstable(wind: float, cloud: float) -> None:
    assert 4 <= stability_class(wind, cloud, -20.0, True) <= 7
    assert stability_class(wind + 1.0, cloud, -20.0, True) <= stability_class(wind, cloud, -20.0, True)


def test_direction_spread_across_north() -> None:
    out = direction_spread_deg(np.array([[350.0, 10.0, 20.0, 20.0, 200.0]]))
    assert out[0].tolist() == [20.0, 30.0, 10.0, 180.0, 180.0]
    assert np.isnan(direction_spread_deg(np.array([[350.0, np.nan, 20.0]]))).all()
