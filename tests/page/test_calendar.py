"""The calendar feed: two parsers read it, and an update never becomes a second event."""

from __future__ import annotations

import warnings
from datetime import UTC, datetime, timedelta
from typing import Any

import icalendar
import pytest
import vobject
from fastapi.testclient import TestClient
from msgspec.structs import replace

from planner.outputs.calendar import Asked, calendar
from planner.outputs.feed import WINDOW, Feed
from planner.reports.as_of import as_of
from planner.reports.rows import Report, WindowRow, WorkRow
from planner.reports.workings import Workings
from planner.service.app import create_app
from planner.service.cache import ReportCache
from tests.reports.made import with_forecast, with_week, work_row
from tests.service.conftest import NOW, Clock


def _events(feed: bytes) -> dict[str, Any]:
    found = icalendar.Calendar.from_ical(feed).walk("VEVENT")
    events = {str(event["UID"]): event for event in found}
    assert len(events) == len(found), "two events share a UID"
    return events


def _drawn(report: Report, feed: Feed | None = None, **asked: Any) -> bytes:
    return calendar(report, (feed or Feed()).entries(report), Asked(**asked))


def _coming(report: Report) -> list[WorkRow]:
    return [*report.week.work, *report.week.planned]


def _later(report: Report, hours: int) -> Report:
    """The next pass, which finds the same."""
    made = report.made_at + timedelta(hours=hours)
    return replace(report, made_at=made, as_of=made)


def test_it_is_the_weeks_order_and_the_warnings(report: Report) -> None:
    events = _events(_drawn(report)).values()
    work = [event for event in events if "warning" not in event.categories]
    assert sorted((event.decoded("DTSTART"), event.decoded("DTEND")) for event in work) == sorted(
        (row.start, max(row.end, row.start + timedelta(minutes=30))) for row in _coming(report)
    )
    assert len(events) == len(_coming(report)) + len(report.warnings) < 30 < len(report.windows)
    first = min(work, key=lambda event: event.decoded("DTSTART"))
    assert str(first["SUMMARY"]) == "Roll, green"
    assert "Start by 09:00." in str(first["DESCRIPTION"])


def test_work_that_the_keeper_planned_is_told_apart(report: Report) -> None:
    mine = with_week(
        report,
        work=[work_row("feed", "07T09:00", "07T10:00", state="narrow")],
        planned=[work_row("coring", "07T12:00", "07T14:00", kind="coring", planned=True)],
    )
    events = {str(one["SUMMARY"]): one for one in _events(_drawn(mine, kind="coring")).values()}
    (coring,) = [one for text, one in events.items() if text.startswith("Coring")]
    assert (str(coring["STATUS"]), str(coring["DESCRIPTION"])) == ("CONFIRMED", "Planned by you.")
    (feed,) = [one for one in _events(_drawn(mine)).values() if str(one["SUMMARY"]).startswith("Feed")]
    assert str(feed["SUMMARY"]).endswith(", only just")
    assert str(feed["STATUS"]) == "TENTATIVE"


@pytest.mark.parametrize(
    "asked",
    [
        {"every": True},
        {"job": "foliar_feed"},
        {"kind": "mowing"},
        {"kind": "warning"},
        {"surface": "east bank"},
        {"surface": "green", "every": True},
        {"job": "mow_green", "surface": "green"},
    ],
)
def test_what_is_asked_for_and_nothing_else(report: Report, asked: dict[str, Any]) -> None:
    job, kind, surface = (asked.get(name) for name in ("job", "kind", "surface"))

    def fits(row: Any) -> bool:
        return (
            (job is None or row.job == job)
            and (kind is None or row.kind == kind)
            and (surface is None or row.surface == surface)
        )

    rows = [row for row in _coming(report) if fits(row)]
    if job or kind or asked.get("every"):
        rows += [row for row in report.windows if fits(row)]
    told = [] if job or kind not in (None, "warning") else report.warnings
    told = [row for row in told if surface is None or row.surface in (surface, None)]
    found = _events(_drawn(report, **asked)).values()
    assert len(found) == len(rows) + len(told) > 0
    shown = sorted((event.decoded("DTSTART"), str(event["LOCATION"])) for event in found)
    places = [(row.start, row.surface) for row in rows]
    assert shown == sorted(places + [(row.begins, row.surface or report.site.name) for row in told])


def test_an_alarm_only_where_one_is_asked_for(report: Report) -> None:
    assert b"VALARM" not in _drawn(report)
    events = _events(_drawn(report, alarm_min=45)).values()
    for event in events:
        (alarm,) = event.walk("VALARM")
        assert alarm.decoded("TRIGGER") == -timedelta(minutes=45)
        assert str(alarm["ACTION"]) == "DISPLAY"


