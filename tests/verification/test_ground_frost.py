"""Ground frost against measured grass minima: what is shipped is the fit, and beats the air on what it did not see."""

from __future__ import annotations

from dataclasses import asdict
from functools import lru_cache
from pathlib import Path

import numpy as np
import pandas as pd
import pytest

from planner.indices.frost import frost_chance
from planner.indices.grass_min import (
    AIR_ALONE_K,
    AIR_ALONE_SPREAD_K,
    DAILY,
    HOURLY,
    daily_ground_frost_chance,
)
from planner.verification import ground_frost, measured_nights, night_surface
from planner.verification.base import Row, brier
from planner.verification.grass_fit import Days, Nights, fitted_air_alone, fitted_daily, fitted_hourly

FIXTURES = Path(__file__).parents[2] / "fixtures"


@lru_cache(maxsize=1)
def _data() -> tuple[Nights, Days]:
    nights, days = measured_nights.carried_nights(), measured_nights.carried_days()
    assert nights is not None
    assert days is not None
    return nights, days


@lru_cache(maxsize=1)
def _rows() -> dict[tuple[str, str], Row]:
    return {
        (row.data[:7], row.baseline + row.data.partition("hours")[2]): row
        for row in ground_frost.rows(FIXTURES)
    }


def test_shipped_calibration_is_the_fit() -> None:
    nights, days = _data()
    fit = fitted_hourly(nights.known(), days)
    assert asdict(HOURLY) == pytest.approx({name: round(value, 2) for name, value in asdict(fit).items()})


def test_daily_calibration_is_the_fit() -> None:
    fit = fitted_daily(_data()[1])
    assert asdict(DAILY) == pytest.approx({name: round(value, 2) for name, value in asdict(fit).items()})


def test_air_alone_is_the_fit() -> None:
    nights, days = _data()
    mean, spread = fitted_air_alone(nights.known(), days)
    assert (round(mean, 2), round(spread, 2)) == (AIR_ALONE_K, AIR_ALONE_SPREAD_K)
    # How far below the air a grass minimum falls in one night of a hundred: less than what needs reckon with.
    deepest = [np.quantile(part.air_min_c - part.grass_min_c, 0.99) for part in (nights.known(), days)]
    assert deepest == pytest.approx([6.56, 4.9], abs=0.01)


def test_chances_beat_the_air_at_stations_left_out() -> None:
    row = _rows()["7 Irish", "air minimum less a constant"]
    assert (row.cases, row.fitted) == (2553, "left out in turn")
    # Measured: 0.0365 against 0.0435.
    assert [row.score, row.baseline_score] == pytest.approx([0.0365, 0.0435], abs=0.0002)
    assert row.is_better
    for part in row.bins:
        assert abs(part.said - part.happened) <= 0.12


def test_daily_chances_beat_the_air_on_the_other_decade() -> None:
    row = _rows()["De Bilt", "air minimum less a constant"]
    assert row.cases == 7305
    # Measured: 0.0302 against 0.0400.
    assert [row.score, row.baseline_score] == pytest.approx([0.0302, 0.0400], abs=0.0002)
    assert row.is_better
    for part in row.bins:
        assert abs(part.said - part.happened) <= 0.12


def test_what_a_pass_tells_is_what_is_judged() -> None:
    nights, days = _data()
    # The pipeline's own row, and the same made from the constants.
    np.testing.assert_allclose(measured_nights.chance_of(nights, HOURLY), nights.chance, atol=1e-9)
    happened = nights.grass_min_c < 0.0
    assert brier(nights.chance, happened).mean() == pytest.approx(0.0357, abs=0.0002)
    told = daily_ground_frost_chance(days.air_min_c, days.air_mean_c, days.wind_ms, days.cloud)
    assert brier(told, days.grass_min_c < 0.0).mean() == pytest.approx(0.0297, abs=0.0002)


def test_ground_frost_with_air_above_freezing_is_common() -> None:
    days = _data()[1]
    assert ((days.grass_min_c < 0.0) & (days.air_min_c >= 0.0)).mean() > 0.08


def test_brier_score_agrees_with_an_independent_library() -> None:
    scores = pytest.importorskip("scores")
    xarray = pytest.importorskip("xarray")
    nights = _data()[0]
    happened = (nights.grass_min_c < 0.0).astype(float)
    theirs = scores.probability.brier_score(xarray.DataArray(nights.chance), xarray.DataArray(happened))
    assert float(theirs) == pytest.approx(float(brier(nights.chance, happened).mean()))


