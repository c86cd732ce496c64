"""Bright Sky: which hour a figure is of, its units, its nulls, and the station behind it.

Meanings of the labels are those of the service's own API description (brightsky.dev/docs, WeatherRecord).
"""

from __future__ import annotations

from dataclasses import replace
from datetime import datetime, timedelta, timezone

import numpy as np
import pytest

from planner.errors import ForecastMalformed, ForecastUnavailable
from planner.forecast import Request
from planner.forecast.brightsky import PROVIDER
from planner.forecast.usable import require_usable

from .conftest import reply
from .payloads import NOW, START, STATION, bright_sky, raw

SITE = Request(latitude_deg=52.5, longitude_deg=13.4, elevation_m=38, contact="me@green.example")


def read(answer):
    return PROVIDER.parse(raw(answer), fetched_at=NOW)


def test_what_is_of_the_hour_before_the_label_stands_on_that_hour():
    lists = {
        "precipitation": [9.0, 1.0, 2.0, 0.0, 0.0, 0.0],
        "precipitation_probability": [9, 10, 20, 0, 0, 0],
        "wind_speed": [9.0, 3.6, 7.2, 10.8, 0.0, 0.0],
        "wind_direction": [9, 90, 180, 270, 0, 0],
        "wind_gust_speed": [9.0, 36.0, 18.0, 0.0, 0.0, 0.0],
        "solar": [9.0, 0.5, 0.25, 0.0, 0.0, 0.0],
        "cloud_cover": [11, 12, 13, 14, 15, 16],
    }
    weather = read(bright_sky(6, **lists)).weather
    assert weather["rain_mm"][0, :2] == pytest.approx([1.0, 2.0])
    assert weather["rain_chance_pct"][0, :2] == pytest.approx([10, 20])
    assert weather["wind_10m_ms"][0, :3] == pytest.approx([1.0, 2.0, 3.0])
    assert weather["wind_dir_deg"][0, :3] == pytest.approx([90, 180, 270])
    assert weather["gust_10m_ms"][0, :2] == pytest.approx([10.0, 5.0])
    # 0.5 kWh over an hour is 500 W.
    assert weather["shortwave_wm2"][0, :2] == pytest.approx([500.0, 250.0])
    assert weather["cloud_pct"][0].tolist() == [11, 12, 13, 14, 15, 16]
    assert weather["air_temp_c"][0, :2] == pytest.approx([10.0, 10.5])
    for column in ("rain_mm", "wind_10m_ms", "gust_10m_ms", "shortwave_wm2"):
        assert np.isnan(weather[column][0, -1]), "what ends after the list is unknown"


def test_the_hour_before_a_gap_is_unknown():
    answer = bright_sky(8)
    del answer["weather"][4]
    rain = read(answer).weather["rain_mm"][0]
    assert np.isnan(rain).tolist() == [False] * 3 + [True, True] + [False] * 2 + [True]


def test_local_times_through_a_change_of_clocks_are_one_line_of_hours():
    answer = bright_sky(6, start=datetime.fromisoformat("2026-03-29T00:00+01:00"))
    for record in answer["weather"]:
        moment = datetime.fromisoformat(record["timestamp"])
        late = moment >= datetime.fromisoformat("2026-03-29T02:00+01:00")
        record["timestamp"] = moment.astimezone(timezone(timedelta(hours=2 if late else 1))).isoformat()
    assert answer["weather"][2]["timestamp"] == "2026-03-29T03:00:00+02:00"
    weather = read(answer).weather
    assert weather.hours == 6
    assert not np.isnan(weather["air_temp_c"]).any()


def test_humidity_of_a_forecast_follows_from_its_dew_point():
    forecast = read(bright_sky(6, relative_humidity=[None] * 6))
    # Magnus by hand for 10 °C and a dew point of 5 °C: 71 %.
    assert forecast.weather["rel_humidity_pct"][0, 0] == pytest.approx(71, abs=0.5)


def test_hours_that_are_all_null_are_unknown():
    forecast = PROVIDER.parse(STATION.read_bytes(), fetched_at=NOW)
    weather = forecast.weather
    at = weather.index(NOW)
    for column in ("air_temp_c", "rel_humidity_pct", "wind_10m_ms"):
        assert np.isnan(weather[column][0, at - 1]), "an hour before"
        assert not np.isnan(weather[column][0, at + 1 : at + 48]).any()
    assert np.isnan(weather["air_temp_c"][0, at])
    assert weather["shortwave_wm2"][0, 12] == pytest.approx(620, abs=30), "noon, local"


def test_the_station_is_named_with_its_distance():
    forecast = PROVIDER.parse(STATION.read_bytes(), fetched_at=NOW)
    assert "most hours are those of Beispielstadt, 3.6 km away, at 112 m" in forecast.notes
    assert "pressure is reduced from sea level to 112 m" in forecast.notes


def test_pressure_without_a_height_is_left_out():
    answer = bright_sky(6, pressure_msl=[1013.0] * 6)
    assert read(answer).weather["pressure_hpa"][0, 0] == pytest.approx(1013 - 38 / 8.3, abs=0.5)
    answer["sources"] = []
    assert "pressure_hpa" not in read(answer).weather


@pytest.mark.parametrize(
    "time", ["2026-04-01T00:00:00", "2026-04-01T00:30:00+00:00", "soon", None, 7, "0001-01-01T00:00:00+14:00"]
)
def test_a_time_that_cannot_be_is_refused_in_words(time):
    answer = bright_sky(6)
    answer["weather"][2]["timestamp"] = time
    with pytest.raises(ForecastMalformed, match="Bright Sky"):
        read(answer)


def test_hours_out_of_order_or_given_twice_are_refused():
    for first, second in ((2, 3), (3, 3)):
        answer = bright_sky(6)
        listed = answer["weather"]
        listed[2], listed[3] = listed[second], listed[first]
        with pytest.raises(ForecastMalformed, match="out of order"):
            read(answer)


def test_an_answer_without_hours_is_none():
    with pytest.raises(ForecastMalformed, match="no hour at all"):
        read({"weather": [], "sources": []})


def test_whole_days_and_units_are_asked_for(service):
    service.says(reply(raw(bright_sky(48))))
    here = replace(PROVIDER, base_url=service.url)
    answer = here.fetch(SITE, last=None, now=NOW, budget_s=30.0)
    assert (
        service.asked[0][0]
        == "/weather?lat=52.5000&lon=13.4000&date=2026-03-30&last_date=2026-04-09&units=dwd"
    )
    assert answer.url.startswith(service.url)


def test_no_station_near_is_said_in_words(service):
    service.says(reply(raw({"detail": "No sources match your criteria"}), 404))
    with pytest.raises(ForecastUnavailable, match=r"no station within 50 km.*No sources match") as fault:
        replace(PROVIDER, base_url=service.url).fetch(SITE, last=None, now=NOW, budget_s=30.0)
    assert "Bright Sky" in str(fault.value)
    assert len(service.asked) == 1


@pytest.mark.parametrize(
    ("key", "value", "says"), [("lat", 48.0, "km from the site"), ("height", 900.0, "height of 900 m")]
)
def test_a_station_elsewhere_is_no_forecast_for_the_site(service, key, value, says):
    answer = bright_sky(48, start=START)
    answer["sources"][0][key] = value
    service.says(reply(raw(answer)))
    here = replace(PROVIDER, base_url=service.url)
    got = here.fetch(SITE, last=None, now=NOW, budget_s=30.0)
    with pytest.raises(ForecastMalformed, match=says):
        require_usable(here.parse(got.raw, fetched_at=NOW), got, SITE, NOW)
