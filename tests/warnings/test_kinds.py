"""Each kind of warning read from weather and diary, through the pass itself."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace
from datetime import UTC, datetime, timedelta
from typing import Any

import numpy as np
import pytest

from planner.actions.one_pass import assess
from planner.actions.pass_input import Record
from planner.config.load import Config
from planner.diary.due import Wanted
from planner.diary.entry import Entry, StoredEntry
from planner.reports.assessment import Assessment
from planner.site import Sowing
from planner.warnings.base import Notice
from planner.warnings.life import body
from planner.weather import HourlyWeather
from tests.made import config, forecast, weather

#: Eight in the morning at Thistlewick Vale, a Wednesday.
NOW = datetime(2026, 4, 8, 7, tzinfo=UTC)
H = timedelta(hours=1)
BACK = 72


def under(
    sky: Mapping[str, Any],
    config_: Config,
    *,
    at: datetime = NOW,
    record: Record | None = None,
    hours: int = 24 * 9,
    ensemble: Mapping[str, Any] | None = None,
) -> Assessment:
    """A pass at `at` under weather that begins three days before NOW; `sky` lays columns by hours from NOW."""
    start = NOW - BACK * H
    laid = {
        name: {hour + BACK: value for hour, value in column.items()} if isinstance(column, dict) else column
        for name, column in sky.items()
    }
    members = None
    if ensemble is not None:
        members = forecast(weather(start, hours, **ensemble), NOW)
    return assess(
        config_, forecast(weather(start, hours, **laid), at), now=at, record=record, ensemble=members
    )


def sown(days: float = 4.0, **changes: Any) -> Config:
    ground = config()
    surface = ground.site.surface("apron strip")
    sowing = Sowing(surface=surface.name, at=NOW - timedelta(days=days), grass=surface.grass, **changes)
    return replace(ground, sowings=(sowing,))


def of(found: Assessment, kind: str) -> list[Notice]:
    return [one for one in found.notices if one.kind == kind]


def entry(
    job: str = "foliar_feed", surface: str = "green", ended_h: float = -1.0, **document: Any
) -> StoredEntry:
    finished = NOW + ended_h * H
    return StoredEntry(
        uuid="0" * 8,
        revision=1,
        entry=Entry(
            job=job,
            kind="spraying",
            surface=surface,
            started_at=finished - H,
            finished_at=finished,
            document=document,
        ),
        written_at=finished,
        withdrawn=False,
        reason="",
    )


def test_s2_a_storm_on_bare_seed_is_told_fourteen_hours_ahead():
    # Scenario S2: bare 7 % bank sown four days ago, 10 and 8 mm from 22 h on.
    found = under({"rain_mm": {14: 10.0, 15: 8.0}}, sown())
    (warned,) = of(found, "wash")
    assert warned.surface == "apron strip"
    assert (warned.begins - NOW) / H == 14
    # By hand: hard rain on dry loam, of which a burst or a half hour runs off and an even hour does not.
    assert warned.strength == pytest.approx(0.48, abs=0.05)
    assert warned.level == "care"
    assert "net, straw or fleece" in warned.advice[0]
    assert "tackifier" in warned.advice[1]


def test_s2_under_cover_it_is_no_news():
    assert of(under({"rain_mm": {14: 10.0, 15: 8.0}}, sown(cover_pct=80.0)), "wash") == []


def test_half_a_cover_is_to_be_checked_before_a_storm_that_takes_bare_seed_whichever_way_it_falls():
    storm = {"rain_mm": {14: 15.0, 15: 30.0}}
    chances = []
    for cover in (0.0, 30.0, 50.0, 80.0):
        found = of(under(storm, sown(cover_pct=cover)), "wash")
        chances.append(found[0].strength if found else 0.0)
        assert bool(found) is (cover < 80.0)
        if cover == 50.0:
            assert found[0].advice[0].startswith("Check that the cover is pegged down before")
    assert chances == sorted(chances, reverse=True)
    # Half a cover leaves 0.17 of the seed open.
    assert chances[2] == pytest.approx(0.17 * chances[0], abs=0.01)


def test_a_cover_noted_in_the_diary_stands_the_warning_down():
    storm = {"rain_mm": {14: 10.0, 15: 8.0}}
    first = under(storm, sown())
    net = entry(job="lay_net", surface="apron strip", cover_pct=80)
    later = under(storm, sown(), at=NOW + H, record=Record(standing=first.life.states, entries=(net,)))
    assert of(later, "wash") == []
    assert [news.state for news in later.life.news if news.notice.kind == "wash"] == ["over"]


def test_s29_the_revised_forecast_withdraws_the_warning_in_words():
    # Scenario S29: a chance of 0.5, six hours later none; raised again only above threshold and margin.
    ground = sown()
    first = under({"rain_mm": {20: 10.0, 21: 8.0}}, ground)
    assert of(first, "wash")[0].strength == pytest.approx(0.48, abs=0.05)
    standing = {one.id: one for one in first.life.states}
    second = under(
        {"rain_mm": {20: 3.5, 21: 3.4}}, ground, at=NOW + 6 * H, record=Record(standing=first.life.states)
    )
    assert np.nanmax(second.plan.conditions.surfaces["apron strip"]["wash_chance"]) == 0.0
    assert of(second, "wash") == []
    (told,) = [news for news in second.life.news if news.notice.kind == "wash"]
    assert body(told).startswith("Over: that rain is no longer expected to move seed. It had said: Rain")
    standing |= {one.id: one for one in second.life.states}
    assert standing[told.id].state == "over"
    third = under(
        {"rain_mm": {20: 10.0, 21: 2.0}},
        ground,
        at=NOW + 7 * H,
        record=Record(standing=tuple(standing.values())),
    )
    strength = float(np.nanmax(third.plan.conditions.surfaces["apron strip"]["wash_chance"]))
    assert 0.15 <= strength < 0.25
    assert of(third, "wash") == []
    fourth = under(
        {"rain_mm": {20: 10.0, 21: 8.0}},
        ground,
        at=NOW + 8 * H,
        record=Record(standing=tuple(standing.values())),
    )
    assert of(fourth, "wash")[0].id == told.id


def test_s17_rain_that_is_not_known_any_more_keeps_the_warning():
    first = under({"rain_mm": {30: 10.0, 31: 8.0}}, sown())
    unknown = {"rain_mm": dict.fromkeys(range(24, 100), np.nan)}
    later = under(unknown, sown(), at=NOW + H, record=Record(standing=first.life.states))
    assert [one.strength for one in of(later, "wash")] == [one.strength for one in of(first, "wash")]
    assert [news for news in later.life.news if news.notice.kind == "wash"] == []


def test_a_dry_forecast_silences_no_storm_of_the_members():
    # 40 mm in two hours in 20 of 31 members, with the control dry and without a plain forecast beside them.
    rain = np.zeros((31, 24 * 9))
    rain[11:, BACK + 14 : BACK + 16] = 20.0
    ensemble = {"rain_mm": rain, "members": 31}
    beside = under({}, sown(), ensemble=ensemble)
    alone = under(ensemble, sown())
    for found in (beside, alone):
        (warned,) = of(found, "wash")
        assert warned.surface == "apron strip"
        assert warned.share == pytest.approx(20 / 31)
        assert warned.level in ("care", "act")
        assert (warned.begins - NOW) / H == 14


def test_members_that_share_all_but_the_rain_wash_as_well():
    rain = np.zeros((5, 24 * 9))
    rain[:4, BACK + 14 : BACK + 16] = 20.0
    hours = weather(NOW - BACK * H, 24 * 9, rain_mm=rain, members=5)
    columns = {name: hours[name] if name == "rain_mm" else hours[name][:1] for name in hours}
    shared = HourlyWeather(first_hour=hours.first_hour, hours=hours.hours, columns=columns)
    found = assess(sown(), forecast(shared, NOW), now=NOW)
    assert of(found, "wash")[0].share == 0.8


def test_the_chance_is_the_share_of_members():
    start = np.zeros((4, 24 * 9))
    start[:3, BACK + 14], start[:3, BACK + 15] = 12.0, 9.0
    found = under({"rain_mm": {14: 10.0, 15: 8.0}}, sown(), ensemble={"rain_mm": start, "members": 4})
    assert of(found, "wash")[0].share == 0.75


FOLIAR = {"materials": [{"name": "foliar 10-0-4", "amount": 0.85, "unit": "L"}]}


def test_rain_to_come_inside_the_rainfast_hours():
    found = under({"rain_mm": {2: 1.5}}, config(), record=Record(entries=(entry(**FOLIAR),)))
    (warned,) = of(found, "rainfast")
    assert (warned.surface, warned.job) == ("green", "foliar_feed")
    assert warned.begins == NOW + 2 * H
    assert "it needs 4 dry hours" in warned.says
    assert "label says whether and when to repeat" in warned.advice[0]


def test_rain_that_most_members_bring_is_told_though_the_forecast_is_dry():
    # 20 of 31 members rain on the spray; the forecast beside them, or the control among them, is dry.
    wet = np.zeros((31, 24 * 9))
    wet[11:, BACK + 1], wet[11:, BACK + 2] = 1.0, 2.0
    record = Record(entries=(entry(**FOLIAR),))
    beside = under({}, config(), record=record, ensemble={"rain_mm": wet, "members": 31})
    alone = under({"rain_mm": wet, "members": 31}, config(), record=record)
    for found in (beside, alone):
        (warned,) = of(found, "rainfast")
        assert warned.share == pytest.approx(20 / 31)
        assert warned.begins == NOW + H
    assert of(beside, "rainfast")[0].says.startswith("Rain from Wed 8 Apr 09:00 in 65% of the forecasts")
    few = wet * (np.arange(31) < 15)[:, None]
    assert of(under({}, config(), record=record, ensemble={"rain_mm": few, "members": 31}), "rainfast") == []


def test_an_ensemble_whose_control_alone_carries_wind_and_cloud_is_read():
    lone = {name: np.full((1, 24 * 9), value) for name, value in (("wind_10m_ms", 2.5), ("cloud_pct", 0.0))}
    start = NOW - BACK * H
    many = weather(start, 24 * 9, members=5, air_temp_c=np.linspace(8.0, 12.0, 5)[:, None])
    columns = {name: many[name] for name in many if name != "dew_point_c"} | lone
    ensemble = forecast(HourlyWeather.from_columns(epoch_s=many.epoch_s, columns=columns), NOW)
    found = assess(config(), forecast(weather(start, 24 * 9), NOW), now=NOW, ensemble=ensemble)
    assert found.plan.ranked


def test_rain_that_fell_inside_the_rainfast_hours():
    found = under({"rain_mm": {-3: 2.0}}, config(), record=Record(entries=(entry(ended_h=-5, **FOLIAR),)))
    (warned,) = of(found, "rainfast")
    assert warned.says.startswith("Washed off: likely. Foliar 10-0-4 put on the green")
    assert "met 2.0 mm of rain 2 h later" in warned.says


@pytest.mark.parametrize("rain_h", [3, 12])
def test_rain_after_the_rainfast_hours_is_no_news(rain_h):
    # Finished an hour ago, four dry hours wanted: they end at NOW + 3 h.
    assert (
        of(under({"rain_mm": {rain_h: 5.0}}, config(), record=Record(entries=(entry(**FOLIAR),))), "rainfast")
        == []
    )


def test_an_unknown_hour_of_rain_is_not_taken_for_dry():
    found = under({"rain_mm": {1: np.nan}}, config(), record=Record(entries=(entry(**FOLIAR),)))
    assert of(found, "rainfast") == []
    assert found.consequences.sprays[0].rain_mm is None


DRY = {"shortwave_wm2": 600.0, "rel_humidity_pct": 35.0, "wind_10m_ms": 5.0, "air_temp_c": 24.0}


def test_drying_days_after_sowing():
    (warned,) = of(under(DRY, sown()), "seed_stress")
    assert warned.surface == "apron strip"
    assert warned.level == "care"
    assert "Water lightly two or three times a day" in warned.advice[0]
    assert warned.ends is not None
    assert warned.ends > NOW + 48 * H


def test_dry_days_without_seed_are_no_news():
    assert of(under(DRY, config()), "seed_stress") == []


def test_days_with_rain_water_the_seed_themselves():
    wet = {**DRY, "rain_mm": dict.fromkeys(range(-60, 100, 12), 4.0)}
    assert of(under(wet, sown()), "seed_stress") == []


def test_a_run_of_dry_days_is_told_once_over_a_week():
    states: dict[str, Any] = {}
    told = []
    for hour in range(0, 24 * 4, 6):
        found = under(DRY, sown(), at=NOW + hour * H, record=Record(standing=tuple(states.values())))
        states |= {one.id: one for one in found.life.states}
        told += [news.state for news in found.life.news if news.notice.kind == "seed_stress"]
    assert told == ["raised"]


def wanting(every_days: float = 5.0) -> Config:
    wish = Wanted(job="foliar_feed", label="foliar feed", surface="green", every_days=every_days)
    return config(wanted=(wish,))


def test_the_last_window_before_a_closed_spell_for_work_that_is_due():
    # Calm and mild for six hours, then a gale for the rest of the forecast.
    gale = {"wind_10m_ms": dict.fromkeys(range(8, 144), 14.0)}
    late = entry(ended_h=-24 * 6, **FOLIAR)
    found = under(gale, wanting(), record=Record(entries=(late,)))
    (warned,) = of(found, "last_window")
    assert (warned.surface, warned.job) == ("green", "foliar_feed")
    assert "Foliar feed on the green, last window for a while" in warned.says
    assert warned.ends is not None
    assert warned.ends < NOW + 8 * H


def test_work_that_is_not_due_has_no_last_window():
    gale = {"wind_10m_ms": dict.fromkeys(range(8, 144), 14.0)}
    early = entry(ended_h=-20, **FOLIAR)
    assert of(under(gale, wanting(10), record=Record(entries=(early,))), "last_window") == []


def test_work_overdue_stands_until_the_diary_says_that_it_is_done():
    late = entry(ended_h=-24 * 6.5, **FOLIAR)
    first = under({}, wanting(), record=Record(entries=(late,)))
    (warned,) = of(first, "overdue")
    assert warned.level == "note"
    assert "was due" in warned.says
    states = {one.id: one for one in first.life.states}
    second = under(
        {}, wanting(), at=NOW + 48 * H, record=Record(entries=(late,), standing=tuple(states.values()))
    )
    assert of(second, "overdue")[0].level == "care"
    states |= {one.id: one for one in second.life.states}
    done = replace(entry(ended_h=48, **FOLIAR), uuid="1" * 8)
    third = under(
        {}, wanting(), at=NOW + 49 * H, record=Record(entries=(late, done), standing=tuple(states.values()))
    )
    assert of(third, "overdue") == []
    told = [body(news) for news in third.life.news if news.notice.kind == "overdue"]
    assert told[0].startswith("Over: it is done, or no longer wanted.")


def test_a_stale_forecast_is_told_and_stood_down():
    old = forecast(weather(NOW - BACK * H, 24 * 9), NOW - 7 * H)
    first = assess(config(), old, now=NOW, stale=True)
    (warned,) = of(first, "stale")
    assert warned.level == "note"
    second = under({}, config(), at=NOW + H, record=Record(standing=first.life.states))
    assert of(second, "stale") == []
    assert "a new forecast has come" in body(second.life.news[-1])


def test_one_failed_pull_is_not_yet_a_stale_forecast():
    assert of(assess(config(), forecast(weather(NOW, 96), NOW - H), now=NOW, stale=True), "stale") == []


def test_seed_to_be_sown_next_week_does_not_hide_the_seed_that_lies():
    ground = sown()
    planned = replace(ground.sowings[0], at=NOW + timedelta(days=6))
    found = under({"rain_mm": {14: 10.0, 15: 8.0}}, replace(ground, sowings=(*ground.sowings, planned)))
    (warned,) = of(found, "wash")
    assert warned.figures["days_since_sowing"] == 4.0


def test_rain_that_is_mostly_still_to_come_is_not_told_as_fallen():
    found = under({"rain_mm": {-1: 0.1, 1: 3.0}}, config(), record=Record(entries=(entry(**FOLIAR),)))
    (warned,) = of(found, "rainfast")
    assert warned.says.startswith("Rain from Wed 8 Apr 07:00 on foliar 10-0-4")


def test_in_the_rain_nobody_is_told_to_lay_a_net_before_it():
    found = under({"rain_mm": {-1: 6.0, 0: 8.0, 1: 6.0}}, sown())
    (warned,) = of(found, "wash")
    assert "as soon as the rain pauses" in warned.advice[0]
    assert not any("tackifier" in advice for advice in warned.advice)