def _irish(stations: dict[str, str]) -> dict[str, pd.DataFrame]:
    """Hours and days of some of the carried stations, under other names."""
    found = {}
    for name in ("hourly", "daily"):
        table = pd.read_csv(FIXTURES / "verification" / f"ireland_2017_{name}.csv.gz")
        table = table[table["station"].isin(list(stations))]
        found[name] = table.assign(station=table["station"].map(stations))
    return found


def test_where_no_cloud_is_known_the_row_says_what_a_pass_says(tmp_path: Path) -> None:
    tables = _irish({"ATHENRY": "ELSEWHERE"})
    tables["daily"].to_csv(tmp_path / "ireland_daily.csv", index=False)
    tables["hourly"].to_csv(tmp_path / "ireland_hourly.csv", index=False)
    with_cloud = measured_nights.nights(tmp_path)
    tables["hourly"].drop(columns="cloud_inferred_pct").to_csv(tmp_path / "ireland_hourly.csv", index=False)
    without = measured_nights.nights(tmp_path)
    assert with_cloud is not None
    assert without is not None
    told = measured_nights.chance_of(with_cloud, HOURLY, with_balance=False)
    np.testing.assert_allclose(told, without.chance, atol=1e-9)
    row = _rows()["7 Irish", "air minimum less a constant, cloud not known"]
    assert [row.score, row.baseline_score] == pytest.approx([0.0467, 0.0435], abs=0.0002)
    assert not row.is_better


def test_stations_that_had_no_part_are_judged_with_what_is_shipped(tmp_path: Path) -> None:
    tables = _irish({"ATHENRY": "ELSEWHERE", "DUNSANY": "BEYOND"})
    for name, table in tables.items():
        table.to_csv(tmp_path / f"ireland_other_{name}.csv", index=False)
    rows = ground_frost.rows(tmp_path)
    assert {(row.fitted, row.data.partition(", h")[0]) for row in rows} == {
        ("none", "2 Irish stations, 2017")
    }
    assert [row.cases for row in rows] == [730] * 4
    shipped = measured_nights.nights(tmp_path)
    assert shipped is not None
    assert rows[0].score == pytest.approx(brier(shipped.chance, shipped.grass_min_c < 0.0).mean())
    # The air's constant is that of the carried stations, and owes nothing to those that are judged.
    known = _data()[0].known()
    error = known.grass_min_c - known.air_min_c
    by_air = frost_chance(shipped.air_min_c + error.mean(), error.std())
    assert rows[0].baseline_score == pytest.approx(brier(by_air, shipped.grass_min_c < 0.0).mean())
    assert rows[0].score < rows[0].baseline_score


def test_names_in_capitals_gaps_and_several_files_cost_few_nights(tmp_path: Path) -> None:
    tables = _irish({"ATHENRY": "Elsewhere "})
    tables["daily"].to_csv(tmp_path / "IRELAND_OTHER_DAILY.CSV", index=False)
    hourly = tables["hourly"]
    whole = tmp_path / "IRELAND_Other_Hourly.csv.GZ"
    hourly.to_csv(whole, index=False, compression="gzip")
    first = ground_frost.rows(tmp_path)[0]
    assert (first.data, first.cases, first.fitted) == ("Elsewhere, 2017, hours", 365, "none")
    # In two files, the later one first by name: the same figures.
    hourly.iloc[:4000].to_csv(tmp_path / "ireland_b_hourly.csv", index=False)
    hourly.iloc[4000:].to_csv(tmp_path / "ireland_a_hourly.csv", index=False)
    whole.unlink()
    assert ground_frost.rows(tmp_path)[0] == first
    # Three hours of a hundred are not there; a pass takes a short gap without cloud as clear, without air it waits.
    rng = np.random.default_rng(2)
    gaps = hourly.copy()
    gaps.loc[rng.random(len(gaps)) < 0.03, "cloud_inferred_pct"] = np.nan
    gaps.iloc[:4000].to_csv(tmp_path / "ireland_b_hourly.csv", index=False)
    gaps.iloc[4000:].to_csv(tmp_path / "ireland_a_hourly.csv", index=False)
    holey = ground_frost.rows(tmp_path)[0]
    assert holey.cases == first.cases
    assert holey.score == pytest.approx(first.score, abs=0.004)