def test_two_parsers_read_it_without_a_warning(report: Report) -> None:
    feed = _drawn(report, every=True, alarm_min=30)
    with warnings.catch_warnings():
        warnings.simplefilter("error")
        first = icalendar.Calendar.from_ical(feed)
        second = vobject.readOne(feed.decode())
    assert first.errors == []
    assert all(event.errors == [] for event in first.walk("VEVENT"))
    count = len(_coming(report)) + len(report.windows) + len(report.warnings)
    assert len(first.walk("VEVENT")) == len(second.vevent_list) == count
    for event in second.vevent_list:
        assert event.dtstart.value < event.dtend.value
        event.validate(raiseException=True)


def test_lines_are_folded_and_times_are_utc(report: Report) -> None:
    feed = _drawn(report, every=True)
    assert all(len(line) <= 75 for line in feed.split(b"\r\n"))
    for event in _events(feed).values():
        for name in ("DTSTART", "DTEND", "DTSTAMP", "LAST-MODIFIED"):
            assert event[name].to_ical().endswith(b"Z"), name


def test_an_unchanged_forecast_leaves_every_byte(report: Report) -> None:
    feed = Feed()
    first = _drawn(report, feed, every=True)
    assert _drawn(_later(report, 1), feed, every=True) == first
    # What is asked for changes no number, and a new run begins where the last one stood.
    whole = _events(first)
    for uid, event in _events(_drawn(report, feed)).items():
        assert event.to_ical() == whole[uid].to_ical()
    assert _drawn(_later(report, 2), Feed(feed.kept()), every=True) == first


def test_what_moves_within_its_day_keeps_its_uid_and_gets_the_next_sequence(report: Report) -> None:
    feed = Feed()
    first = _drawn(report, feed, every=True)
    later = _later(report, 1)
    row = later.windows[0]
    moved = replace(row, end=row.end + timedelta(hours=1))
    later = replace(later, windows=(moved, *later.windows[1:]))
    second = _drawn(later, feed, every=True)
    before, after = _events(first), _events(second)
    assert set(before) == set(after)
    (uid,) = [uid for uid in before if before[uid].to_ical() != after[uid].to_ical()]
    assert int(after[uid]["SEQUENCE"]) > int(before[uid]["SEQUENCE"])
    assert after[uid].decoded("LAST-MODIFIED") == datetime(2026, 5, 7, 6, tzinfo=UTC)


def test_a_window_of_the_afternoon_is_never_taken_for_that_of_the_morning(report: Report) -> None:
    pair = next(row for row in report.windows)
    day = pair.start.replace(hour=0, minute=0)

    def at(hour: int) -> WindowRow:
        start = day + timedelta(hours=hour)
        return replace(
            pair, start=start, end=start + timedelta(hours=2), latest_start=start + timedelta(hours=1)
        )

    def drawn(now: int, *hours: int) -> dict[datetime, str]:
        made = day + timedelta(hours=now)
        rows = tuple(at(hour) for hour in hours)
        told = replace(report, made_at=made, as_of=made, windows=rows, warnings=())
        return {one.start: one.uid for one in feed.entries(told) if one.sort == WINDOW}

    feed = Feed()
    first = drawn(5, 6, 16)
    morning, afternoon = first[at(6).start], first[at(16).start]
    assert morning != afternoon
    # Over: what is left is what it was, with the memory of before and without.
    assert drawn(12, 16) == {at(16).start: afternoon}
    feed = Feed()
    assert drawn(12, 16) == {at(16).start: afternoon}
    # Moved within its day it is the same still, and who comes into its hour is another.
    assert drawn(12, 18) == {at(18).start: afternoon}
    moved = drawn(12, 15, 18)
    assert moved[at(18).start] == afternoon != moved[at(15).start]
    later = drawn(12, 15, 16, 18)
    assert len(set(later.values())) == 3
    assert later[at(18).start] == afternoon


def test_entries_are_named_by_the_key_of_the_site_and_not_by_its_name(report: Report) -> None:
    def uids(**site: str) -> set[str]:
        return set(_events(_drawn(replace(report, site=replace(report.site, **site)), every=True)))

    ours = uids()
    assert uids(name="Renamed") == ours
    assert uids(key="other").isdisjoint(ours)


def test_sequences_rise_even_when_what_was_kept_is_lost(report: Report) -> None:
    first = _events(_drawn(report))
    later = _events(_drawn(_later(report, 2)))
    assert set(first) == set(later)
    assert all(int(later[uid]["SEQUENCE"]) > int(first[uid]["SEQUENCE"]) for uid in first)


