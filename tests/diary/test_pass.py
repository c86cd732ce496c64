"""The pass with diary, warnings and outputs: kept together, sent once, carried on."""

from __future__ import annotations

import json
import logging
from collections.abc import Iterator
from dataclasses import replace
from datetime import UTC, datetime, timedelta
from pathlib import Path
from typing import Any

import pytest

from planner.actions import messages, one_pass, record_work
from planner.actions.pass_input import PAST_DAYS, past_days
from planner.actions.stored import REPORT
from planner.config.kit_schema import LogPart, MorningPart, QuietPart, WebhookPart
from planner.config.load import Config
from planner.forecast import Fetched, RawForecast
from planner.outputs.entities import entities_of
from planner.outputs.hub import flat
from planner.reports.now import now as flat_now
from planner.site import Sowing
from planner.store.store import Store
from tests.cli.test_diary import payload
from tests.made import config, forecast, weather

NOW = datetime(2026, 4, 8, 7, tzinfo=UTC)
H = timedelta(hours=1)
STORM = {72 + 14: 18.0, 72 + 15: 8.0}


@pytest.fixture
def store(tmp_path: Path) -> Iterator[Store]:
    opened = Store.open(str(tmp_path / "store.db"))
    yield opened
    opened.close()


def ground(**changes: Any) -> Config:
    found = config(quiet_hours=None)
    surface = found.site.surface("apron strip")
    sowing = Sowing(surface=surface.name, at=NOW - 96 * H, grass=surface.grass)
    return replace(found, sowings=(sowing,), wanted=(), **changes)


@pytest.fixture
def sky(monkeypatch: pytest.MonkeyPatch) -> dict[str, Any]:
    """What is fetched: change `rain` between passes."""
    sent: dict[str, Any] = {"rain": STORM}

    def fetched_now(*_: Any, now: datetime) -> Fetched:
        hours = weather(NOW - 72 * H, 24 * 9, rain_mm=dict(sent["rain"]))
        return Fetched(
            forecast=forecast(hours, now), ensemble=None, answers={}, stale=False, age_h=0.0, faults=()
        )

    monkeypatch.setattr(one_pass, "fetched_now", fetched_now)
    return sent


def states(store: Store) -> dict[tuple[str, str], int]:
    return {(one.output, one.state): one.messages for one in store.outbox_counts()}


def test_a_warning_is_sent_once_and_ended_in_words(store, sky, caplog):
    caplog.set_level(logging.WARNING, "haysel.warnings")
    found = ground(outputs=(LogPart(),))
    for hour in range(4):
        one_pass.run(found, store, now=NOW + hour * H)
    sky["rain"] = {}
    one_pass.run(found, store, now=NOW + 4 * H)
    lines = [record.getMessage() for record in caplog.records if "wash" in record.getMessage()]
    assert len(lines) == 2
    assert lines[0].startswith("[act] Act: seed wash, apron strip: Rain from Wed 8 Apr 22:00")
    assert "Over: that rain is no longer expected to move seed" in lines[1]
    assert [one.state for one in store.warnings() if one.kind == "wash"] == ["over"]


def test_a_failing_output_stops_neither_the_others_nor_the_pass(store, sky, caplog, monkeypatch):
    caplog.set_level(logging.WARNING, "haysel.warnings")
    outputs = (
        WebhookPart(kind="webhook", name="broken", url="http://127.0.0.1:9/"),
        WebhookPart(kind="webhook", name="secret", url_env="HAYSEL_TEST_NOWHERE"),
        LogPart(),
    )
    monkeypatch.delenv("HAYSEL_TEST_NOWHERE", raising=False)
    passed = one_pass.run(ground(outputs=outputs), store, now=NOW)
    assert store.part(REPORT) is not None
    assert any("HAYSEL_TEST_NOWHERE is not set" in fault for fault in passed.faults)
    assert any("seed wash" in record.getMessage() for record in caplog.records)
    counts = states(store)
    assert counts["broken", "due"] > 0
    assert counts["secret", "due"] > 0
    # Tried again later, and after a restart, since it waits in the store.
    monkeypatch.setenv("HAYSEL_TEST_NOWHERE", "http://127.0.0.1:9/")
    delivery, faults = messages.send_due(ground(outputs=outputs), store, NOW + H)
    assert faults == []
    assert delivery.failed == 2


