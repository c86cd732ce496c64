"""The calendar feed: two parsers read it, and an update never becomes a second event."""

from __future__ import annotations

import copy
import warnings
from datetime import UTC, datetime, timedelta
from typing import Any

import icalendar
import pytest
import vobject

from planner.answers.calendar import calendar


def _events(feed: bytes) -> dict[str, Any]:
    found = icalendar.Calendar.from_ical(feed).walk("VEVENT")
    events = {str(event["UID"]): event for event in found}
    assert len(events) == len(found), "two events share a UID"
    return events


def _feed(parsed: dict[str, Any], before: bytes | None = None) -> bytes:
    return calendar(parsed["windows"], parsed["warnings"], before)


def _later(parsed: dict[str, Any], hours: int) -> dict[str, Any]:
    later = copy.deepcopy({name: parsed[name] for name in ("windows", "warnings")})
    made = datetime.fromisoformat(parsed["windows"]["made_at"]) + timedelta(hours=hours)
    for answer in later.values():
        answer["made_at"] = made.isoformat().replace("+00:00", "Z")
    return later


def test_two_parsers_read_it_without_a_warning(parsed: dict[str, Any]) -> None:
    feed = _feed(parsed)
    count = len(parsed["windows"]["windows"]) + len(parsed["warnings"]["warnings"])
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


def test_lines_are_folded_and_times_are_utc(parsed: dict[str, Any]) -> None:
    feed = _feed(parsed)
    assert all(len(line) <= 75 for line in feed.split(b"\r\n"))
    for event in _events(feed).values():
        for name in ("DTSTART", "DTEND", "DTSTAMP", "LAST-MODIFIED"):
            assert event[name].to_ical().endswith(b"Z"), name


def test_times_are_those_of_the_windows(parsed: dict[str, Any]) -> None:
    spans = sorted(
        (datetime.fromisoformat(row["start"]), datetime.fromisoformat(row["end"]))
        for row in parsed["windows"]["windows"]
    )
    told = sorted(
        (event.decoded("DTSTART"), event.decoded("DTEND"))
        for event in _events(_feed(parsed)).values()
        if "warning" not in event.categories
    )
    assert told == spans


def test_an_unchanged_forecast_leaves_every_byte(parsed: dict[str, Any]) -> None:
    first = _feed(parsed)
    assert _feed(_later(parsed, 1), first) == first


def test_a_window_that_moves_keeps_its_uid_and_gets_the_next_sequence(parsed: dict[str, Any]) -> None:
    first = _feed(parsed)
    later = _later(parsed, 1)
    row = later["windows"]["windows"][0]
    row["end"] = (datetime.fromisoformat(row["end"]) + timedelta(hours=1)).isoformat()
    second = _feed(later, first)
    before, after = _events(first), _events(second)
    assert set(before) == set(after)
    changed = [uid for uid in before if before[uid].to_ical() != after[uid].to_ical()]
    assert len(changed) == 1
    uid = changed[0]
    assert int(after[uid]["SEQUENCE"]) > int(before[uid]["SEQUENCE"])
    assert after[uid].decoded("LAST-MODIFIED") == datetime(2026, 5, 7, 6, tzinfo=UTC)


def test_sequences_rise_even_when_the_feed_before_is_lost(parsed: dict[str, Any]) -> None:
    first = _events(_feed(parsed))
    later = _events(_feed(_later(parsed, 2)))
    assert set(first) == set(later)
    assert all(int(later[uid]["SEQUENCE"]) > int(first[uid]["SEQUENCE"]) for uid in first)


def test_a_warning_that_passes_is_stood_down_in_words(parsed: dict[str, Any]) -> None:
    first = _feed(parsed)
    later = _later(parsed, 1)
    later["warnings"]["warnings"] = [row for row in later["warnings"]["warnings"] if row["kind"] != "frost"]
    second = _feed(later, first)
    gone = [event for event in _events(second).values() if str(event.get("STATUS")) == "CANCELLED"]
    assert [str(event["SUMMARY"])[:12] for event in gone] == ["Stood down: "]
    old = _events(first)[str(gone[0]["UID"])]
    assert int(gone[0]["SEQUENCE"]) > int(old["SEQUENCE"])
    third = _feed(_later(later, 2), second)
    assert third == second
    assert b"X-HAYSEL" not in third
    over = _later(later, 72)
    assert not [e for e in _events(_feed(over, third)).values() if str(e.get("STATUS")) == "CANCELLED"]


def test_an_old_forecast_is_told_in_every_summary(parsed: dict[str, Any]) -> None:
    parsed["windows"]["forecast"]["stale"] = True
    assert all(str(e["SUMMARY"]).startswith("(old forecast) ") for e in _events(_feed(parsed)).values())


@pytest.mark.parametrize("before", [b"", b"not a calendar", b"BEGIN:VCALENDAR\r\n"])
def test_a_spoilt_feed_before_is_as_none(parsed: dict[str, Any], before: bytes) -> None:
    assert _feed(parsed, before) == _feed(parsed)
