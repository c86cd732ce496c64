"""The best hours for a job, or why there are none: one line, and the two lines of the morning."""

from __future__ import annotations

from collections.abc import Collection, Iterable
from datetime import date, datetime, time, timedelta
from zoneinfo import ZoneInfo

from planner.reports.cautions import short_caution
from planner.reports.mine import is_mine
from planner.reports.rows import JobRow, Report, RunRow, WindowRow, WorkRow
from planner.reports.sentences import job_on
from planner.reports.stretches import as_sentence, stretches
from planner.terms import CALENDAR_NEEDS, PLAY, SPRAYING, first_up, short_date

Pairs = Collection[tuple[str, str]]


def best_of(report: Report, pairs: Pairs, day: date | None) -> WindowRow | None:
    """The best window of these jobs and surfaces, on the local day where one is named; None where there is none.

    What the week's order has placed there comes first, so that the two never disagree; then what is due by then;
    then the better rank.
    """
    zone = ZoneInfo(report.site.timezone)
    windows = [
        row
        for row in report.windows
        if (row.job, row.surface) in pairs and (day is None or is_on(row, day, zone))
    ]
    placed = {
        (one.job, one.surface)
        for one in report.week.work
        if day is None or one.start.astimezone(zone).date() == day
    }
    until = report.forecast.until if day is None else _midnight(day + timedelta(days=1), zone)
    due = {
        (one.job, one.surface)
        for one in report.due
        if one.state in ("due", "overdue") or (one.due_at is not None and one.due_at < until)
    }

    def order(row: WindowRow) -> tuple[bool, bool, int]:
        pair = (row.job, row.surface)
        return pair not in placed, pair not in due, row.rank

    return min(windows, key=order, default=None)


def is_on(row: WindowRow, day: date, zone: ZoneInfo) -> bool:
    """Whether work may be begun on that local day."""
    return row.start.astimezone(zone).date() <= day <= row.latest_start.astimezone(zone).date()


def _midnight(day: date, zone: ZoneInfo) -> datetime:
    return datetime.combine(day, time(0), zone)


def wanted_first(report: Report, rows: Iterable[JobRow]) -> Pairs:
    """Of the jobs and surfaces those that the keeper wants; where none is wanted, those the keeper does, else all."""
    asked = {(row.job, row.surface) for row in rows}
    wanted = {(row.job, row.surface) for row in report.wanted} & asked
    return wanted or {pair for pair in asked if is_mine(report, pair[0])} or asked


def best_line(report: Report, job: str | None, surface: str | None, day: date | None) -> str:
    """`Best: foliar feed, green, Fri 8 May 17:00–19:00, start by 18:15. Only just: …`, or that there is none.

    `job` is a job or a kind. With the line of caution where a label binds the job.
    """
    asked = [
        row
        for row in report.ribbons
        if job in (None, "", row.job, row.kind) and surface in (None, "", row.surface)
    ]
    pairs = wanted_first(report, asked)
    if report.forecast.stale:
        return "Best: not known; the forecast is too old."
    best = best_of(report, pairs, day)
    when = f" on {short_date(day)}" if day is not None else " in this forecast"
    if best is None:
        why = why_not(report, pairs, day)
        return f"Best: none{when}{f': {why}' if why else ''}."
    caution = short_caution(report, best.job)
    parts = [
        f"Best: {_told(report, best, day)}",
        as_sentence(best),
        best.limiting.says,
        meanwhile(report, best),
        caution,
    ]
    return " ".join(part for part in parts if part)


def meanwhile(report: Report, row: WindowRow) -> str:
    """`Barrow sprayer: at North green Mon 30 Nov 11:00–11:45.` where what sites share has work elsewhere within a
    window; empty else."""
    zone = ZoneInfo(report.site.timezone)
    found = [
        one
        for one in report.week.elsewhere
        if one.kind in ("", row.kind) and one.start < row.end and one.end > row.start
    ]
    times = "; ".join(
        f"at {one.site} {short_date(one.start.astimezone(zone))} {one.start.astimezone(zone):%H:%M}–"
        f"{one.end.astimezone(zone):%H:%M}"
        for one in found
    )
    return f"{first_up(found[0].what)}: {times}." if found else ""


def next_of(report: Report, pairs: Pairs, since: datetime) -> WorkRow | WindowRow | None:
    """What of these jobs comes first from that moment on: the hour the week gave one, else the first window."""
    for rows in (report.week.coming(report.as_of), report.windows):
        found = [row for row in rows if (row.job, row.surface) in pairs and row.start >= since]
        if found:
            return min(found, key=lambda row: (row.start.timestamp(), row.job, row.surface))
    return None


