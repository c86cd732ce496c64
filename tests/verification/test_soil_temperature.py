"""Soil temperature against measured soil: the shipped constants are the fit, and a pass comes near it."""

from __future__ import annotations

from dataclasses import replace
from datetime import UTC, datetime, timedelta
from pathlib import Path

import numpy as np
import pandas as pd
import pytest

from planner.diary.timeline import days_of
from planner.indices import INDEX
from planner.indices.past import Day
from planner.indices.quantities import Quantities
from planner.indices.soil_temp import SOIL_TEMP
from planner.verification import soil_temperature
from planner.verification.soil_temperature import Station, fitted_soil, left_out_rmse_k, stations_in
from planner.weather import HourlyWeather
from tests.indices.made import site

DATA = Path(__file__).parents[2] / "fixtures" / "verification"
STATION = "ATHENRY"
PLACE = replace(site(), timezone="UTC", latitude_deg=53.289)


@pytest.fixture(scope="module")
def stations() -> list[Station]:
    return stations_in(DATA)


def test_shipped_constants_are_the_fit(stations: list[Station]) -> None:
    own = SOIL_TEMP
    shipped = [own.offset_c, own.near, own.season, own.sun_k_per_wm2]
    np.testing.assert_allclose(fitted_soil(stations), shipped, atol=(6e-4), rtol=0.0)


def test_a_station_that_had_no_part_is_told_nearly_as_well(stations: list[Station]) -> None:
    assert sum(one.net == "ireland" for one in stations) == 6
    assert left_out_rmse_k(stations, "ireland") == pytest.approx(0.91, abs=0.01)
    assert left_out_rmse_k(stations, "uscrn") == pytest.approx(1.89, abs=0.01)


def test_a_net_that_had_no_part_is_told_nearly_as_well(stations: list[Station]) -> None:
    american = [one for one in stations if one.net == "uscrn"]
    offset, near, season, sun = fitted_soil(american)
    own = replace(SOIL_TEMP, offset_c=offset, near=near, season=season, sun_k_per_wm2=sun)
    losses = [
        soil_temperature.daily_soil_temp_c(one.air_c, one.latitude_deg, one.of_year, constants=own)
        - one.soil_c
        for one in stations
        if one.net == "ireland"
    ]
    assert np.sqrt(np.nanmean(np.square(np.concatenate(losses)))) < 1.25


@pytest.mark.replay
@pytest.mark.parametrize(
    "changes", [{"near_days": 1.0}, {"near_days": 3.0}, {"season_days": 12.0}, {"season_days": 50.0}]
)
def test_time_constants_lie_on_a_flat_stretch(stations: list[Station], changes: dict[str, float]) -> None:
    """Fitted anew with other time constants, stations left out in turn: nowhere much better."""
    other = replace(SOIL_TEMP, **changes)
    for net in ("ireland", "uscrn"):
        assert left_out_rmse_k(stations, net, other) > left_out_rmse_k(stations, net) - 0.06


@pytest.mark.replay
def test_rows_beat_the_simple_ways_but_for_three_days_in_america() -> None:
    rows = soil_temperature.rows(DATA)
    assert [row.cases for row in rows] == [2188] * 6 + [18228] * 6
    assert {row.fitted for row in rows} == {"these"}
    assert [row.is_better for row in rows] == [True] * 11 + [False]
    # From the day and the three before it; a week of air, less a mean error that nobody knows beforehand, is as good.
    assert [rows[9].score, rows[11].baseline_score] == pytest.approx([2.54, 2.55], abs=0.01)


@pytest.mark.replay
def test_other_stations_in_another_folder_are_read_and_had_no_part(tmp_path: Path) -> None:
    table = pd.read_csv(DATA / "uscrn_2020_daily.csv.gz", dtype={"wban": str})
    table = table[table["wban"].isin(["03054", "54811", "26563"])]
    table["wban"] = "9" + table["wban"].str[1:]
    table.loc[table["wban"] == "96563", "latitude_deg"] = 61.0
    table.to_csv(tmp_path / "uscrn_daily_of_others.csv", index=False)
    rows = soil_temperature.rows(tmp_path)
    assert [row.fitted for row in rows] == ["none"] * 6
    assert 366 < rows[0].cases < 366 * 2 + 1, "the station in the north is left out"
    # In two files of half a year each: the same.
    for name, half in (("a", table["date_local_standard"] < "2020-07-01"), ("b", None)):
        part = table[half] if half is not None else table[table["date_local_standard"] >= "2020-07-01"]
        part.to_csv(tmp_path / f"USCRN_{name}_daily.csv", index=False)
    (tmp_path / "uscrn_daily_of_others.csv").unlink()
    assert soil_temperature.rows(tmp_path) == rows


