"""MET Norway: the recorded answer, and the join of hourly and six-hourly blocks."""

from __future__ import annotations

import json
from datetime import UTC, datetime, timedelta

import numpy as np
import pytest

from planner.errors import ForecastMalformed, ForecastUnavailable, UnitMismatch
from planner.forecast import Request, met_norway
from planner.forecast.recorded import read_file

from .conftest import reply
from .payloads import NEW_YORK, NOW, raw
from .payloads import met_norway as made

P = met_norway.PROVIDER
START = datetime(2026, 4, 1, 6, tzinfo=UTC)
SITE = Request(latitude_deg=47.26789, longitude_deg=-11.39999, elevation_m=573.6, contact="me@green.example")


def parsed(answer):
    return P.parse(raw(answer), fetched_at=NOW)


def test_recorded_answer_is_read_hour_by_hour():
    forecast = read_file(NEW_YORK, fetched_at=NOW)
    weather = forecast.weather
    assert weather.start == datetime(2020, 7, 20, 11, tzinfo=UTC)
    assert weather.end == datetime(2020, 7, 29, 7, tzinfo=UTC)
    assert forecast.issued_at == datetime(2020, 7, 20, 1, 30, 57, tzinfo=UTC)
    assert weather["wind_10m_ms"][0, :2].tolist() == [3.8, 4.0]
    # Hourly to 2020-07-22 17:00, then blocks of six hours.
    switch = weather.index(datetime(2020, 7, 22, 18, tzinfo=UTC))
    assert weather.step_h[switch - 1 : switch + 1].tolist() == [1, 6]
    assert "gust_10m_ms" not in weather
    assert "shortwave_wm2" not in weather
    assert "rain_chance_pct" not in weather


def test_no_rain_is_lost_or_doubled_in_the_recorded_answer():
    series = json.loads(NEW_YORK.read_text())["data"]["properties"]["timeseries"]
    told = 0.0
    for entry in series:
        block = entry["data"].get("next_1_hours") or entry["data"].get("next_6_hours")
        told += block["details"]["precipitation_amount"] if block else 0.0
    rain = read_file(NEW_YORK, fetched_at=NOW).weather["rain_mm"]
    assert told == pytest.approx(9.2)
    assert np.nansum(rain) == pytest.approx(told)
    # Only the last entry tells nothing of the hours that follow it.
    assert np.flatnonzero(np.isnan(rain[0])).tolist() == [rain.size - 1]


def test_join_of_hours_and_blocks_keeps_the_sum():
    hourly = [0.0, 1.3, 4.0, 2.0, 6.0, 0.0, *[0.0] * 6]
    blocks = [12.0, 0.0, 19.8]
    weather = parsed(made(hourly, blocks, start=START)).weather
    assert weather.hours == 12 + 18 + 1
    assert np.nansum(weather["rain_mm"]) == pytest.approx(13.3 + 31.8)
    assert weather["rain_mm"][0, 12:18] == pytest.approx([2.0] * 6)
    assert weather.step_h.tolist() == [1] * 12 + [6] * 18 + [1]


def test_overlapping_six_hour_totals_of_the_hourly_part_are_not_added():
    answer = made([1.0] * 6, [3.0], start=START)
    for entry in answer["properties"]["timeseries"][:6]:
        entry["data"]["next_6_hours"] = {"details": {"precipitation_amount": 6.0}}
    assert np.nansum(parsed(answer).weather["rain_mm"]) == pytest.approx(9.0)


def test_block_that_runs_into_the_next_gives_way():
    answer = made([], [6.0, 6.0], start=START)
    third = answer["properties"]["timeseries"][1]
    third["time"] = f"{START + timedelta(hours=3):%Y-%m-%dT%H:%M:%SZ}"
    answer["properties"]["timeseries"][2]["time"] = f"{START + timedelta(hours=9):%Y-%m-%dT%H:%M:%SZ}"
    rain = parsed(answer).weather["rain_mm"][0]
    assert rain[:9] == pytest.approx([1.0] * 9)


def test_readings_between_entries_run_straight_and_directions_the_short_way():
    weather = parsed(made([], [0.0, 0.0], start=START)).weather
    assert weather["air_temp_c"][0, :7] == pytest.approx([10 + hour / 6 for hour in range(7)])
    # 10 to 350 degrees through north, not through south.
    assert np.cos(np.radians(weather["wind_dir_deg"][0, 3])) == pytest.approx(1.0)
    assert weather["wind_dir_deg"][0, [0, 6]] == pytest.approx([10.0, 350.0])


def test_gust_is_held_and_a_gap_is_unknown():
    answer = made([], [0.0, 0.0], start=START, wind_speed_of_gust=9.0)
    answer["properties"]["timeseries"][1]["data"]["instant"]["details"]["wind_speed_of_gust"] = 15.0
    answer["properties"]["timeseries"][2]["time"] = f"{START + timedelta(hours=20):%Y-%m-%dT%H:%M:%SZ}"
    weather = parsed(answer).weather
    assert weather["gust_10m_ms"][0, :7].tolist() == [9.0] * 6 + [15.0]
    assert np.isnan(weather["air_temp_c"][0, 7:20]).all()
    assert weather["air_temp_c"][0, 20] == 12.0


