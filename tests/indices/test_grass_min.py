"""The calibrated grass temperature, and what a site's own readings change in it."""

from __future__ import annotations

from datetime import date, timedelta
from typing import Any

import numpy as np
import pytest

from planner.indices import grass_min
from planner.indices.frost import frost_chance
from planner.indices.grass_min import (
    HOURLY,
    MOST_SHIFT_K,
    STRETCH,
    grass_spread_k,
    grass_temp_c,
    log_wind,
    night_share,
    own_correction,
)
from planner.indices.quantities import Quantities, ToldNights
from planner.indices.table_frost import expected_nights
from planner.verification.measured_nights import days
from tests.indices.made import PUBLISHED, quantities, weather


def test_wind_closes_the_gap_to_the_surface() -> None:
    gap = grass_temp_c(0.0, 1.0, [0.0, 0.5, 1.0, 3.0, 10.0, 70.0], -10.0)
    assert (np.diff(gap) >= 0.0).all()
    assert gap[0] == gap[1]
    assert gap[2] == pytest.approx(HOURLY.at_one_ms_k)
    # Far below the air the balance overdoes it: grass and surface come together.
    assert grass_temp_c(0.0, 4.0, 1.0, -10.0) > gap[2] + 0.9
    # No wind makes the thermometer warmer than the surface, nor does depth.
    assert grass_temp_c(0.0, 9.0, 1.0, -10.0) == 0.0
    assert gap[-1] == pytest.approx(0.0, abs=0.1)
    assert (np.diff(grass_spread_k([1.0, 3.0, 10.0])) < 0.0).all()
    assert np.isnan(log_wind([-1.0, 76.0, np.nan])).all()


def test_dry_calm_nights_are_held_at_the_coldest_of_a_hundred() -> None:
    dry = {"rel_humidity_pct": 10.0, "wind_10m_ms": 0.5, "cloud_pct": 0.0, "soil_temp_6cm_c": 5.0}
    q = quantities(weather(72, air_temp_c=10.0, **dry))
    dark = q["sun_altitude_deg"][0] < 0.0
    assert q["surface_temp_c"][0, dark].min() < 0.6
    for row in ("grass_temp_c", "turf_least_c"):
        assert q[row][0, dark].min() == pytest.approx(10.0 - grass_min.COLDEST_BELOW_AIR_K)


def test_difference_fades_with_the_sun() -> None:
    np.testing.assert_allclose(night_share([-20.0, 0.0, 5.0, 10.0, 60.0]), [1.0, 1.0, 0.5, 0.0, 0.0])


def test_readings_move_the_mean_soon_and_the_spread_later() -> None:
    few, many = np.arange(5.0), np.arange(60.0)
    shift, factor = own_correction(np.full(5, -3.0), np.full(5, 1.5), few)
    # Five nights against ten without error: a third of the way, or a little less.
    assert shift == pytest.approx(-3.0 * 4.67 / 14.67, abs=0.02)
    assert factor == pytest.approx(1.0, abs=0.1)
    shift, factor = own_correction(np.full(60, -3.0), np.full(60, 1.5), many)
    assert -3.0 < shift < -2.0
    assert factor < 0.85
    assert own_correction([], [], []) == (0.0, 1.0)
    assert own_correction([np.nan], [1.5], [0.0], start_k=-1.0) == (-1.0, 1.0)
    assert own_correction(np.full(200, -40.0), np.full(200, 1.0), np.zeros(200)) == (
        -MOST_SHIFT_K,
        STRETCH[1],
    )


def test_readings_better_the_nights_to_come() -> None:
    # De Bilt, each night from those before it alone. Measured: 0.0362 to 0.0345.
    found = days(PUBLISHED)
    assert found is not None
    expected = grass_temp_c(found.surface_c, found.air_min_c, found.wind_ms, -10.0)
    spread = grass_spread_k(found.wind_ms)
    error = found.grass_min_c - expected
    corrected, stretched = expected.copy(), spread.copy()
    for night in range(1, 3000):
        past = slice(max(0, night - 120), night)
        shift, factor = own_correction(error[past], spread[past], found.day[night] - found.day[past])
        corrected[night] += shift
        stretched[night] *= factor
    happened = found.grass_min_c[:3000] < 0.0
    scores = [
        float(np.mean((frost_chance(lowest[:3000], wide[:3000]) - happened) ** 2))
        for lowest, wide in ((expected, spread), (corrected, stretched))
    ]
    assert scores[1] < 0.96 * scores[0]


def _with_readings(read: dict[date, float], expected: dict[date, tuple[float, float]]) -> Quantities:
    made = weather(96, air_temp_c=3.0)
    q = quantities(made, now=made.time(40))
    return Quantities(
        made,
        q.site,
        q._table,
        now=q.now,
        told_nights=ToldNights(read_c=read, expected=expected),
    )


def test_what_is_expected_is_worked_out_once_for_all_its_readers(monkeypatch: pytest.MonkeyPatch) -> None:
    asked: list[str] = []
    for name in ("grass_temp_c", "own_correction"):
        formula = getattr(grass_min, name)

        def counted(*given: object, formula: Any = formula, name: str = name, **named: object) -> object:
            asked.append(name)
            return formula(*given, **named)

        monkeypatch.setattr(grass_min, name, counted)
    told = _with_readings(dict.fromkeys([date(2025, 4, 3)], -1.0), {})
    for row in ("grass_temp_c", "turf_least_c", "frost_keep_off", "frost_chance_ground"):
        assert not np.isnan(told[row][0, 30])
    assert expected_nights(told)
    assert sorted(asked) == ["grass_temp_c", "own_correction"]


def test_readings_of_kept_nights_and_of_nights_of_the_forecast_move_grass_and_chance() -> None:
    plain = quantities(weather(96, air_temp_c=3.0), now=weather(96).time(40))
    today = plain.now.astimezone(plain.site.zone).date()
    dark = plain["sun_altitude_deg"][0] < 0.0
    lowest = float(plain["grass_temp_c"][0, dark].min())
    kept = {today - timedelta(days=n): (2.0, 1.5) for n in range(10, 20)}
    for read, expected in (
        (dict.fromkeys(kept, -1.0), kept),
        ({today: lowest - 3.0, today - timedelta(days=1): lowest - 3.0}, {}),
    ):
        told = _with_readings(read, expected)
        moved = (told["grass_temp_c"] - plain["grass_temp_c"])[0]
        assert (moved[dark] < -0.3).all()
        assert told["frost_chance_ground"][0, 60] > plain["frost_chance_ground"][0, 60]
        np.testing.assert_array_equal(told["surface_temp_c"], plain["surface_temp_c"])
    # A reading of a night that nothing was expected of teaches nothing.
    alone = _with_readings({today - timedelta(days=30): -9.0}, {})
    np.testing.assert_array_equal(alone["grass_temp_c"], plain["grass_temp_c"])
