"""The sentence of the day: the first work of the week, tomorrow's best spray, the gravest warning."""

from __future__ import annotations

from collections.abc import Iterable
from datetime import datetime, timedelta
from zoneinfo import ZoneInfo

from planner.reports.best import best_of, why_not
from planner.reports.cautions import short_caution
from planner.reports.rows import JobRow, Report, WarningRow, WorkRow
from planner.reports.sentences import job_on
from planner.reports.stretches import stretches
from planner.terms import LABEL_CAUTION, PLAY, first_up, short_date

#: Longest state a home hub keeps (255 characters in the one whose sensor page we read).
LONGEST = 255
#: Put before the sentence when the forecast is too old.
OLD = "Old forecast"


def headline(report: Report) -> str:
    """The first work of the week still to come, tomorrow's best spray of a wanted job, the gravest warning."""
    parts = [first_work(report), tomorrow_spray(report)]
    if report.warnings:
        gravest = report.warnings[0]
        parts.append(_lower(first_clause(gravest.says)) + _keep_off(gravest, report))
    text = "; ".join(part for part in parts if part) + "."
    return cut(f"{_old(report)}{_lower(text)}" if report.forecast.stale else text)


def _keep_off(row: WarningRow, report: Report) -> str:
    """Until when frost on the leaf keeps feet off; nothing where frozen soil does so for longer."""
    off = row.figures.get("off_frost_at")
    if not isinstance(off, str) or row.figures.get("soil") == "frozen":
        return ""
    return f", keep off until {datetime.fromisoformat(off).astimezone(ZoneInfo(report.site.timezone)):%H:%M}"


def _old(report: Report) -> str:
    """That the forecast is too old, and how old, before anything that rests on it."""
    age_h = report.forecast.age_h
    return f"{OLD}: " if age_h is None else f"{OLD}, {age_h:.0f} h: "


def first_work(report: Report) -> str:
    """What is placed or planned next, and when; or that nothing is, and why."""
    now, zone = report.as_of, ZoneInfo(report.site.timezone)
    coming = [row for row in report.week.coming(now) if row.kind != PLAY]
    if coming:
        first = min(coming, key=lambda row: (row.start.timestamp(), row.job, row.surface))
        where = _surfaces(first, coming)
        return f"{_named(first, where)} {_when(first, now, zone)}{_label_first(report, first.job)}"
    waiting = len(report.week.left)
    if waiting:
        return f"No hour of this week is found for {waiting} {'job' if waiting == 1 else 'jobs'} that should be done"
    return "No work is wanted or due"


def tomorrow_spray(report: Report) -> str:
    """The best window of a wanted spray tomorrow, or why there is none; empty where no spray is wanted."""
    now, zone = report.as_of, ZoneInfo(report.site.timezone)
    tomorrow = now.astimezone(zone).date() + timedelta(days=1)
    wanted = [(row.job, row.surface) for row in report.wanted if row.kind == "spraying"]
    if not wanted:
        return ""
    best = best_of(report, wanted, tomorrow)
    if best is None:
        why = why_not(report, wanted, tomorrow)
        return f"no spray hour tomorrow{f' ({why})' if why else ''}"
    start, latest = best.start.astimezone(zone), best.latest_start.astimezone(zone)
    begins = max(start, datetime.combine(tomorrow, datetime.min.time(), zone))
    room = "only just" if best.state == "narrow" else stretches(best)
    hours = (
        f"start {begins:%H:%M}–{latest:%H:%M}{f', {room}' if room else ''}{_label_first(report, best.job)}"
    )
    return f"tomorrow's best spray: {job_on(best.label, best.surface)}, {hours}"


def _label_first(report: Report, job: str) -> str:
    """A word of caution where a label binds the job; the line itself stands beside it elsewhere."""
    return " (label first)" if short_caution(report, job) == LABEL_CAUTION else ""


def cut(text: str) -> str:
    """The text, cut to what a hub keeps."""
    return text if len(text) <= LONGEST else text[: LONGEST - 1].rstrip() + "…"


def first_clause(says: str) -> str:
    """The first clause of a warning: what and when, without its figures."""
    head, _, rest = says.partition(": ")
    if rest and " " not in head:
        # One word alone, such as `Overdue`, says nothing yet.
        head = f"{head} {rest.split(' (', 1)[0]}"
    return head.split(". ", 1)[0].rstrip(".")


def _surfaces(first: WorkRow, rows: Iterable[WorkRow]) -> list[str]:
    """The surfaces on which the same work is done in the same hour."""
    return [
        row.surface for row in rows if (row.job, row.start, row.end) == (first.job, first.start, first.end)
    ]


def _named(row: JobRow, surfaces: list[str]) -> str:
    """The job and where, without saying the surface twice."""
    where = " and ".join(dict.fromkeys(surfaces))
    label = first_up(row.label)
    return label if label.endswith(where) else f"{label} on the {where}"


def _when(row: WorkRow, now: datetime, zone: ZoneInfo) -> str:
    start, end = row.start.astimezone(zone), row.end.astimezone(zone)
    ahead = (start.date() - now.astimezone(zone).date()).days
    day = {0: "", 1: "tomorrow "}.get(ahead, f"{short_date(start)} ")
    only_just = ", only just" if row.state == "narrow" else ""
    return f"{day}{start:%H:%M}–{end:%H:%M}{only_just}"


def _lower(text: str) -> str:
    return f"{text[:1].lower()}{text[1:]}"
