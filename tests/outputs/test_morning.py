"""The message of the morning: once a day, from its hour on, to every output."""

from __future__ import annotations

from dataclasses import replace
from datetime import UTC, datetime, timedelta

import pytest

from planner.actions.messages import morning_message
from planner.actions.one_pass import computed
from planner.config.kit_schema import LogPart, MorningPart
from planner.reports.best import morning_lines
from planner.store.store import Store
from tests.made import config, forecast, weather

#: Six in the morning in London, an hour ahead of UTC.
SIX = datetime(2026, 4, 8, 5, tzinfo=UTC)
H = timedelta(hours=1)


def site(at: str | None = "06:00"):
    return replace(config(outputs=(LogPart(),)), morning=None if at is None else MorningPart(at=at))


@pytest.fixture(scope="module")
def report():
    return computed(config(), forecast(weather(SIX - 24 * H, 24 * 9), SIX), now=SIX)[0]


@pytest.mark.parametrize(
    ("after_h", "sent"), [(-0.1, 0), (0.0, 1), (0.9, 1), (2.9, 1), (3.0, 0), (12.0, 0), (24.0, 1)]
)
def test_it_goes_out_from_its_hour_on_and_not_at_noon(report, after_h, sent):
    assert len(morning_message(report, site(), SIX + after_h * H)) == sent


def test_it_carries_the_two_lines(report):
    (row,) = morning_message(report, site(), SIX)
    assert row.body["body"] == "\n".join(morning_lines(report))
    assert row.body["title"] == "Thistlewick Vale, Wed 8 Apr"
    assert row.body["level"] == "note"


def test_without_an_hour_in_the_site_file_nothing_is_sent(report):
    assert morning_message(report, site(None), SIX) == ()


def test_however_many_passes_are_made_it_is_sent_once_a_day(report, tmp_path):
    store = Store.open(str(tmp_path / "store.db"))
    for after_h in (0.0, 0.5, 1.0, 2.0, 24.0, 25.0):
        now = SIX + after_h * H
        rows = morning_message(report, site(), now)
        store.keep_pass(now, {}, schema=1, stale_at=now + H, warnings=[], outbox=rows)
    counts = {(one.output, one.state): one.messages for one in store.outbox_counts()}
    store.close()
    assert counts == {("log", "due"): 2}
