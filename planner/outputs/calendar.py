"""Windows and warnings of a report as a calendar feed (RFC 5545).

Every event keeps its UID while it is the same thing: the same job on the same surface on the same day, or the
same warning. An event that has not changed since the pass before keeps its sequence and its times of change,
so that a reader of the feed sees no update; one that has changed gets the next sequence number.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping
from datetime import UTC, datetime, timedelta
from hashlib import sha256

from icalendar import Calendar, Event

from planner.reports.cautions import short_caution
from planner.reports.mine import of_mine
from planner.reports.retold import for_people
from planner.reports.rows import Report, WarningRow, WindowRow
from planner.reports.stretches import as_sentence

CALENDAR = "text/calendar; charset=utf-8"
#: What makes a changed event differ from an unchanged one.
_CONTENT = ("DTSTART", "DTEND", "SUMMARY", "DESCRIPTION", "LOCATION", "STATUS")
#: Sequence numbers begin with the minutes since then, so that they still rise when the feed before is lost.
_EPOCH = datetime(2025, 1, 1, tzinfo=UTC)


def calendar(report: Report, before: bytes | None = None, *, every_job: bool = False) -> bytes:
    """The feed of a report: windows of the keeper's jobs, or of every job, and warnings.

    `before` is the feed before it, where it is known.
    """
    report = for_people(report, report.site.units)
    now = report.as_of.astimezone(UTC).replace(microsecond=0)
    feed = Calendar()
    feed.add("prodid", "-//haysel//turf work//EN")
    feed.add("version", "2.0")
    feed.add("method", "PUBLISH")
    feed.add("name", f"Turf work, {report.site.name}")
    feed.add("x-wr-calname", f"Turf work, {report.site.name}")
    feed.add("refresh-interval", timedelta(hours=1), parameters={"VALUE": "DURATION"})
    feed.add("x-published-ttl", "PT1H")
    old = _events(before)
    rows = report.windows if every_job else of_mine(report, report.windows)
    found = [*_windows(report, rows), *(_warning(row, report) for row in report.warnings)]
    found += _ended(old, {str(event["UID"]) for event in found}, now)
    for event in found:
        _number(event, old.get(str(event["UID"])), now)
        feed.add_component(event)
    return bytes(feed.to_ical())


def _windows(report: Report, rows: Iterable[WindowRow]) -> Iterator[Event]:
    seen: dict[str, int] = {}
    for row in sorted(rows, key=lambda row: (row.job, row.surface, row.start)):
        key = f"{row.job}|{row.surface}|{row.start:%Y-%m-%d}"
        seen[key] = seen.get(key, 0) + 1
        only_just = ", only just" if row.state == "narrow" else ""
        room = as_sentence(row)
        lines = [f"Start by {row.latest_start:%H:%M}.", *([room] if room else []), row.limiting.says]
        if row.share is not None:
            lines.append(f"{row.share:.0%} of the forecast's members hold.")
        event = Event()
        event.add("uid", _uid(f"window|{report.site.name}|{key}|{seen[key]}"))
        event.add("summary", f"{_age(report)}{row.label}: {row.surface}{only_just}")
        event.add("dtstart", row.start.astimezone(UTC))
        event.add("dtend", row.end.astimezone(UTC))
        caution = short_caution(report, row.job)
        event.add("description", "\n".join([*lines, *([caution] if caution else [])]))
        event.add("location", row.surface)
        event.add("categories", [row.kind])
        event.add("status", "TENTATIVE")
        event.add("transp", "TRANSPARENT")
        yield event


def _warning(row: WarningRow, report: Report) -> Event:
    ends = row.begins + timedelta(hours=1) if row.ends is None else row.ends
    event = Event()
    event.add("uid", _uid(f"warning|{report.site.name}|{row.id}"))
    event.add("summary", f"{_age(report)}{row.level}: {row.says.split(': ', 1)[0]}")
    event.add("dtstart", row.begins.astimezone(UTC))
    event.add("dtend", max(ends, row.begins + timedelta(minutes=30)).astimezone(UTC))
    event.add("description", "\n".join([row.says, *row.advice]))
    event.add("location", row.surface or report.site.name)
    event.add("categories", ["warning"])
    event.add("status", "CONFIRMED")
    event.add("transp", "TRANSPARENT")
    return event


def _ended(old: Mapping[str, Event], here: set[str], now: datetime) -> list[Event]:
    """Warnings of the feed before that are no more, as cancelled until they would have been over."""
    events = []
    for uid, event in old.items():
        kinds = event.categories
        if uid in here or "warning" not in kinds or event.decoded("DTEND") <= now:
            continue
        if str(event.get("STATUS")) != "CANCELLED":
            summary = f"Over: {event['SUMMARY']}"
            for name in ("SUMMARY", "STATUS"):
                del event[name]
            event.add("summary", summary)
            event.add("status", "CANCELLED")
            event["X-HAYSEL-CHANGED"] = "1"
        events.append(event)
    return events


def _number(event: Event, old: Event | None, now: datetime) -> None:
    """Sequence and times of change: those of the event before where nothing has changed."""
    changed = old is None or old is event and "X-HAYSEL-CHANGED" in event or _content(old) != _content(event)
    if old is not None and not changed:
        kept = {name: old[name] for name in ("SEQUENCE", "LAST-MODIFIED", "DTSTAMP")}
        for name, value in kept.items():
            event[name] = value
        return
    first = int((now - _EPOCH) / timedelta(minutes=1))
    sequence = max(first, int(str(old["SEQUENCE"])) + 1) if old is not None else first
    for name in ("SEQUENCE", "LAST-MODIFIED", "DTSTAMP", "X-HAYSEL-CHANGED"):
        event.pop(name, None)
    event.add("sequence", sequence)
    event.add("last-modified", now)
    event.add("dtstamp", now)


def _content(event: Event) -> tuple[object, ...]:
    return tuple(event[name].to_ical() if name in event else None for name in _CONTENT)


def _events(feed: bytes | None) -> dict[str, Event]:
    """Events of an earlier feed by UID; none when it cannot be read."""
    if feed is None:
        return {}
    try:
        parsed = Calendar.from_ical(feed)
    except ValueError:
        return {}
    return {str(event["UID"]): event for event in parsed.walk("VEVENT") if isinstance(event, Event)}


def _uid(key: str) -> str:
    return f"{sha256(key.encode()).hexdigest()[:32]}@haysel"


def _age(report: Report) -> str:
    return "(old forecast) " if report.forecast.stale else ""
