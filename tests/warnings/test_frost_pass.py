"""Ground frost through the pass itself: members beside and in place of a plain forecast, and readings of the grass."""

from __future__ import annotations

import json
from datetime import date, timedelta
from typing import Any

import numpy as np
import pytest

from planner.actions import one_pass
from planner.actions.one_pass import assess
from planner.actions.pass_input import GRASS_NIGHTS, Record
from planner.diary.grass_nights import KEEP_NIGHTS, as_json, from_json, kept_nights, told_nights
from planner.diary.observations import Observation
from planner.forecast import Fetched
from planner.reports.assessment import Assessment
from planner.store.store import Store
from planner.warnings.base import Notice
from planner.weather import HourlyWeather
from tests.made import config, forecast, weather
from tests.warnings.test_kinds import BACK, NOW, H, of

HOURS = 24 * 9
START = NOW - BACK * H
#: The coming night, from 20 to 06 h.
NIGHT = range(BACK + 12, BACK + 23)
CLEAR: dict[str, Any] = {
    "cloud_pct": 0.0,
    "wind_10m_ms": 0.5,
    "soil_temp_6cm_c": 9.0,
    "rel_humidity_pct": 85.0,
}


def _members(cold: int, of_all: int = 31) -> HourlyWeather:
    """Clear calm members, so many of them down to half a degree in the coming night, the control mild."""
    air = np.full((of_all, HOURS), 14.0)
    air[of_all - cold :, NIGHT] = 0.5
    return weather(START, HOURS, members=of_all, air_temp_c=air, **CLEAR)


def _control_alone(hours: HourlyWeather, names: tuple[str, ...]) -> HourlyWeather:
    columns = {name: hours[name] for name in hours if name != "dew_point_c"}
    shared = {name: columns[name][:1] for name in names}
    return HourlyWeather.from_columns(epoch_s=hours.epoch_s, columns={**columns, **shared})


@pytest.mark.parametrize(
    "shared", [(), ("cloud_pct", "wind_10m_ms"), ("rel_humidity_pct", "soil_temp_6cm_c")]
)
def test_twenty_of_thirty_one_cold_members_warn_beside_a_mild_forecast_and_without_one(
    shared: tuple[str, ...],
) -> None:
    many = _control_alone(_members(20), shared)
    mild = forecast(weather(START, HOURS, air_temp_c=14.0, cloud_pct=60.0), NOW)
    beside = assess(config(), mild, now=NOW, ensemble=forecast(many, NOW))
    alone = assess(config(), forecast(many, NOW), now=NOW)
    for found in (beside, alone):
        (warned,) = of(found, "frost")
        assert warned.chance is None
        assert warned.share == pytest.approx(20 / 31, abs=0.03)
        assert "in 20 of 31 forecasts" in warned.says
        # The days table tells the same figure.
        tomorrow = next(day for day in found.days["green"] if day.date == date(2026, 4, 9))
        assert tomorrow.frost_risk == pytest.approx(warned.strength, abs=1e-9)
    assert of(assess(config(), mild, now=NOW), "frost") == []


def test_two_of_thirty_one_cold_members_do_not_warn() -> None:
    assert of(assess(config(), forecast(_members(2), NOW), now=NOW), "frost") == []


def test_frost_need_and_warning_tell_one_hour_off_the_frost() -> None:
    air = np.full(HOURS, 14.0)
    air[NIGHT] = 1.0
    found = assess(config(), forecast(weather(START, HOURS, air_temp_c=air, **CLEAR), NOW), now=NOW)
    (warned,) = of(found, "frost")
    sky = found.plan.conditions.sky
    assert warned.ends is not None
    hour = sky.weather.index(warned.ends)
    assert sky["frost_keep_off"][0, hour - 1] == 1.0
    assert sky["frost_keep_off"][0, hour] == 0.0
    tomorrow = next(day for day in found.days["green"] if day.date == date(2026, 4, 9))
    assert tomorrow.off_frost_at == warned.ends
    assert tomorrow.grass_min_c == pytest.approx(warned.figures["grass_min_c"], abs=0.05)
    assert tomorrow.grass_min_c < tomorrow.surface_min_c


def _chance(found: Assessment) -> float:
    return float(found.plan.conditions.sky["frost_chance_ground"][0, BACK + 16])


def _read(lowest_c: float, days_ago: int) -> Observation:
    return Observation(at=NOW - timedelta(days=days_ago, hours=-1), figures={"grass_min_c": lowest_c})


def test_readings_in_the_diary_move_the_chance_of_the_nights_to_come() -> None:
    hours = forecast(weather(START, HOURS, air_temp_c=3.5, cloud_pct=30.0), NOW)
    nights = {NOW.date() - timedelta(days=n): (3.0, 1.5) for n in range(4, 14)}
    told = tuple(_read(0.0, n) for n in range(4, 14))
    plain, read, by_forecast = (
        assess(config(), hours, now=NOW, record=record)
        for record in (
            Record(nights=nights),
            Record(nights=nights, observations=told),
            Record(observations=(_read(-4.0, 1), _read(-4.0, 2))),
        )
    )
    assert _chance(read) > _chance(plain) + 0.15
    # Nights that the forecast itself reaches back to need not have been kept.
    assert _chance(by_forecast) > _chance(plain) + 0.05
    sky, before = read.plan.conditions.sky, plain.plan.conditions.sky
    np.testing.assert_array_equal(sky["surface_temp_c"], before["surface_temp_c"])
    assert (sky["turf_least_c"] <= before["turf_least_c"]).all()


