"""The entries of a feed as a calendar (RFC 5545): what is asked for, else the week's order and warnings."""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from datetime import timedelta

from icalendar import Alarm, Calendar, Event

from planner.errors import NotKnown
from planner.outputs.feed import CANCELLED, WARNING, WINDOW, Entry, Feed
from planner.reports.rows import Report

CALENDAR = "text/calendar; charset=utf-8"


@dataclass(frozen=True, slots=True, kw_only=True)
class Asked:
    """What of the feed is asked for. A job or kind that is named is told with its windows."""

    job: str = ""
    surface: str = ""
    kind: str = ""
    """A kind of job, or `warning`."""
    every: bool = False
    """With the windows of every job."""
    alarm_min: int | None = None
    """An alarm so many minutes before each event; none where it is None."""

    def holds(self, one: Entry) -> bool:
        """Whether the entry is asked for. What holds for the whole site holds for each of its surfaces."""
        if (self.job and one.job != self.job) or (self.kind and one.kind != self.kind):
            return False
        if self.surface and one.surface not in (self.surface, ""):
            return False
        return one.sort != WINDOW or self.every or bool(self.job or self.kind)

    def check(self, report: Report) -> None:
        """NotKnown for a job, surface or kind that the report does not have."""
        jobs = (*report.ribbons, *report.week.planned)
        asked = (
            ("job", self.job, [row.job for row in jobs]),
            ("surface", self.surface, [row.surface for row in jobs]),
            ("kind", self.kind, [*(row.kind for row in jobs), WARNING]),
        )
        for what, name, known in asked:
            if name and name not in known:
                raise NotKnown(what, name, list(dict.fromkeys(known)))


def calendar(report: Report, entries: Iterable[Entry] | None = None, asked: Asked | None = None) -> bytes:
    """The calendar of these entries; of a report that nothing was drawn of before where there are none."""
    entries = Feed().entries(report) if entries is None else entries
    asked = Asked() if asked is None else asked
    feed = Calendar()
    feed.add("prodid", "-//haysel//turf work//EN")
    feed.add("version", "2.0")
    feed.add("method", "PUBLISH")
    feed.add("name", f"Turf work, {report.site.name}")
    feed.add("x-wr-calname", f"Turf work, {report.site.name}")
    feed.add("refresh-interval", timedelta(hours=1), parameters={"VALUE": "DURATION"})
    feed.add("x-published-ttl", "PT1H")
    for event in _events(entries, asked):
        feed.add_component(event)
    return bytes(feed.to_ical())


def _events(entries: Iterable[Entry], asked: Asked) -> Iterator[Event]:
    for one in entries:
        if asked.holds(one):
            event = _event(one)
            if asked.alarm_min is not None and one.status != CANCELLED:
                event.add_component(_alarm(one, asked.alarm_min))
            yield event


def _event(one: Entry) -> Event:
    event = Event()
    event.add("uid", one.uid)
    event.add("summary", one.summary)
    event.add("dtstart", one.start)
    event.add("dtend", one.end)
    event.add("description", one.description)
    event.add("location", one.place)
    event.add("categories", [one.kind])
    event.add("status", one.status)
    event.add("transp", "TRANSPARENT")
    event.add("sequence", one.sequence)
    event.add("last-modified", one.changed)
    event.add("dtstamp", one.changed)
    return event


def _alarm(one: Entry, minutes: int) -> Alarm:
    alarm = Alarm()
    alarm.add("action", "DISPLAY")
    alarm.add("description", one.summary)
    alarm.add("trigger", -timedelta(minutes=minutes))
    return alarm
