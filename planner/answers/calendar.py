"""Windows and warnings as a calendar feed (RFC 5545), read from the answers.

Every event keeps its UID while it is the same thing: the same job on the same surface on the same day, or the
same warning. An event that has not changed since the pass before keeps its sequence and its times of change,
so that a reader of the feed sees no update; one that has changed gets the next sequence number.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from datetime import UTC, datetime, timedelta
from hashlib import sha256
from typing import Any

from icalendar import Calendar, Event

CALENDAR = "text/calendar; charset=utf-8"
#: What tells a changed event from an unchanged one.
_TOLD = ("DTSTART", "DTEND", "SUMMARY", "DESCRIPTION", "LOCATION", "STATUS")
#: Cautions that go with a window; the rest stand on the page of the job.
_CAUTIONS = 2
#: Sequence numbers begin with the minutes since then, so that they still rise when the feed before is lost.
_EPOCH = datetime(2025, 1, 1, tzinfo=UTC)


def calendar(windows: Mapping[str, Any], warnings: Mapping[str, Any], before: bytes | None = None) -> bytes:
    """The feed of a pass. `before` is the feed of the pass before it, where it is known."""
    made_at = datetime.fromisoformat(windows["made_at"]).astimezone(UTC).replace(microsecond=0)
    site = windows["site"]["name"]
    feed = Calendar()
    feed.add("prodid", "-//haysel//turf work//EN")
    feed.add("version", "2.0")
    feed.add("method", "PUBLISH")
    feed.add("name", f"Turf work, {site}")
    feed.add("x-wr-calname", f"Turf work, {site}")
    feed.add("refresh-interval", timedelta(hours=1), parameters={"VALUE": "DURATION"})
    feed.add("x-published-ttl", "PT1H")
    old = _events(before)
    stale = windows["forecast"]["stale"]
    found = [*_windows(windows["windows"], site, stale), *_warnings(warnings["warnings"], site, stale)]
    found += _stood_down(old, {str(event["UID"]) for event in found}, made_at)
    for event in found:
        _number(event, old.get(str(event["UID"])), made_at)
        feed.add_component(event)
    return bytes(feed.to_ical())


def _windows(rows: Iterable[Mapping[str, Any]], site: str, stale: bool) -> list[Event]:
    seen: dict[str, int] = {}
    events = []
    for row in sorted(rows, key=lambda row: (str(row["job"]), str(row["surface"]), str(row["start"]))):
        key = f"{row['job']}|{row['surface']}|{row['start'][:10]}"
        seen[key] = seen.get(key, 0) + 1
        start = datetime.fromisoformat(row["start"])
        latest = datetime.fromisoformat(row["latest_start"])
        only_just = ", only just" if row["state"] == "narrow" else ""
        lines = [f"Start by {latest:%H:%M}.", row["limiting"]["says"]]
        if row["chance"] is not None:
            lines.append(f"{row['chance']:.0%} of the forecast's members hold.")
        lines += row["cautions"][:_CAUTIONS]
        event = Event()
        event.add("uid", _uid(f"window|{site}|{key}|{seen[key]}"))
        event.add("summary", f"{_told(stale)}{row['label']}: {row['surface']}{only_just}")
        event.add("dtstart", start.astimezone(UTC))
        event.add("dtend", datetime.fromisoformat(row["end"]).astimezone(UTC))
        event.add("description", "\n".join(lines))
        event.add("location", row["surface"])
        event.add("categories", [row["kind"]])
        event.add("status", "TENTATIVE")
        event.add("transp", "TRANSPARENT")
        events.append(event)
    return events


def _warnings(rows: Iterable[Mapping[str, Any]], site: str, stale: bool) -> list[Event]:
    events = []
    for row in rows:
        begins = datetime.fromisoformat(row["begins"])
        ends = begins + timedelta(hours=1) if row["ends"] is None else datetime.fromisoformat(row["ends"])
        event = Event()
        event.add("uid", _uid(f"warning|{site}|{row['id']}"))
        event.add("summary", f"{_told(stale)}{row['level']}: {row['says'].split(': ', 1)[0]}")
        event.add("dtstart", begins.astimezone(UTC))
        event.add("dtend", max(ends, begins + timedelta(minutes=30)).astimezone(UTC))
        event.add("description", "\n".join([row["says"], *row["advice"]]))
        event.add("location", row["surface"] or site)
        event.add("categories", ["warning"])
        event.add("status", "CONFIRMED")
        event.add("transp", "TRANSPARENT")
        events.append(event)
    return events


def _stood_down(old: Mapping[str, Event], now: set[str], made_at: datetime) -> list[Event]:
    """Warnings of the feed before that are no more, as cancelled until they would have been over."""
    events = []
    for uid, event in old.items():
        kinds = event.categories
        if uid in now or "warning" not in kinds or event.decoded("DTEND") <= made_at:
            continue
        if str(event.get("STATUS")) != "CANCELLED":
            summary = f"Stood down: {event['SUMMARY']}"
            for name in ("SUMMARY", "STATUS"):
                del event[name]
            event.add("summary", summary)
            event.add("status", "CANCELLED")
            event["X-HAYSEL-CHANGED"] = "1"
        events.append(event)
    return events


def _number(event: Event, old: Event | None, made_at: datetime) -> None:
    """Sequence and times of change: those of the event before where nothing was told anew."""
    changed = old is None or old is event and "X-HAYSEL-CHANGED" in event or _content(old) != _content(event)
    if old is not None and not changed:
        kept = {name: old[name] for name in ("SEQUENCE", "LAST-MODIFIED", "DTSTAMP")}
        for name, value in kept.items():
            event[name] = value
        return
    first = int((made_at - _EPOCH) / timedelta(minutes=1))
    sequence = max(first, int(str(old["SEQUENCE"])) + 1) if old is not None else first
    for name in ("SEQUENCE", "LAST-MODIFIED", "DTSTAMP", "X-HAYSEL-CHANGED"):
        event.pop(name, None)
    event.add("sequence", sequence)
    event.add("last-modified", made_at)
    event.add("dtstamp", made_at)


def _content(event: Event) -> tuple[Any, ...]:
    return tuple(event[name].to_ical() if name in event else None for name in _TOLD)


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


def _told(stale: bool) -> str:
    return "(old forecast) " if stale else ""