def test_a_reading_still_to_come_and_one_of_a_night_not_kept_teach_nothing() -> None:
    hours = forecast(weather(START, HOURS, air_temp_c=3.5), NOW)
    plain, told = (
        assess(config(), hours, now=NOW, record=Record(observations=observations))
        for observations in ((), (_read(-9.0, -1), _read(-9.0, 40)))
    )
    assert _chance(plain) == _chance(told)


def test_readings_of_a_morning_are_one_night_and_old_nights_are_let_go() -> None:
    zone = config().site.zone
    book = type("Book", (), {"observations": (_read(-2.0, 1), _read(-3.0, 1), _read(1.0, 3))})()
    told = told_nights(book, {}, zone, NOW)
    assert told.read_c == {date(2026, 4, 7): -2.5, date(2026, 4, 5): 1.0}
    today = date(2026, 4, 8)
    old = {today - timedelta(days=KEEP_NIGHTS + 1): (1.0, 1.5), today - timedelta(days=2): (1.0, 1.5)}
    kept = kept_nights(old, {today - timedelta(days=2): (2.0, 1.4)}, today)
    assert kept == {today - timedelta(days=2): (2.0, 1.4)}
    assert from_json(as_json(kept)) == kept


def test_expected_nights_are_kept_from_pass_to_pass(tmp_path, monkeypatch: pytest.MonkeyPatch) -> None:
    def fetched_now(*_: Any, now: Any) -> Fetched:
        hours = weather(now - BACK * H, HOURS, air_temp_c=3.5)
        return Fetched(
            forecast=forecast(hours, now), ensemble=None, answers={}, stale=False, age_h=0.0, faults=()
        )

    monkeypatch.setattr(one_pass, "fetched_now", fetched_now)
    found = config(outputs=())
    opened = Store.open(str(tmp_path / "store.db"))
    store = opened.bound_to(found.site.key, found.site.place)
    one_pass.run(found, store, now=NOW)
    one_pass.run(found, store, now=NOW + 72 * H)
    part = store.part(GRASS_NIGHTS)
    opened.close()
    assert part is not None
    nights = from_json(json.loads(part.body)["nights"])
    mornings = [date(2026, 4, 6) + timedelta(days=n) for n in range(6)]
    assert set(mornings) <= set(nights)
    assert all(-5.0 < lowest < 3.5 for lowest, _ in nights.values())


def _soil(frozen: dict[int, float]) -> Notice:
    """The frost of the coming night, the soil 9 °C where no hour gives another."""
    air, soil = np.full(HOURS, 14.0), np.full(HOURS, 9.0)
    air[NIGHT] = 1.0
    for hour, temp_c in frozen.items():
        soil[hour] = temp_c
    sky = {**CLEAR, "air_temp_c": air, "soil_temp_6cm_c": soil}
    (warned,) = of(assess(config(), forecast(weather(START, HOURS, **sky), NOW), now=NOW), "frost")
    return warned


def test_frozen_soil_keeps_feet_off_after_the_leaf_is_free() -> None:
    free = _soil({})
    assert free.ends is not None
    off = f"{free.ends.astimezone(config().site.zone):%H:%M}"
    assert free.says.endswith(f" Off the frost from {off}.")
    assert free.advice == ("Keep feet, wheels and rollers off until then; do not hose the frost off.",)
    # Frozen until 09:00, so for work until 21:00, after dusk.
    frozen = _soil(dict.fromkeys(range(BACK + 12, BACK + 25), -0.5))
    assert frozen.says.endswith(f" Frost off the leaf {off}; soil frozen: keep off all day.")
    assert frozen.advice[0].startswith("Keep feet, wheels and rollers off until the soil has thawed")
    assert frozen.advice[1] == "No rolling on frozen soil, even at noon."
    # By hand: last frozen in the hour from 01:00 (hour 17 after 08:00), free 12 h after its end.
    brief = _soil(dict.fromkeys(range(BACK + 14, BACK + 18), -0.5))
    assert brief.says.endswith(f" Frost off the leaf {off}; soil frozen: keep off until 14:00.")
    # Frozen in the evening alone, and thawed 12 h before the leaf is free.
    assert _soil({BACK + 10: -0.5}).says == free.says


def test_soil_that_is_not_known_may_be_frozen() -> None:
    air = np.full(HOURS, 14.0)
    air[NIGHT] = 1.0
    gone = np.full(HOURS, np.nan)
    sky = {
        **CLEAR,
        "air_temp_c": np.where(np.arange(HOURS) == BACK + 3, np.nan, air),
        "soil_temp_6cm_c": gone,
    }
    found = assess(config(), forecast(weather(START, HOURS, **sky), NOW), now=NOW)
    (warned,) = of(found, "frost")
    assert "No rolling on frozen soil, even at noon." in warned.advice