@pytest.mark.replay
def test_stations_of_the_fit_and_others_are_told_apart(tmp_path: Path) -> None:
    for name in ("hourly", "daily"):
        table = pd.read_csv(DATA / f"ireland_2017_{name}.csv.gz").query("station in ['ATHENRY', 'DUNSANY']")
        table["station"] = table["station"].replace("DUNSANY", "Beyond")
        table.to_csv(tmp_path / f"ireland_{name}.csv", index=False)
    rows = soil_temperature.rows(tmp_path)
    assert [row.fitted for row in rows] == ["these"] * 6 + ["none"] * 6
    assert "0.91 K" in rows[0].says
    assert rows[6].says == ""


def test_day_of_the_year_counts_leap_days() -> None:
    days = np.array([0, 58, 59, 11016, 11322])  # 1970-01-01, 02-28, 03-01; 2000-02-29, 2000-12-31
    assert soil_temperature.day_of_year(days).tolist() == [1, 59, 60, 60, 366]


def test_faults_of_a_sensor_are_taken_out() -> None:
    air = np.full(60, 10.0)
    soil = 9.0 + 0.1 * np.arange(60.0)
    soil[5], soil[20:35] = 65.0, 11.5
    clean = soil_temperature._is_sound(soil, air)
    assert np.flatnonzero(~clean).tolist() == [5, *range(20, 35)]


def _error_k(hours: HourlyWeather, measured: dict[object, float], past: dict[object, Day]) -> float:
    q = Quantities(hours, PLACE, INDEX, now=hours.start, past=past)  # type: ignore[arg-type]
    told = q.days.mean_of_known(q["soil_temp_c"])[0]
    return float(told[3] - measured[q.days.dates[3]])


def test_a_pass_with_three_past_days_and_kept_ones_is_as_good_as_the_whole_year() -> None:
    """As the service runs it: three days of hours before the day told, four after, and the days kept till then."""
    hourly = pd.read_csv(DATA / "ireland_2017_hourly.csv.gz").query("station == @STATION")
    daily = pd.read_csv(DATA / "ireland_2017_daily.csv.gz").query("station == @STATION")
    soil = pd.to_numeric(daily["soil_10cm_mean_c"], errors="coerce")
    measured = {
        datetime.fromisoformat(day).date(): value for day, value in zip(daily["date"], soil, strict=True)
    }
    air = np.asarray(hourly["air_temp_c"], dtype=np.float64)
    first = datetime(2017, 1, 1, tzinfo=UTC)
    whole = HourlyWeather.from_columns(
        epoch_s=int(first.timestamp()) + 3600 * np.arange(air.size),
        columns={
            "air_temp_c": air,
            "rel_humidity_pct": air * 0.0 + 80.0,
            "wind_10m_ms": air * 0.0,
            "rain_mm": air * 0.0,
        },
    )
    kept = days_of(whole, PLACE.zone)
    errors = []
    for day in range(75, 355, 4):
        at = first + timedelta(days=day)
        cut = whole.cut(at - timedelta(days=3), at + timedelta(days=4))
        past = {key: value for key, value in kept.items() if key < (at - timedelta(days=3)).date()}
        errors.append(_error_k(cut, measured, past))
    rmse = float(np.sqrt(np.nanmean(np.square(errors))))
    # Every fourth day from March to December; the daily form on the whole year comes to 1.05 K there.
    assert rmse == pytest.approx(1.04, abs=0.02)


@pytest.mark.parametrize(("days", "ireland", "uscrn"), [(3, 1.01, 2.68), (14, 0.91, 2.09), (60, 0.87, 1.88)])
def test_what_few_kept_days_cost(stations: list[Station], days: int, ireland: float, uscrn: float) -> None:
    """The soil of a day from the air of so many days up to it and of none before. [K]"""
    for net, wanted in (("ireland", ireland), ("uscrn", uscrn)):
        errors = [
            soil_temperature.told_from_few_days(one, days) - one.soil_c for one in stations if one.net == net
        ]
        assert np.sqrt(np.nanmean(np.square(np.concatenate(errors)))) == pytest.approx(wanted, abs=0.02)