def test_sea_level_pressure_is_brought_to_the_site():
    # 574 m at 10 C, by hand: 1013.25 * (1 - 3.731 / 286.881)^5.2559 = 945.9 hPa.
    forecast = parsed(made([0.0] * 3, [], start=START))
    assert forecast.weather["pressure_hpa"][0, 0] == pytest.approx(945.9, abs=0.1)
    answer = made([0.0] * 3, [], start=START)
    answer["geometry"]["coordinates"] = [11.39, 47.27]
    assert "pressure_hpa" not in parsed(answer).weather


def test_a_reading_that_some_entries_lack_is_unknown_there():
    answer = made([0.0] * 4, [], start=START, wind_speed_of_gust=9.0)
    del answer["properties"]["timeseries"][2]["data"]["instant"]["details"]["wind_speed_of_gust"]
    gust = parsed(answer).weather["gust_10m_ms"][0]
    assert np.isnan(gust).tolist() == [False, False, True, False, False]


def test_a_reading_that_cannot_be_is_not_drawn_into_the_hours_around_it():
    answer = made([], [0.0, 0.0, 0.0], start=START)
    answer["properties"]["timeseries"][1]["data"]["instant"]["details"]["air_temperature"] = -3276.8
    forecast = parsed(answer)
    assert np.isnan(forecast.weather["air_temp_c"][0]).tolist() == [False] + [True] * 11 + [False] * 7
    assert any("-3276.8 C" in note for note in forecast.notes)


def test_empty_details_are_unknown_not_dry():
    answer = made([1.0, 2.0], [], start=START)
    answer["properties"]["timeseries"][1]["data"]["next_1_hours"]["details"] = {}
    assert np.isnan(parsed(answer).weather["rain_mm"][0, 1])


@pytest.mark.parametrize(
    ("change", "says"),
    [
        (lambda p: p.update(timeseries=[]), "no timeseries"),
        (lambda p: p["timeseries"][0].update(time="2026-04-01T06:30:00Z"), "full hour"),
        (lambda p: p["timeseries"][0].update(time="soon"), "'soon'"),
        (lambda p: p["timeseries"][0].update(time="2026-04-01T06:00:00"), "no zone"),
        (lambda p: p["timeseries"].reverse(), "not after"),
        (lambda p: p["timeseries"][1].pop("data"), '"data"'),
        (lambda p: p["timeseries"].insert(0, None), "not an object"),
        (lambda p: p["meta"].pop("units"), '"units"'),
        (lambda p: p["meta"].update(updated_at=None), "updated_at"),
        (lambda p: p["timeseries"][0]["data"]["instant"]["details"].update(wind_speed="brisk"), "'brisk'"),
    ],
)
def test_wrong_shapes_are_named(change, says):
    answer = made([0.0] * 3, [], start=START)
    change(answer["properties"])
    with pytest.raises(ForecastMalformed, match=says):
        parsed(answer)


def test_unknown_unit_is_refused():
    answer = made([0.0] * 3, [], start=START)
    answer["properties"]["meta"]["units"]["wind_speed"] = "Bft"
    with pytest.raises(UnitMismatch, match="wind_speed"):
        parsed(answer)
    del answer["properties"]["meta"]["units"]["wind_speed"]
    with pytest.raises(UnitMismatch, match="no unit"):
        parsed(answer)


def test_position_is_cut_to_four_decimals_and_height_is_whole():
    assert "lat=47.2678&lon=-11.3999&altitude=574" in P.url(SITE)
    assert met_norway.four_decimals(59.9127) == "59.9127"
    assert met_norway.four_decimals(0.29) == "0.2900"


@pytest.mark.parametrize("contact", ["", "greenkeeper"])
def test_it_is_not_asked_without_a_contact(service, contact):
    service.says(reply())
    from dataclasses import replace

    with pytest.raises(ForecastUnavailable, match="contact"):
        replace(P, base_url=service.url).fetch(
            replace(SITE, contact=contact), last=None, now=NOW, budget_s=60
        )
    assert service.asked == []


def test_it_is_not_asked_again_before_its_answer_expires(service):
    from dataclasses import replace

    here = replace(P, base_url=service.url)
    stamp = "Wed, 01 Apr 2026 06:00:07 GMT"
    body = raw(made([0.0] * 30, [], start=START))
    service.says(reply(body, Expires="Wed, 01 Apr 2026 06:52:00 GMT", Last_Modified=stamp))
    first = here.fetch(SITE, last=None, now=NOW, budget_s=60)
    assert here.fetch(SITE, last=first, now=NOW + timedelta(minutes=31), budget_s=60) is first
    assert len(service.asked) == 1
    service.says(reply(b"", 304))
    second = here.fetch(SITE, last=first, now=NOW + timedelta(minutes=33), budget_s=60)
    assert service.asked[1][1]["if-modified-since"] == stamp
    assert second.raw == body
    assert second.fetched_at == NOW + timedelta(minutes=33)
    moved = replace(SITE, latitude_deg=50.0)
    service.says(reply(body))
    here.fetch(moved, last=second, now=NOW, budget_s=60)
    assert "if-modified-since" not in service.asked[2][1]
