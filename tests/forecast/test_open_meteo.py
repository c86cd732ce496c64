"""The plain forecast of Open-Meteo, from the recorded answer and answers made to its layout."""

from __future__ import annotations

import json
from datetime import UTC, datetime, timedelta
from typing import Any

import numpy as np
import pytest

from planner.errors import ForecastMalformed, UnitMismatch
from planner.forecast import open_meteo
from planner.forecast.recorded import read_file

from .payloads import BERLIN, NOW, raw
from .payloads import open_meteo as made

P = open_meteo.PROVIDER


def parsed(answer: Any):
    return P.parse(raw(answer), fetched_at=NOW)


@pytest.fixture(scope="module")
def berlin():
    return read_file(BERLIN, fetched_at=NOW)


def test_wind_declared_in_kilometres_an_hour_is_read_so(berlin):
    # The recording lists 1.0, 1.9, 1.8, 3.1 km/h and gusts 4.7, 4.3, 3.6, 6.1 km/h; divided by 3.6 by hand.
    # A gust is the highest of the hour that ends at its label, so the first row takes the second figure.
    assert berlin.weather["wind_10m_ms"][0, :4] == pytest.approx([0.2778, 0.5278, 0.5, 0.8611], abs=5e-5)
    assert berlin.weather["gust_10m_ms"][0, :3] == pytest.approx([1.1944, 1.0, 1.6944], abs=5e-5)


def test_rain_labelled_at_the_end_of_its_hour_stands_on_the_hour(berlin):
    # 0.2 mm under the label 2025-07-28T08:00 fell from 07:00 to 08:00.
    weather = berlin.weather
    row = weather.index(datetime(2025, 7, 28, 7, tzinfo=UTC))
    assert weather["rain_mm"][0, row - 1 : row + 2].tolist() == [0.0, 0.2, 0.0]
    assert weather["rain_chance_pct"][0, row] == 25
    assert weather["et0_mm"][0, row] == 0.07
    assert weather["air_temp_c"][0, 0] == 17.4


def test_last_hour_has_no_sum_and_says_so(berlin):
    assert np.isnan(berlin.weather["rain_mm"][0, -1])
    assert not np.isnan(berlin.weather["air_temp_c"][0, -1])
    assert np.isnan(berlin.weather["rain_mm"]).sum() == 1


def test_rain_is_kept_to_the_drop(berlin):
    listed = json.loads(BERLIN.read_text())["hourly"]["precipitation"]
    assert np.nansum(berlin.weather["rain_mm"]) == pytest.approx(sum(listed[1:]))


def test_three_hourly_steps_are_found(berlin):
    # Labels 85 to 90 of the recording are 0.2 three times, then 0.5 three times: rows 84 on.
    steps = berlin.weather.step_h
    assert set(steps[:84]) == {1.0}
    assert set(steps[84:]) == {3.0}
    assert any("steps of up to 3 h" in note for note in berlin.notes)


def test_absent_column_is_unknown_not_zero(berlin):
    assert "shortwave_wm2" not in berlin.weather
    assert np.isnan(berlin.weather["shortwave_wm2"]).all()


def test_layers_of_soil_and_air_have_their_columns(berlin):
    assert berlin.weather["soil_temp_6cm_c"][0, 0] == 18.6
    assert berlin.weather["soil_moisture_m3m3"][0, 0] == 0.328
    assert berlin.weather["air_temp_80m_c"][0, 0] == 18.2


def test_sea_level_pressure_reduced_as_the_service_does_it(berlin):
    # The same answer carries both pressures: ours must meet the service's own at the site, which is rounded.
    listed = json.loads(BERLIN.read_text())
    del listed["hourly"]["surface_pressure"]
    ours = open_meteo.parse_document(listed, fetched_at=NOW).weather["pressure_hpa"]
    assert np.abs(ours - berlin.weather["pressure_hpa"]).max() < 0.06


def test_null_stays_unknown_and_negative_zero_goes():
    forecast = parsed(made(4, precipitation=[0.0, None, -0.0, 1.0], temperature_2m=[-0.0, 1.0, None, 2.0]))
    rain = forecast.weather["rain_mm"][0]
    assert np.isnan(rain[[0, 3]]).all()
    assert rain[2] == 1.0
    assert not np.signbit(rain[1])
    assert not np.signbit(forecast.weather["air_temp_c"][0, 0])
    assert np.isnan(forecast.weather["air_temp_c"][0, 2])


