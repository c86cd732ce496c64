"""The bucket against measured soil moisture."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pandas as pd
import pytest

from planner.verification import soil_water
from planner.verification.soil_water import antecedent_mm, bucket_mm, stations_in

DATA = Path(__file__).parents[2] / "fixtures" / "verification"


def test_the_bucket_beats_antecedent_rain_in_year_and_summer() -> None:
    year, summer = soil_water.rows(DATA)
    assert (year.cases, summer.cases) == (42, 42)
    assert year.score == pytest.approx(0.877, abs=0.002)
    assert summer.score == pytest.approx(0.924, abs=0.002)
    assert year.is_better
    assert summer.is_better
    assert (year.baseline_score, summer.baseline_score) == pytest.approx((0.543, 0.782), abs=0.002)


def test_the_depth_that_was_chosen_is_no_peak() -> None:
    stations = stations_in(DATA)

    def median(depth_m: float) -> float:
        found = []
        for one in stations:
            known = ~np.isnan(one.moisture)
            found.append(np.corrcoef(bucket_mm(one, depth_m)[known], one.moisture[known])[0, 1])
        return float(np.median(found))

    assert [median(depth) for depth in (0.2, 0.4, 0.6, 1.0)] == pytest.approx(
        [0.71, 0.84, 0.88, 0.89], abs=0.01
    )


def test_other_stations_are_read_and_had_no_part(tmp_path: Path) -> None:
    table = pd.read_csv(DATA / "uscrn_2020_daily.csv.gz", dtype={"wban": str})
    table = table[table["wban"].isin(["03054", "54811", "23803"])]
    table["wban"] = "9" + table["wban"].str[1:]
    table.to_csv(tmp_path / "uscrn_2021_daily.csv.gz", index=False)
    row = soil_water.rows(tmp_path)[0]
    assert (row.cases, row.fitted) == (3, "none")
    table[table["wban"] == "93803"].to_csv(tmp_path / "uscrn_2021_daily.csv.gz", index=False)
    assert soil_water.rows(tmp_path) == []


def test_antecedent_rain_by_hand() -> None:
    assert antecedent_mm(np.array([10.0, 0.0, np.nan, 5.0])).tolist() == pytest.approx(
        [10.0, 9.0, 8.1, 12.29]
    )
