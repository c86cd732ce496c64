"""The bucket against measured soil moisture."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import numpy as np
import pandas as pd
import pytest

from planner.site import Surface
from planner.verification import showing, soil_water
from planner.verification.soil_water import antecedent_mm, bucket_mm, one_line_mm, stations_in

DATA = Path(__file__).parents[2] / "fixtures" / "verification"


@pytest.mark.replay
def test_the_bucket_beats_antecedent_rain_in_year_and_summer() -> None:
    rows = soil_water.rows(DATA)
    assert [row.cases for row in rows] == [41, 41, 38, 38] * 2
    year, year_line, summer, summer_line = rows[:4]
    assert [year.score, summer.score] == pytest.approx([0.904, 0.930], abs=0.002)
    assert [year.baseline_score, summer.baseline_score] == pytest.approx([0.547, 0.783], abs=0.002)
    assert year.is_better
    assert summer.is_better
    assert [year_line.baseline_score, summer_line.baseline_score] == pytest.approx([0.884, 0.907], abs=0.002)
    assert not year_line.is_better
    assert not summer_line.is_better


@pytest.mark.replay
def test_roots_as_of_turf_follow_the_upper_decimetres_less_well() -> None:
    year, year_line, summer, _ = soil_water.rows(DATA)[4:]
    assert "roots to 0.15 m" in year.data
    assert [year.score, summer.score] == pytest.approx([0.689, 0.693], abs=0.002)
    assert year.is_better
    assert showing.verdict(year_line) == "worse"
    assert showing.verdict(summer) == "worse"
    assert Surface.__dataclass_fields__["root_depth_m"].default == soil_water.TURF_DEPTH_M


def test_the_depth_that_was_chosen_is_no_peak() -> None:
    stations = stations_in(DATA)

    def median(depth_m: float) -> float:
        found = []
        for one in stations:
            told = bucket_mm(one, depth_m)
            known = ~np.isnan(one.moisture + told)
            if known.sum() >= soil_water.LEAST_TOLD:
                found.append(np.corrcoef(told[known], one.moisture[known])[0, 1])
        return float(np.median(found))

    assert [median(depth) for depth in (0.2, 0.4, 0.6, 1.0)] == pytest.approx(
        [0.74, 0.87, 0.90, 0.90], abs=0.01
    )


def test_other_stations_are_read_and_had_no_part(tmp_path: Path) -> None:
    table = pd.read_csv(DATA / "uscrn_2020_daily.csv.gz", dtype={"wban": str})
    table = table[table["wban"].isin(["03054", "54811", "23803"])]
    table["wban"] = "9" + table["wban"].str[1:]
    table.to_csv(tmp_path / "uscrn_2021_daily.csv.gz", index=False)
    row = soil_water.rows(tmp_path)[0]
    assert (row.cases, row.fitted) == (3, "none")
    # One station has no interval; one with too short a summer has no row of it.
    one = table[(table["wban"] == "93803") & (table["date_local_standard"] < "2020-07-20")]
    one.to_csv(tmp_path / "uscrn_2021_daily.csv.gz", index=False)
    rows = soil_water.rows(tmp_path)
    assert [(row.cases, row.gain_low) for row in rows] == [(1, None)] * 4
    assert showing.verdict(rows[0]) == "too few for an interval"


def test_antecedent_rain_by_hand() -> None:
    assert antecedent_mm(np.array([10.0, 0.0, 5.0])).tolist() == pytest.approx([10.0, 9.0, 13.1])
    after_hole = antecedent_mm(np.array([10.0, np.nan, *[0.0] * 29, 5.0]))
    assert np.isnan(after_hole[1:31]).all()
    assert after_hole[31] == pytest.approx(5.0 + 10.0 * 0.9**31)


def test_one_line_by_hand() -> None:
    rain, et0 = np.array([10.0, 80.0, 0.0]), np.array([5.0, 0.0, 10.0])
    assert one_line_mm(rain, et0).tolist() == pytest.approx([57.5, 100.0, 90.0])


def test_a_day_without_rain_or_use_is_no_dry_day() -> None:
    station = stations_in(DATA)[2]
    whole = bucket_mm(station)
    for name in ("rain_mm", "et0_mm"):
        holed = getattr(station, name).copy()
        holed[100] = np.nan
        other = replace(station, **{name: holed})
        for told, before in (
            (bucket_mm(other), whole),
            (one_line_mm(other.rain_mm, other.et0_mm), one_line_mm(station.rain_mm, station.et0_mm)),
        ):
            assert np.isnan(told[100])
            np.testing.assert_array_equal(told[:100], before[:100])
            # Known again once the driest and the wettest that it can be have met.
            again = ~np.isnan(told)
            assert np.abs(told - before)[again].max() < 0.05 * 270.0 * 0.6