def why_not(report: Report, pairs: Pairs, day: date | None) -> str:
    """What takes most hours from these jobs, in trade words; empty where nothing is known to.

    Of a day it is the reason of the one that comes next after it: of several jobs each has its own.
    """
    barred = [
        row for row in report.barred if (row.job, row.surface) in pairs and row.because.need is not None
    ]
    if day is None and barred:
        # The list of what is barred tells a known bar before what is not known.
        says = max(barred, key=lambda row: row.because.hours_lost).because.says
        what = says.removeprefix("Not known: ").partition(" (")[0].partition(". ")[0].rstrip(".")
        return f"{what[:1].lower()}{what[1:]}"
    lost: dict[str, float] = {}
    clauses: dict[str, str] = {}
    zone = ZoneInfo(report.site.timezone)
    if day is not None:
        following = next_of(report, pairs, _midnight(day + timedelta(days=1), zone))
        pairs = pairs if following is None else [(following.job, following.surface)]
    begins = report.as_of if day is None else _midnight(day, zone)
    ends = report.forecast.until if day is None else begins + timedelta(days=1)
    sun = next((row for row in report.days if day is not None and row.date == day.isoformat()), None)
    if sun is not None and sun.sunrise is not None and sun.sunset is not None:
        # What closes the night is no reason for a day without an hour.
        begins, ends = max(begins, sun.sunrise), min(ends, sun.sunset)
    for ribbon in report.ribbons:
        if (ribbon.job, ribbon.surface) not in pairs:
            continue
        for run in ribbon.runs:
            hours = (min(run.end, ends) - max(run.start, begins)) / timedelta(hours=1)
            if hours > 0 and _takes_hours(run):
                lost[run.label] = lost.get(run.label, 0.0) + hours
                clauses[run.label] = _clause(run)
    return clauses[max(lost, key=lambda label: lost[label])] if lost else ""


def _clause(run: RunRow) -> str:
    """What is wrong, from the sentence of a run: without its state and its figures."""
    what = run.says.partition(": ")[2].partition(" (")[0].rstrip(".")
    return what or run.label


def _takes_hours(run: RunRow) -> bool:
    return run.state in ("broken", "barred", "unread") and run.need not in CALENDAR_NEEDS


def _told(report: Report, row: WindowRow, day: date | None) -> str:
    """Job, surface, hours and latest start."""
    zone = ZoneInfo(report.site.timezone)
    start, end, latest = (one.astimezone(zone) for one in (row.start, row.end, row.latest_start))
    if day is not None:
        start = max(start, _midnight(day, zone))
    by = f"{latest:%H:%M}" if latest.date() == start.date() else f"{short_date(latest)} {latest:%H:%M}"
    return f"{job_on(row.label, row.surface)}, {short_date(start)} {start:%H:%M}–{end:%H:%M}, start by {by}."


def morning_lines(report: Report) -> tuple[str, str]:
    """What a keeper reads first: today's work, and tomorrow's best spray with what would spoil it."""
    return _today(report), _tomorrow(report)


def _today(report: Report) -> str:
    zone = ZoneInfo(report.site.timezone)
    today = report.as_of.astimezone(zone).date()
    rows = [row for row in report.week.coming(report.as_of) if row.start.astimezone(zone).date() == today]
    if not rows:
        left = len(report.week.left)
        found = f"; {left} {'job has' if left == 1 else 'jobs have'} no hour this week" if left else ""
        return f"Today: nothing is placed{found}."
    rows.sort(key=lambda row: (row.start.timestamp(), row.job, row.surface))
    told = []
    for row in rows:
        just = ", only just" if row.state == "narrow" else ""
        start, end = row.start.astimezone(zone), row.end.astimezone(zone)
        if row.kind == PLAY:
            told.append(f"{job_on(row.label, row.surface)}, from {start:%H:%M}")
            continue
        told.append(f"{job_on(row.label, row.surface)} {start:%H:%M}–{end:%H:%M}{just}")
    caution = next((said for row in rows if (said := short_caution(report, row.job))), "")
    return f"Today: {'; '.join(told)}.{f' {caution}' if caution else ''}"


def _tomorrow(report: Report) -> str:
    zone = ZoneInfo(report.site.timezone)
    day = report.as_of.astimezone(zone).date() + timedelta(days=1)
    sprays = [row for row in report.ribbons if row.kind == SPRAYING]
    if not sprays:
        return "Tomorrow: no spray is set up."
    if report.forecast.stale:
        return "Tomorrow: not known; the forecast is too old."
    pairs = wanted_first(report, sprays)
    best = best_of(report, pairs, day)
    if best is None:
        why = why_not(report, pairs, day)
        return f"Tomorrow: no hour to spray{f': {why}' if why else ''}."
    caution = short_caution(report, best.job)
    says = best.limiting.says
    parts = [_told(report, best, day)[:-1], stretches(best), f"{says[:1].lower()}{says[1:]}"]
    told = "; ".join(part for part in parts if part)
    return f"Tomorrow's best spray: {told}{f' {caution}' if caution else ''}"