def test_quiet_hours_hold_what_can_wait(store, sky):
    quiet = QuietPart(begins="00:00", ends="23:59")
    sky["rain"] = {72 + 14: 10.0, 72 + 15: 5.0}
    one_pass.run(
        ground(
            outputs=(LogPart(),),
        ),
        store,
        now=NOW - 100 * H,
        sends=False,
    )
    one_pass.run(replace(ground(outputs=(LogPart(),)), quiet_hours=quiet), store, now=NOW)
    levels = {one.kind: one.level for one in store.warnings() if one.state != "over"}
    assert levels["wash"] in ("note", "care")
    assert states(store).get(("log", "sent"), 0) == 0
    sky["rain"] = STORM
    one_pass.run(replace(ground(outputs=(LogPart(),)), quiet_hours=quiet), store, now=NOW + H)
    assert states(store)["log", "sent"] == 1


def test_days_are_carried_from_pass_to_pass(store, sky):
    found = ground(outputs=())
    store = store.bound_to(found.site.key, found.site.place)
    one_pass.run(found, store, now=NOW)
    first = store.part(PAST_DAYS)
    assert first is not None
    assert {"2026-04-06", "2026-04-07"} <= set(json.loads(first.body)["days"])
    one_pass.run(found, store, now=NOW + 48 * H)
    second = store.part(PAST_DAYS)
    assert second is not None
    assert set(json.loads(first.body)["days"]) < set(json.loads(second.body)["days"])
    moved = replace(found, site=replace(found.site, latitude_deg=40.0))
    assert past_days(store.bound_to(found.site.key, found.site.place), found, NOW) != {}
    assert past_days(store.bound_to(moved.site.key, moved.site.place), moved, NOW) == {}


def test_days_are_recovered_from_kept_forecasts_when_no_pass_carries_them(store):
    for days_ago in (20, 18, 16, 1):
        at = NOW - timedelta(days=days_ago)
        store.keep_forecast(
            "open-meteo", RawForecast(raw=payload(at.replace(hour=0) - 72 * H, 168), url="", fetched_at=at)
        )
    days = past_days(store, ground(), NOW)
    assert {f"2026-03-{day}" for day in range(18, 24)} <= {day.isoformat() for day in days}
    assert all(day.air_c == pytest.approx(12.0) for day in days.values())


def test_an_entry_changes_the_pass_without_asking_anybody(store):
    found = ground(outputs=())
    store.keep_forecast(
        "open-meteo", RawForecast(raw=payload(NOW.replace(hour=0) - 72 * H, 216), url="", fetched_at=NOW)
    )
    record_work.add({"job": "mow_green", "surface": "green", "finished": "07:55"}, found, store, NOW)
    passed = one_pass.again(found, store, now=NOW)
    assert passed is not None
    leaf = next(row.leaf for row in passed.report.surfaces if row.surface == "green")
    assert leaf is not None
    assert leaf.height_ratio == pytest.approx(1.0, abs=0.02)
    feed = passed.workings.of("foliar_feed", "green")
    assert feed is not None
    needs = {
        facts.id: columns for facts, columns in zip(passed.workings.needs_of(feed), feed.needs, strict=True)
    }
    hour = int((NOW - passed.workings.first) / H)
    # Cut at 06:55 UTC; an hour after the pass that is 1 h 5 min ago.
    since_cut = passed.workings.figure(needs["since_cut"].low, hour + 1)
    assert since_cut == pytest.approx(1 + 5 / 60)


def test_without_a_kept_forecast_there_is_no_pass_again(store):
    assert one_pass.again(ground(outputs=()), store, now=NOW) is None


def test_the_home_device_reads_keys_that_the_flat_answer_has(store, sky):
    passed = one_pass.run(ground(outputs=()), store, now=NOW)
    now = flat_now(passed.report)
    assert {entity.key for entity in entities_of(passed.report, with_buttons=False)} <= set(now)
    assert flat(now)["rain_wash"] is True
    assert isinstance(now["warnings_count"], int)


def test_the_morning_goes_out_once_with_the_passes_of_its_hour(store, sky, caplog):
    caplog.set_level(logging.WARNING, "haysel.warnings")
    # 08:00 in London; a pass every half hour, and one in the evening.
    found = ground(outputs=(LogPart(),), morning=MorningPart(at="08:00"))
    for after_h in (-0.5, 0.0, 0.5, 1.0, 11.0):
        one_pass.run(found, store, now=NOW + after_h * H)
    lines = [record.getMessage() for record in caplog.records if "Wed 8 Apr" in record.getMessage()]
    mornings = [line for line in lines if "Today: " in line]
    assert len(mornings) == 1
    assert "Tomorrow" in mornings[0]
