"""The reader of a wetness sensor's record. The record itself may not be copied, so its rows are invented here."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pandas as pd
import pytest

from planner.indices.leaf_wetness import wet_by_humidity
from planner.indices.surface_temp import longwave_down_wm2
from planner.verification import leaf_wetness
from planner.verification.leaf_wetness import cloud_of_longwave, onset_and_dry_off_h, record_of


def made(days: int = 40, first: str = "1999-10-01T06:00Z") -> pd.DataFrame:
    """Clear days with dew from 22 to 7 o'clock by the sensor, and a shower on each tenth."""
    hour = np.arange(24 * days)
    wave = np.sin((hour - 9) / 24 * 2 * np.pi)
    air, humidity = 14 + 7 * wave, 78 - 22 * wave
    local = hour % 24
    rain = np.where((hour % 240) == 110, 4.0, 0.0)
    wet = (local >= 22) | (local < 7) | (rain > 0.0)
    return pd.DataFrame(
        {
            "time": pd.date_range(first, periods=hour.size, freq="h").strftime("%Y-%m-%dT%H:%MZ"),
            "air_temp_c": air,
            "rel_humidity_pct": humidity,
            "wind_10m_ms": 2.0,
            "pressure_hpa": 988.0,
            "shortwave_wm2": np.maximum(700 * np.sin((local - 6) / 24 * 2 * np.pi), 0.0),
            "longwave_down_wm2": longwave_down_wm2(air, humidity, 0.1),
            "rain_mm": rain,
            "leaf_wetness_v": np.where(wet, 0.25, 0.045),
        }
    )


def test_cloud_is_found_again_in_the_longwave_that_it_makes() -> None:
    cloud = np.array([0.0, 0.3, 0.9, 1.0])
    air, humidity = np.array([5.0, 12.0, 20.0, -3.0]), np.array([60.0, 80.0, 95.0, 70.0])
    found = cloud_of_longwave(air, humidity, longwave_down_wm2(air, humidity, cloud))
    np.testing.assert_allclose(found, cloud, atol=1e-9)


def test_a_table_of_other_months_is_read_and_had_no_part(tmp_path: Path) -> None:
    made().to_csv(tmp_path / "bondville_1999_hourly.csv.gz", index=False)
    row, without = leaf_wetness.rows(tmp_path)
    assert (row.fitted, without.fitted) == ("none", "none")
    assert without.data.endswith("cloud not known")
    assert "longwave measured in the same hour" in row.says
    # What was measured of the sky is withheld: the shipped rule of humidity tells the dew.
    record = leaf_wetness.record_of(made(), with_sky=False)
    by_rule = wet_by_humidity(record.humidity_pct, record.rain_mm) == 1.0
    np.testing.assert_array_equal(record.told, by_rule)
    assert row.cases == 24 * 40
    assert row.score > 0.6
    assert "nights without rain" in row.says
    made(first="1998-06-01T06:00Z").to_csv(tmp_path / "bondville_1999_hourly.csv.gz", index=False)
    assert leaf_wetness.rows(tmp_path)[0].fitted == "these"


def test_months_are_those_of_the_place_and_each_part_is_told_apart(tmp_path: Path) -> None:
    # From May by the clock of the place to October: the first hour of May there is 06 UTC.
    made(4, first="1998-04-27T06:00Z").to_csv(tmp_path / "BONDVILLE_a_hourly.csv", index=False)
    rows = leaf_wetness.rows(tmp_path)
    assert [(row.fitted, row.cases) for row in rows] == [("none", 96)] * 2
    assert rows[0].gain_low is None
    made(4, first="1998-05-01T06:00Z").to_csv(tmp_path / "bondville_b_hourly.csv", index=False)
    rows = leaf_wetness.rows(tmp_path)
    assert [(row.fitted, row.cases) for row in rows] == [("these", 96), ("none", 96)] * 2


def test_a_record_without_a_sensor_gives_no_row(tmp_path: Path) -> None:
    made(4).drop(columns="leaf_wetness_v").to_csv(tmp_path / "bondville_hourly.csv", index=False)
    assert leaf_wetness.rows(tmp_path) == []


def test_a_folder_without_such_a_record_gives_no_row(tmp_path: Path) -> None:
    assert leaf_wetness.rows(tmp_path) == []


def test_hours_without_sensor_or_humidity_are_left_out() -> None:
    table = made(4)
    table.loc[5:9, "leaf_wetness_v"] = np.nan
    table = table.drop(index=[30, 31])
    record = record_of(table)
    # Two rows that are not there, and the hour after them, of which the leaf is not known.
    assert record.wet.size == 96 - 5 - 2 - 1


def test_onset_and_dry_off_are_told_in_hours_too_late() -> None:
    record = record_of(made(6))
    late = np.roll(record.wet, 2)
    nights, onset, dry_off = onset_and_dry_off_h(record, late)
    assert nights >= 4
    assert onset == pytest.approx(2.0)
    assert dry_off == pytest.approx(2.0)