def test_no_rain_beyond_the_reach_of_the_model_is_unknown():
    temps = [10.0] * 6 + [None] * 6
    forecast = parsed(made(12, temperature_2m=temps, precipitation=[0.0] * 12))
    assert forecast.weather["rain_mm"][0, :6].tolist() == [0.0] * 6
    assert np.isnan(forecast.weather["rain_mm"][0, 6:]).all()
    assert any("no temperature" in note for note in forecast.notes)


def test_rain_without_precipitation_is_refused():
    answer = made(4, rain=[0.0] * 4)
    answer["hourly_units"]["rain"] = "mm"
    del answer["hourly"]["precipitation"]
    with pytest.raises(ForecastMalformed, match=r'ask for "precipitation"'):
        parsed(answer)


def test_int16_fill_and_a_thousand_miles_an_hour_are_named():
    answer = made(6, precipitation=[0.0, 0.0, -3276.8, 0.0, 0.0, 0.0], wind_speed_10m=[2, 2, 1048, 2, 2, 2])
    answer["hourly_units"]["wind_speed_10m"] = "mp/h"
    forecast = parsed(answer)
    named = {(flaw.column, flaw.at) for flaw in forecast.weather.flaws}
    assert ("rain_mm", datetime(2026, 4, 1, 1, tzinfo=UTC)) in named
    assert ("wind_10m_ms", datetime(2026, 4, 1, 2, tzinfo=UTC)) in named
    assert np.isnan(forecast.weather["rain_mm"][0, 1])


@pytest.mark.parametrize(
    ("name", "unit", "given", "column", "read"),
    [
        ("temperature_2m", "°F", 50.0, "air_temp_c", 10.0),
        ("wind_speed_10m", "km/h", 36.0, "wind_10m_ms", 10.0),
        ("wind_speed_10m", "mp/h", 10.0, "wind_10m_ms", 4.4704),
        ("wind_speed_10m", "kn", 10.0, "wind_10m_ms", 5.14444),
        ("precipitation", "inch", 0.5, "rain_mm", 12.7),
        ("snowfall", "cm", 7.0, "snow_mm", 10.0),
        ("snowfall", "inch", 7.0 / 2.54, "snow_mm", 10.0),
    ],
)
def test_declared_units_are_converted(name, unit, given, column, read):
    answer = made(4, **{name: [given] * 4})
    answer["hourly_units"][name] = unit
    assert parsed(answer).weather[column][0, 1] == pytest.approx(read)


@pytest.mark.parametrize("unit", ["furlong/h", "undefined", "", None])
def test_unknown_unit_is_refused_by_name(unit):
    answer = made(4)
    answer["hourly_units"]["wind_speed_10m"] = unit
    with pytest.raises(UnitMismatch, match="wind_speed_10m"):
        parsed(answer)


def test_undefined_and_empty_is_a_column_that_is_absent():
    assert "cloud_pct" not in parsed(made(4, cloud_cover=[None] * 4)).weather


def test_layer_names_are_joined_and_old_spellings_read():
    answer = made(
        4,
        soil_temperature_6cm=[8.0, None, None, None],
        soil_temperature_0_to_7cm=[9.0, 9.0, None, 9.0],
        windspeed_10m=[3.0] * 4,
        cloudcover=[50] * 4,
    )
    del answer["hourly"]["wind_speed_10m"]
    answer["hourly_units"] |= {
        "soil_temperature_6cm": "°C",
        "soil_temperature_0_to_7cm": "°C",
        "windspeed_10m": "m/s",
        "cloudcover": "%",
    }
    weather = parsed(answer).weather
    assert weather["soil_temp_6cm_c"][0, [0, 1, 3]].tolist() == [8.0, 9.0, 9.0]
    assert np.isnan(weather["soil_temp_6cm_c"][0, 2])
    assert weather["wind_10m_ms"][0, 0] == 3.0
    assert weather["cloud_pct"][0, 0] == 50


def local(hours: int, offset_s: int, first: datetime) -> dict[str, Any]:
    answer = made(hours)
    labels = [f"{first + timedelta(hours=hour):%Y-%m-%dT%H:%M}" for hour in range(hours)]
    answer["hourly"]["time"] = labels
    answer["hourly_units"]["time"] = "iso8601"
    answer["utc_offset_seconds"] = offset_s
    return answer


