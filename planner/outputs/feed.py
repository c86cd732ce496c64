"""What a calendar tells of a report: the week's order, warnings and windows, each the same entry while it is the same.

An entry keeps its id: the same job on the same surface on the same day, nearest to what it was, or the same warning.
One that has not changed since it was drawn last keeps its sequence and its time of change, so that a reader sees no
update; one that has changed gets the next sequence number. What is drawn last is kept between runs of the service.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from datetime import UTC, date, datetime, timedelta
from hashlib import sha256
from zoneinfo import ZoneInfo

import msgspec
from msgspec import Struct
from msgspec.structs import replace

from planner.reports.cautions import short_caution
from planner.reports.retold import for_people
from planner.reports.rows import Report, WarningRow, WindowRow, WorkRow
from planner.reports.sentences import job_on
from planner.reports.stretches import as_sentence
from planner.terms import first_up

WORK, WINDOW, WARNING = "work", "window", "warning"
TENTATIVE, CONFIRMED, CANCELLED = "TENTATIVE", "CONFIRMED", "CANCELLED"
#: Sequence numbers begin with the minutes since then, so that they still rise when what was drawn before is lost.
_EPOCH = datetime(2025, 1, 1, tzinfo=UTC)
#: How long a warning is shown whose end nobody knows, and the least that any is.
_OPEN, _LEAST = timedelta(hours=1), timedelta(minutes=30)


class Entry(Struct, frozen=True, kw_only=True):
    """One event of the feed. Times are in UTC."""

    uid: str
    sort: str
    """`work`, `window` or `warning`."""
    job: str
    kind: str
    """The kind of the job; of a warning `warning`."""
    surface: str
    """Empty where it holds for the whole site."""
    place: str
    start: datetime
    end: datetime
    summary: str
    description: str
    status: str
    sequence: int = 0
    changed: datetime = _EPOCH


class Feed:
    """The entries of the newest report, numbered by what was drawn before."""

    def __init__(self, kept: bytes | None = None) -> None:
        """`kept` is what `kept()` gave, of this run or an earlier one; one that cannot be read is as none."""
        self._entries: dict[str, Entry] = {}
        if kept is not None:
            try:
                self._entries = {one.uid: one for one in msgspec.json.decode(kept, type=tuple[Entry, ...])}
            except msgspec.DecodeError:
                self._entries = {}

    def kept(self) -> bytes:
        """What was drawn last, to be handed to the next run."""
        return msgspec.json.encode(tuple(self._entries.values()))

    def entries(self, report: Report) -> tuple[Entry, ...]:
        """Every entry of the report, and the warnings that ended before their time."""
        report = for_people(report, report.site.units)
        now = report.as_of.astimezone(UTC).replace(microsecond=0)
        before, zone = self._entries.values(), ZoneInfo(report.site.timezone)
        found = list(_as_before([*_of_work(report), *_of_windows(report)], before, now, zone))
        found += _of_warnings(report)
        found += _ended(before, {one.uid for one in found}, now)
        self._entries = {one.uid: _numbered(one, self._entries.get(one.uid), now) for one in found}
        return tuple(self._entries.values())


def _of_work(report: Report) -> Iterator[Entry]:
    """Work in the hour that the week gives it, and what the keeper planned."""
    rows = [*((row, False) for row in report.week.work), *((row, True) for row in report.week.planned)]
    for row, is_planned in sorted(rows, key=lambda one: (one[0].start.timestamp(), one[0].job)):
        window = _window_of(row, report)
        lines = ["Planned by you." if is_planned else "The week's order gives it this hour."]
        if window is not None:
            lines.append(f"Start by {window.latest_start:%H:%M}.")
        if row.limiting is not None:
            lines.append(row.limiting.says)
        lines += [line for line in (row.tank, short_caution(report, row.job)) if line]
        only_just = ", only just" if row.state == "narrow" else ""
        yield Entry(
            uid=_uid(WORK, report, _key(row)),
            sort=WORK,
            job=row.job,
            kind=row.kind,
            surface=row.surface,
            place=row.surface,
            start=row.start.astimezone(UTC),
            end=max(row.end.astimezone(UTC), row.start.astimezone(UTC) + _LEAST),
            summary=f"{_age(report)}{first_up(job_on(row.label, row.surface))}{only_just}",
            description="\n".join(lines),
            status=CONFIRMED if is_planned else TENTATIVE,
        )


def _window_of(row: WorkRow, report: Report) -> WindowRow | None:
    pair, at = (row.job, row.surface), row.start.timestamp()
    mine = (one for one in report.windows if (one.job, one.surface) == pair)
    return next((one for one in mine if one.start.timestamp() <= at <= one.latest_start.timestamp()), None)


def _of_windows(report: Report) -> Iterator[Entry]:
    for row in sorted(report.windows, key=lambda row: (row.job, row.surface, row.start.timestamp())):
        only_just = ", only just" if row.state == "narrow" else ""
        room, caution = as_sentence(row), short_caution(report, row.job)
        share = "" if row.share is None else f"{row.share:.0%} of the forecast's members hold."
        lines = [f"Start by {row.latest_start:%H:%M}.", room, row.limiting.says, share, caution]
        yield Entry(
            uid=_uid(WINDOW, report, _key(row)),
            sort=WINDOW,
            job=row.job,
            kind=row.kind,
            surface=row.surface,
            place=row.surface,
            start=row.start.astimezone(UTC),
            end=row.end.astimezone(UTC),
            summary=f"{_age(report)}Window: {job_on(row.label, row.surface)}{only_just}",
            description="\n".join(line for line in lines if line),
            status=TENTATIVE,
        )


def _of_warnings(report: Report) -> Iterator[Entry]:
    for row in report.warnings:
        ends = row.begins + _OPEN if row.ends is None else row.ends
        if row.ends is not None and row.ends <= report.as_of:
            # A frost of a night that is over is no news.
            continue
        yield Entry(
            uid=_uid(WARNING, report, row.id),
            sort=WARNING,
            job="",
            kind=WARNING,
            surface=row.surface or "",
            place=row.surface or report.site.name,
            start=row.begins.astimezone(UTC),
            end=max(ends.astimezone(UTC), row.begins.astimezone(UTC) + _LEAST),
            summary=f"{_age(report)}{row.level}: {_first(row)}",
            description="\n".join([row.says, *row.advice]),
            status=CONFIRMED,
        )


def _first(row: WarningRow) -> str:
    return row.says.split(": ", 1)[0]


def _ended(before: Iterable[Entry], here: set[str], now: datetime) -> Iterator[Entry]:
    """Warnings drawn before that are no more, as cancelled until they would have been over."""
    for one in before:
        if one.sort != WARNING or one.uid in here or one.end <= now:
            continue
        is_new = one.status != CANCELLED
        yield replace(one, status=CANCELLED, summary=f"Over: {one.summary}" if is_new else one.summary)


def _numbered(entry: Entry, before: Entry | None, now: datetime) -> Entry:
    """Sequence and time of change: those of the entry before where nothing has changed."""
    if before is not None:
        same = replace(entry, sequence=before.sequence, changed=before.changed)
        if same == before:
            return same
    first = int((now - _EPOCH) / timedelta(minutes=1))
    sequence = first if before is None else max(first, before.sequence + 1)
    return replace(entry, sequence=sequence, changed=now)


def _key(row: WindowRow | WorkRow) -> str:
    """The job on its surface, in the hour in which it is found first."""
    return f"{row.job}|{row.surface}|{row.start:%Y-%m-%dT%H}"


def _as_before(found: list[Entry], before: Iterable[Entry], now: datetime, zone: ZoneInfo) -> Iterator[Entry]:
    """Each with the uid of the entry that it was: the one nearest to it of its job, surface and day.

    One that is over hands its uid to nobody: else the window of the afternoon would be taken for that of the morning.
    """

    def of_day(entry: Entry) -> tuple[str, str, str, date]:
        return entry.sort, entry.job, entry.surface, entry.start.astimezone(zone).date()

    open_: dict[tuple[str, str, str, date], list[Entry]] = {}
    for old in before:
        if old.sort != WARNING and old.end > now:
            open_.setdefault(of_day(old), []).append(old)
    pairs = sorted(
        (abs(entry.start - old.start), at, old.uid)
        for at, entry in enumerate(found)
        for old in open_.get(of_day(entry), ())
    )
    uids: dict[int, str] = {}
    taken: set[str] = set()
    for _, at, uid in pairs:
        if at not in uids and uid not in taken:
            uids[at] = uid
            taken.add(uid)
    for at, entry in enumerate(found):
        uid, again = uids.get(at, entry.uid), 1
        while at not in uids and uid in taken:
            again += 1
            uid = f"{again}-{entry.uid}"
        taken.add(uid)
        yield replace(entry, uid=uid)


def _uid(sort: str, report: Report, key: str) -> str:
    return f"{sha256(f'{sort}|{report.site.key}|{key}'.encode()).hexdigest()[:32]}@haysel"


def _age(report: Report) -> str:
    return "(old forecast) " if report.forecast.stale else ""