def test_rain_is_moved_by_an_hour_and_not_by_a_row() -> None:
    table = _irish({"ATHENRY": "ELSEWHERE"})["hourly"].head(48).reset_index(drop=True)
    table["rain_hour_before_mm"] = 0.0
    table.loc[20, "rain_hour_before_mm"] = 4.0
    # The hour before the reading is not there: the rain still belongs to it.
    q = measured_nights.measured(table.drop(index=19), 53.3, -8.8, "ELSEWHERE")
    assert np.flatnonzero(q["rain_mm"][0] > 0.0).tolist() == [19]


def test_optional_columns_may_be_missing_and_few_nights_have_no_interval(tmp_path: Path) -> None:
    tables = _irish({"ATHENRY": "ELSEWHERE"})
    few = tables["hourly"].head(24 * 12)[["time", "station", "air_temp_c"]]
    few.to_csv(tmp_path / "ireland_hourly.csv", index=False)
    tables["daily"].to_csv(tmp_path / "ireland_daily.csv", index=False)
    rows = ground_frost.rows(tmp_path)
    assert {row.baseline for row in rows} == {"air minimum less a constant", "share of the month"}
    assert {(row.gain_low, row.gain_high) for row in rows} == {(None, None)}


def test_years_that_had_no_part_are_judged_with_what_is_shipped(tmp_path: Path) -> None:
    text = (FIXTURES / "published" / "debilt_1980_1999_daily.csv").read_text().splitlines()
    later = [line.replace("198", "200", 1) for line in text[1:] if line.startswith("198")]
    (tmp_path / "debilt_2000_2019_daily.csv").write_text("\n".join([text[0], *later]))
    (row, months) = ground_frost.rows(tmp_path)
    assert (row.data, row.fitted) == ("De Bilt, 2000 to 2009, daily means", "none")
    assert row.score < row.baseline_score
    assert months.baseline == "share of the month"
    days = measured_nights.days(tmp_path)
    assert days is not None
    error = _data()[1].grass_min_c - _data()[1].air_min_c
    by_air = frost_chance(days.air_min_c + error.mean(), error.std())
    assert row.baseline_score == pytest.approx(brier(by_air, days.grass_min_c < 0.0).mean())


def test_a_single_decade_of_the_fit_is_left_out_of_the_carried_days_and_said_so(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    text = (FIXTURES / "published" / "debilt_1980_1999_daily.csv").read_text().splitlines()
    eighties = [line for line in text[1:] if line.startswith("198")]
    (tmp_path / "debilt_daily.csv").write_text("\n".join([text[0], *eighties]))
    assert ground_frost.rows(tmp_path)[0].fitted == "left out in turn"
    # Without carried days no fit can be made without them.
    monkeypatch.setattr(ground_frost, "carried_days", lambda: None)
    assert ground_frost.rows(tmp_path) == []
    nineties = [line for line in text[1:] if line.startswith("199")]
    (tmp_path / "debilt_daily.csv").write_text("\n".join([text[0], *eighties, *nineties[:10]]))
    assert "these" in {row.fitted for row in ground_frost.rows(tmp_path)}


def test_night_surface_of_payerne_beats_the_air() -> None:
    cloud, longwave = night_surface.rows(FIXTURES)
    assert (cloud.cases, cloud.of, cloud.fitted) == (222, "hours", "these")
    assert [cloud.score, longwave.score, cloud.baseline_score] == pytest.approx([0.82, 0.63, 1.10], abs=0.015)
    assert cloud.gain_low is not None
    assert cloud.gain_low > 0.0


def test_night_surface_of_another_month_had_no_part_and_gaps_are_gaps(tmp_path: Path) -> None:
    table = pd.read_csv(FIXTURES / "published" / "payerne_2016_06_hourly.csv")
    table["time_utc"] = table["time_utc"].str.replace("2016-06", "2016-09")
    table.to_csv(tmp_path / "PAYERNE_2016_09_hourly.csv", index=False)
    whole = night_surface.rows(tmp_path)[0]
    assert (whole.fitted, whole.data) == ("none", "Payerne, grass, 2016-09, nights, from cloud")
    # The days stand apart: what follows a hole is not taken for the hour after it.
    kept = table[~table["time_utc"].str[:10].isin(["2016-09-10", "2016-09-11"])]
    kept.to_csv(tmp_path / "PAYERNE_2016_09_hourly.csv", index=False)
    holey = night_surface.rows(tmp_path)[0]
    assert whole.cases - 25 < holey.cases < whole.cases