def test_labels_of_the_night_the_clocks_change_are_continuous_in_utc():
    # Toronto, 2026-03-08: 02:00 does not exist on the wall, and the service lists it all the same.
    answer = local(48, -18000, datetime(2026, 3, 8))  # noqa: DTZ001 labels carry no zone
    assert "2026-03-08T02:00" in answer["hourly"]["time"]
    forecast = parsed(answer)
    assert forecast.weather.start == datetime(2026, 3, 8, 5, tzinfo=UTC)
    assert forecast.weather.hours == 48
    assert not np.isnan(forecast.weather["air_temp_c"]).any()
    assert any("local time" in note for note in forecast.notes)


@pytest.mark.parametrize("offset_s", [19800, 20700, -12600])
def test_zone_of_half_an_hour_is_refused_in_words(offset_s):
    with pytest.raises(ForecastMalformed, match="timezone=GMT"):
        parsed(local(24, offset_s, datetime(2026, 4, 1)))  # noqa: DTZ001 labels carry no zone


def test_unixtime_is_utc_whatever_the_offset_says():
    answer = made(4)
    answer["utc_offset_seconds"] = 7200
    assert parsed(answer).weather.start == datetime(2026, 4, 1, tzinfo=UTC)


def test_several_places_are_refused_and_one_in_a_list_is_read():
    assert parsed([made(4)]).weather.hours == 4
    with pytest.raises(ForecastMalformed, match="2 locations"):
        parsed([made(4), made(4)])


@pytest.mark.parametrize(
    ("change", "says"),
    [
        (lambda a: a["hourly"].update(precipitation=[0.0] * 3), "cut short"),
        (lambda a: a["hourly"].update(temperature_2m=["warm"] * 4), "'warm'"),
        (lambda a: a["hourly"].update(temperature_2m=7.0), "not a list"),
        (lambda a: a["hourly"].pop("time"), "no list of times"),
        (lambda a: a.pop("hourly_units"), "hourly_units"),
        (lambda a: a["hourly"].update(time=[0.5, 1, 2, 3]), "whole numbers"),
        (lambda a: a["hourly"].update(time=[0, 10800, 21600, 32400]), "180 minutes"),
        (lambda a: a["hourly"].pop("wind_speed_10m"), "wind_10m_ms"),
        (lambda a: a["hourly_units"].update(time="days"), '"days"'),
        (lambda a: a.update(utc_offset_seconds="2h"), "seconds were expected"),
        (
            lambda a: a["hourly"].update(temperature_2m_icon_eu=a["hourly"].pop("temperature_2m")),
            "several models",
        ),
    ],
)
def test_wrong_shapes_are_named(change, says):
    answer = made(4)
    change(answer)
    with pytest.raises(ForecastMalformed, match=says):
        parsed(answer)


@pytest.mark.parametrize("cut", [0, 1, 50, -1])
def test_an_answer_cut_short_is_no_forecast(cut):
    with pytest.raises(ForecastMalformed, match="not whole JSON"):
        P.parse(raw(made(4))[:cut], fetched_at=NOW)


def test_model_run_is_read_and_lateness_told():
    told = {"last_run_availability_time": 1775016000, "update_interval_seconds": 21600}  # 2026-04-01 04:00Z
    run = open_meteo.parse_run(raw(told))
    assert run.available_at == datetime(2026, 4, 1, 4, tzinfo=UTC)
    assert run.late_note(NOW) is None
    assert run.late_note(run.available_at + timedelta(hours=6, minutes=20)) is None
    late = run.late_note(run.available_at + timedelta(hours=9, minutes=20))
    assert late is not None
    assert "3.0 h overdue" in late
    with pytest.raises(ForecastMalformed, match="model run"):
        open_meteo.parse_run(b"{}")


def test_the_names_and_units_we_ask_for_are_pinned():
    from planner.forecast import Request

    request = Request(latitude_deg=52.5, longitude_deg=13.4, elevation_m=38)
    url = P.url(request)
    assert url.startswith(
        "https://api.open-meteo.com/v1/forecast?latitude=52.5000&longitude=13.4000&elevation=38&"
    )
    for part in (
        "wind_speed_unit=ms",
        "timezone=GMT",
        "timeformat=unixtime",
        "past_days=2",
        "forecast_days=8",
    ):
        assert part in url
    assert set(open_meteo.ASKED.split(",")) <= {
        name for names in open_meteo.SPELLINGS.values() for name in names
    }
