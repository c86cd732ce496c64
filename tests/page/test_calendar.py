"""The calendar feed: two parsers read it, and an update never becomes a second event."""

from __future__ import annotations

import warnings
from datetime import UTC, datetime, timedelta
from typing import Any

import icalendar
import pytest
import vobject
from msgspec.structs import replace

from planner.outputs.calendar import calendar
from planner.reports.rows import Report, WindowRow
from tests.reports.made import with_forecast


def _events(feed: bytes) -> dict[str, Any]:
    found = icalendar.Calendar.from_ical(feed).walk("VEVENT")
    events = {str(event["UID"]): event for event in found}
    assert len(events) == len(found), "two events share a UID"
    return events


def _feed(report: Report, before: bytes | None = None) -> bytes:
    return calendar(report, before)


def _own(report: Report) -> list[WindowRow]:
    """Windows of the jobs that the demo's site file names."""
    assert report.keeper_jobs
    rows = [row for row in report.windows if row.job in report.keeper_jobs]
    assert 0 < len(rows) < len(report.windows)
    return rows


def _later(report: Report, hours: int) -> Report:
    """The next pass, which finds the same."""
    made = report.made_at + timedelta(hours=hours)
    return replace(report, made_at=made, as_of=made)


def test_two_parsers_read_it_without_a_warning(report: Report) -> None:
    feed = _feed(report)
    count = len(_own(report)) + len(report.warnings)
    with warnings.catch_warnings():
        warnings.simplefilter("error")
        first = icalendar.Calendar.from_ical(feed)
        second = vobject.readOne(feed.decode())
    assert first.errors == []
    assert all(event.errors == [] for event in first.walk("VEVENT"))
    assert len(first.walk("VEVENT")) == len(second.vevent_list) == count
    for event in second.vevent_list:
        assert event.dtstart.value < event.dtend.value
        event.validate(raiseException=True)


def test_lines_are_folded_and_times_are_utc(report: Report) -> None:
    feed = _feed(report)
    assert all(len(line) <= 75 for line in feed.split(b"\r\n"))
    for event in _events(feed).values():
        for name in ("DTSTART", "DTEND", "DTSTAMP", "LAST-MODIFIED"):
            assert event[name].to_ical().endswith(b"Z"), name


def test_times_are_those_of_the_windows(report: Report) -> None:
    spans = sorted((row.start, row.end) for row in _own(report))
    shown = sorted(
        (event.decoded("DTSTART"), event.decoded("DTEND"))
        for event in _events(_feed(report)).values()
        if "warning" not in event.categories
    )
    assert shown == spans


def test_an_unchanged_forecast_leaves_every_byte(report: Report) -> None:
    first = _feed(report)
    assert _feed(_later(report, 1), first) == first


def test_a_window_that_moves_keeps_its_uid_and_gets_the_next_sequence(report: Report) -> None:
    first = _feed(report)
    later = _later(report, 1)
    row = _own(later)[0]
    moved = replace(row, end=row.end + timedelta(hours=1))
    later = replace(later, windows=tuple(moved if one is row else one for one in later.windows))
    second = _feed(later, first)
    before, after = _events(first), _events(second)
    assert set(before) == set(after)
    changed = [uid for uid in before if before[uid].to_ical() != after[uid].to_ical()]
    assert len(changed) == 1
    uid = changed[0]
    assert int(after[uid]["SEQUENCE"]) > int(before[uid]["SEQUENCE"])
    assert after[uid].decoded("LAST-MODIFIED") == datetime(2026, 5, 7, 6, tzinfo=UTC)


def test_sequences_rise_even_when_the_feed_before_is_lost(report: Report) -> None:
    first = _events(_feed(report))
    later = _events(_feed(_later(report, 2)))
    assert set(first) == set(later)
    assert all(int(later[uid]["SEQUENCE"]) > int(first[uid]["SEQUENCE"]) for uid in first)


def test_a_warning_that_passes_is_ended_in_words(report: Report) -> None:
    first = _feed(report)
    later = _later(report, 1)
    later = replace(later, warnings=tuple(row for row in later.warnings if row.kind != "frost"))
    second = _feed(later, first)
    gone = [event for event in _events(second).values() if str(event.get("STATUS")) == "CANCELLED"]
    assert [str(event["SUMMARY"])[:6] for event in gone] == ["Over: "]
    old = _events(first)[str(gone[0]["UID"])]
    assert int(gone[0]["SEQUENCE"]) > int(old["SEQUENCE"])
    third = _feed(_later(later, 2), second)
    assert third == second
    assert b"X-HAYSEL" not in third
    over = _later(later, 72)
    assert not [e for e in _events(_feed(over, third)).values() if str(e.get("STATUS")) == "CANCELLED"]


def test_an_old_forecast_is_told_in_every_summary(report: Report) -> None:
    old = _events(_feed(with_forecast(report, stale=True)))
    assert old
    assert all(str(event["SUMMARY"]).startswith("(old forecast) ") for event in old.values())


@pytest.mark.parametrize("before", [b"", b"not a calendar", b"BEGIN:VCALENDAR\r\n"])
def test_a_spoilt_feed_before_is_as_none(report: Report, before: bytes) -> None:
    assert _feed(report, before) == _feed(report)
