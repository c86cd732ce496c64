"""The ensemble: how many members, which are left out, what they share."""

from __future__ import annotations

import json

import numpy as np
import pytest

from planner.errors import ForecastMalformed
from planner.forecast import open_meteo_ensemble
from planner.forecast.open_meteo_list import HourlyList

from .payloads import ENSEMBLE_NAMES, NOW, ensemble, raw

P = open_meteo_ensemble.PROVIDER


def parsed(answer):
    return P.parse(raw(answer), fetched_at=NOW)


def test_recorded_names_give_control_and_thirty_members():
    # The recording holds one hour of one variable at +02:00: control 18.9, member 01 19, member 30 19.1 C.
    listed = HourlyList.of(json.loads(ENSEMBLE_NAMES.read_text()), who="the recording")
    temps = listed.column("air_temp_c")
    assert sorted(temps) == list(range(31))
    assert [temps[number][0] for number in (0, 1, 30)] == [18.9, 19.0, 19.1]
    assert listed.labels.tolist() == [1783720800]  # 2026-07-10 22:00Z


@pytest.mark.parametrize("members", [1, 3, 31, 51])
def test_members_are_counted_from_the_answer(members):
    weather = parsed(ensemble(members)).weather
    assert weather.members == members
    assert weather["air_temp_c"].shape == (members, 48)
    assert weather["air_temp_c"][:, 0] == pytest.approx([10 + 0.1 * number for number in range(members)])
    # Labelled at the end of the hour: the last row of every member has no sum.
    assert np.isnan(weather["rain_mm"][:, -1]).all()
    assert "rain_chance_pct" not in weather


@pytest.mark.parametrize(
    ("changed", "says"),
    [
        ({"temperature_2m_member02": [12.3] * 48}, "member 2 is left out: it stands still at 12.3 °C"),
        ({"temperature_2m_member02": [None] * 48}, "member 2 is left out: it has no value of air_temp_c"),
        ({"precipitation_member02": [None] * 48}, "member 2 is left out: it has no value of rain_mm"),
        ({"temperature_2m": [1.0 * h for h in range(12)] + [None] * 36}, "left out: it ends 36 h before"),
    ],
)
def test_a_member_that_cannot_be_believed_is_left_out_by_name(changed, says):
    forecast = parsed(ensemble(5, **changed))
    assert forecast.weather.members == 4
    assert any(says in note for note in forecast.notes)


def test_a_member_without_one_of_the_lists_is_left_out():
    answer = ensemble(4)
    del answer["hourly"]["wind_speed_10m_member03"]
    forecast = parsed(answer)
    assert forecast.weather.members == 3
    assert any("lacks wind_10m_ms" in note for note in forecast.notes)


def test_what_only_the_control_gives_is_shared():
    answer = ensemble(4)
    for number in (1, 2, 3):
        del answer["hourly"][f"relative_humidity_2m_member{number:02d}"]
    forecast = parsed(answer)
    assert forecast.weather.members == 4
    assert forecast.weather["air_temp_c"].shape == (4, 48)
    assert any("shared by all members" in note for note in forecast.notes)


def test_when_no_member_is_left_there_is_no_ensemble():
    with pytest.raises(ForecastMalformed, match="No member"):
        parsed(ensemble(1, temperature_2m=[12.3] * 48))


def test_three_hourly_steps_are_found_across_members():
    rain = [amount for amount in (0.0, 0.4, 0.2, 0.0, 0.9, 0.1, 0.3, 0.0) for _ in range(3)]
    # The label stands at the hour's end, so the list is one hour later than its blocks.
    listed = [0.0, *rain]
    names = ("precipitation", "precipitation_member01", "precipitation_member02")
    forecast = parsed(ensemble(3, hours=25, **dict.fromkeys(names, listed)))
    assert set(forecast.weather.step_h[3:]) == {3.0}
    assert set(forecast.weather.step_h[:3]) == {1.0}