def test_a_warning_that_passes_is_ended_in_words(report: Report) -> None:
    feed = Feed()
    first = _drawn(report, feed)
    later = _later(report, 1)
    later = replace(later, warnings=tuple(row for row in later.warnings if row.kind != "frost"))
    second = _drawn(later, feed)
    gone = [event for event in _events(second).values() if str(event.get("STATUS")) == "CANCELLED"]
    assert [str(event["SUMMARY"])[:6] for event in gone] == ["Over: "]
    old = _events(first)[str(gone[0]["UID"])]
    assert int(gone[0]["SEQUENCE"]) > int(old["SEQUENCE"])
    assert _drawn(_later(later, 2), feed, alarm_min=5).count(b"VALARM") == 2 * (len(_events(second)) - 1)
    assert _drawn(_later(later, 2), feed) == second
    over = _later(later, 72)
    assert not [e for e in _events(_drawn(over, feed)).values() if str(e.get("STATUS")) == "CANCELLED"]


def test_frost_of_a_night_that_is_over_is_not_shown(report: Report) -> None:
    feed = Feed()
    (frost,) = [row for row in report.warnings if row.kind == "frost"]
    assert frost.ends is not None

    def frosts(moment: datetime) -> list[Any]:
        events = _events(_drawn(as_of(report, moment), feed, kind="warning")).values()
        return [event for event in events if event.decoded("DTSTART") == frost.begins]

    assert len(frosts(frost.ends - timedelta(minutes=1))) == 1
    assert frosts(frost.ends) == []
    # Nor where a pass still names it.
    assert len(_events(_drawn(_later(report, 72), Feed(), kind="warning"))) < len(report.warnings)


def test_an_old_forecast_is_told_in_every_summary(report: Report) -> None:
    old = _events(_drawn(with_forecast(report, stale=True)))
    assert old
    assert all(str(event["SUMMARY"]).startswith("(old forecast) ") for event in old.values())


@pytest.mark.parametrize("kept", [b"", b"{", b'[{"uid": 1}]'])
def test_spoilt_memory_is_as_none(report: Report, kept: bytes) -> None:
    assert _drawn(report, Feed(kept)) == _drawn(report)


def test_the_address_takes_filters_and_names_what_it_does_not_know(
    cache: ReportCache, clock: Clock, report: Report
) -> None:
    with TestClient(create_app(cache, clock=clock)) as client:
        whole = _events(client.get("/calendar.ics").content)
        assert len(whole) == len(_coming(report)) + len(report.warnings)
        assert len(_events(client.get("/calendar.ics?all=1").content)) > len(report.windows)
        mowing = _events(client.get("/calendar.ics?kind=mowing&surface=green&alarm=10").content)
        assert {str(one.categories[0]) for one in mowing.values()} == {"mowing"}
        for query, says in (("job=foliar", "foliar_feed"), ("surface=gren", "green"), ("kind=mow", "mowing")):
            answer = client.get(f"/calendar.ics?{query}")
            assert (answer.status_code, says in answer.text) == (404, True), query
        assert client.get("/calendar.ics?alarm=-1").status_code == 422
        assert client.get("/calendar.ics?all=perhaps").status_code == 422


class Keeper:
    """Keeps the calendars in a list, for one instance that works for the site or one that does not."""

    def __init__(self, kept: list[bytes], is_ours: bool = True) -> None:
        self.kept, self.is_ours = kept, is_ours

    def kept_calendar(self) -> bytes | None:
        return self.kept[-1] if self.kept else None

    def keep_calendar(self, kept: bytes) -> None:
        self.kept.append(kept)


def test_an_instance_that_does_not_work_for_the_site_tells_the_numbers_of_the_one_that_does(
    clock: Clock, report: Report, workings: Workings
) -> None:
    from planner.service.pages import CalendarFeed

    kept: list[bytes] = []
    ours, theirs = ReportCache(clock), ReportCache(clock)
    works, shows = CalendarFeed(ours, Keeper(kept)), CalendarFeed(theirs, Keeper(kept, is_ours=False))
    for hours in range(3):
        later = _later(report, hours)
        if hours != 1:
            # It was away while the second pass was made.
            ours.put(later, workings)
            theirs.put(later, workings)
        else:
            ours.put(later, workings)
        made = len(kept)
    assert shows.of(theirs.snapshot(), Asked()).body == works.of(ours.snapshot(), Asked()).body
    assert len(kept) == made


def test_what_was_drawn_is_kept_with_each_pass_and_turn(
    clock: Clock, report: Report, workings: Workings
) -> None:
    from planner.service.pages import CalendarFeed

    kept: list[bytes] = []
    cache = ReportCache(clock)
    feed = CalendarFeed(cache, Keeper(kept))
    cache.put(report, workings)
    first = feed.of(cache.snapshot(), Asked()).body
    assert len(kept) == 1
    cache.put(_later(report, 0), workings)
    assert len(kept) == 1
    clock.now = NOW + timedelta(hours=3)
    cache.turn()
    assert len(kept) == 2
    again = ReportCache(clock)
    after = CalendarFeed(again, Keeper(kept[:1]))
    clock.now = NOW
    again.put(report, workings)
    assert after.of(again.snapshot(), Asked()).body == first
