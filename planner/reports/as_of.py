"""A report as it reads at a later moment: older, perhaps stale, and without what is over.

A window, a warning or work in order that is over is said to be: none of them drops out in silence.
"""

from __future__ import annotations

from collections.abc import Iterator
from datetime import UTC, datetime, time, timedelta
from zoneinfo import ZoneInfo

from msgspec.structs import replace

from planner.reports.rows import (
    BarredRow,
    Because,
    EndedRow,
    ForecastRow,
    HourColumns,
    JobRow,
    LeftRow,
    Limiting,
    Report,
    RunRow,
    StartHour,
    WarningRow,
    WeekRow,
    WindowRow,
    WorkRow,
)
from planner.reports.surface_rows import A_DAY, DueRow, SeedRow, state_of_due
from planner.terms import short_date, turned

_HOUR = timedelta(hours=1)
#: A start is still in time within this second.
_LAST_SECOND = timedelta(seconds=1)
#: A stale report tells its age; that is worked out anew this often.
_STALE_HOLDS = timedelta(minutes=1)


def as_of(report: Report, now: datetime) -> Report:
    """The report as it reads at `now`. Pure: the same report and moment give the same rows."""
    # In UTC: the difference of two moments on one local clock leaves out the hour that a clock change moves.
    now = now.astimezone(UTC)
    if now <= report.as_of:
        return report
    zone = ZoneInfo(report.site.timezone)
    today = now.astimezone(zone).date().isoformat()
    runs = {_pair(row): row.runs for row in report.ribbons}
    windows = tuple(
        _window(row, runs.get(_pair(row), ()), now)
        for row in report.windows
        if now - row.latest_start.astimezone(UTC) < _LAST_SECOND
    )
    return replace(
        report,
        as_of=now,
        forecast=forecast_as_of(report.forecast, now),
        windows=windows,
        barred=_barred(report, windows, now),
        warnings=tuple(_warning(row, report, now) for row in report.warnings if not _is_over(row, now)),
        ended=(
            *(replace(row, says=_turned(row.says, report, now)) for row in report.ended),
            *(_ended(_warning(row, report, now)) for row in report.warnings if _is_over(row, now)),
        ),
        days=tuple(row for row in report.days if row.date >= today),
        hours=_hours(report.hours, now),
        ribbons=tuple(
            replace(row, runs=tuple(run for run in row.runs if run.end > now)) for row in report.ribbons
        ),
        ground=tuple(
            replace(
                row,
                underfoot=tuple(run for run in row.underfoot if run.end > now),
                seed=_seeds(row.seed, now),
            )
            for row in report.ground
        ),
        surfaces=tuple(replace(row, seed=_seeds(row.seed, now)) for row in report.surfaces),
        due=tuple(_due(row, windows, now) for row in report.due),
        week=_week(report.week, now),
    )


def holds_until(report: Report) -> datetime:
    """The first moment at which `as_of` gives other rows than these."""
    now, zone = report.as_of, ZoneInfo(report.site.timezone)
    stale_at = now + _STALE_HOLDS if report.forecast.stale else report.forecast.stale_at
    # Counted in UTC: the hour that a clock repeats in autumn is an hour like any other.
    next_hour = now.astimezone(UTC).replace(minute=0, second=0, microsecond=0) + _HOUR
    tomorrow = now.astimezone(zone).date() + timedelta(days=1)
    midnight = datetime.combine(tomorrow, time(0), zone)
    return min(one for one in (*_ends(report), next_hour, midnight, stale_at) if one > now)


def _ends(report: Report) -> Iterator[datetime]:
    """When a row is over, or a window begins; a window still holds in the second of its last start."""
    yield from (row.start for row in report.windows)
    # In UTC: a sum on a local clock forgets which of the two hours shown alike in autumn it is in.
    yield from (row.latest_start.astimezone(UTC) + _LAST_SECOND for row in report.windows)
    yield from (row.next_window for row in report.barred if row.next_window is not None)
    yield from (row.ends for row in report.warnings if row.ends is not None)
    yield from (row.end for row in (*report.week.work, *report.week.planned))
    yield from (row.end for row in report.week.elsewhere)
    for row in report.due:
        if row.due_at is not None:
            due_at = row.due_at.astimezone(UTC)
            yield from (due_at - A_DAY, due_at + A_DAY)
    seeds = (row for one in report.ground for row in one.seed)
    yield from (row.wash_at.astimezone(UTC) + _HOUR for row in seeds if row.wash_at is not None)


def forecast_as_of(forecast: ForecastRow, now: datetime) -> ForecastRow:
    """Its age since it was issued, or since it was fetched where that is all that is known; and whether it is stale."""
    since = forecast.issued_at or forecast.fetched_at
    age_h = forecast.age_h if since is None else round(max(0.0, (now - since) / _HOUR), 2)
    return replace(forecast, age_h=age_h, stale=forecast.stale or now >= forecast.stale_at)


def _warning(row: WarningRow, report: Report, now: datetime) -> WarningRow:
    """A warning told for a day that has become another one, and so much nearer."""
    return replace(
        row,
        lead_h=round((row.begins - now) / _HOUR, 1),
        says=_turned(row.says, report, now),
        advice=tuple(_turned(text, report, now) for text in row.advice),
    )


def _turned(text: str, report: Report, now: datetime) -> str:
    return turned(text, report.as_of, now, ZoneInfo(report.site.timezone))


def _is_over(row: WarningRow, now: datetime) -> bool:
    return row.ends is not None and row.ends <= now


def _ended(row: WarningRow) -> EndedRow:
    return EndedRow(id=row.id, says=f"Its time has passed: {row.says}")


def _window(row: WindowRow, runs: tuple[RunRow, ...], now: datetime) -> WindowRow:
    """A window that has begun is as good as the best of the hours that are left of it."""
    # Subtracted and not added: a sum on a local clock leaves out the hour that a clock change moves.
    left = tuple(hour for hour in row.hours if now - hour.start < _HOUR)
    if not left or len(left) == len(row.hours):
        return row
    best = max(left, key=lambda hour: (hour.state == "steady", hour.score or 0.0))
    if now - row.best_start < _HOUR:
        return replace(row, hours=left)
    at = best.start.timestamp()
    run = next((run for run in runs if run.start.timestamp() <= at < run.end.timestamp()), None)
    room = _room(left, best)
    changed = replace(
        row,
        hours=left,
        state=best.state,
        score=best.score,
        best_start=best.start,
        steady_from=room[0],
        steady_until=room[1],
    )
    if run is None:
        return changed
    # A run keeps the sentence of its tightest hour, and no figure.
    limiting = Limiting(need=run.need, label=run.label, value=None, unit="", says=run.says)
    return replace(changed, limiting=limiting)


def _room(hours: tuple[StartHour, ...], best: StartHour) -> tuple[datetime | None, datetime | None]:
    """The steady hours around the best of them, from the first to the end of the last; None where it is not steady."""
    if best.state != "steady":
        return None, None
    low = high = hours.index(best)
    while low > 0 and hours[low - 1].state == "steady":
        low -= 1
    while high + 1 < len(hours) and hours[high + 1].state == "steady":
        high += 1
    # In UTC and back: an hour added on a local clock forgets a clock change.
    end = hours[high].start.astimezone(UTC) + _HOUR
    return hours[low].start, end.astimezone(hours[high].start.tzinfo)


def _seeds(rows: tuple[SeedRow, ...], now: datetime) -> tuple[SeedRow, ...]:
    """Seed grows older; a wash that is over is no longer one that is coming."""
    return tuple(
        replace(
            row,
            age_d=round((now - row.sown_at) / timedelta(days=1), 1),
            wash_max=None if _has_washed(row, now) else row.wash_max,
            wash_at=None if _has_washed(row, now) else row.wash_at,
        )
        for row in rows
    )


def _has_washed(row: SeedRow, now: datetime) -> bool:
    return row.wash_at is not None and now - row.wash_at >= _HOUR


def _hours(hours: HourColumns, now: datetime) -> HourColumns:
    gone = min(hours.count, max(0, int((now - hours.first) / _HOUR)))
    if gone == 0:
        return hours
    return HourColumns(
        first=hours.first + gone * _HOUR,
        count=hours.count - gone,
        columns={name: values[gone:] for name, values in hours.columns.items()},
    )


def _pair(row: JobRow) -> tuple[str, str]:
    return row.job, row.surface


def _barred(report: Report, windows: tuple[WindowRow, ...], now: datetime) -> tuple[BarredRow, ...]:
    """A barred job's next window is one still to come; a job left without a window is listed with the reason."""
    ahead: dict[tuple[str, str], datetime] = {}
    for window in windows:
        ahead[_pair(window)] = min(window.start, ahead.get(_pair(window), window.start))
    kept = []
    for row in report.barred:
        if row.next_window is not None and row.next_window <= now:
            start = ahead.get(_pair(row))
            if start is not None and start <= now:
                # Its window has come: it is barred no more.
                continue
            row = _without(row) if start is None else replace(row, next_window=start)
        kept.append(row)
    listed = {_pair(row) for row in kept}
    first = {_pair(row): row for row in reversed(report.windows)}
    gone = [row for pair, row in first.items() if pair not in ahead and pair not in listed]
    return (*kept, *(_without(row) for row in gone))


def _without(row: JobRow) -> BarredRow:
    """A job whose windows in this report have all passed."""
    return BarredRow(
        job=row.job,
        label=row.label,
        kind=row.kind,
        surface=row.surface,
        next_window=None,
        because=Because(
            need=None,
            says="Its windows in this report have passed; the next pass looks for more.",
            hours_lost=0,
        ),
        hours_unread=0,
    )


def _due(row: DueRow, windows: tuple[WindowRow, ...], now: datetime) -> DueRow:
    mine = (one for one in windows if _pair(one) == (row.job, row.surface))
    window = min(mine, key=lambda one: one.start.timestamp(), default=None)
    overdue_h = row.overdue_h
    if row.due_at is not None:
        overdue_h = round(max(0.0, (now - row.due_at) / _HOUR), 1)
    return replace(
        row,
        # Work without a time keeps its state: only a diary entry or a pass changes that.
        state=row.state if row.due_at is None else state_of_due(row.due_at, False, now),
        overdue_h=overdue_h,
        next_start=None if window is None else window.start,
        next_latest_start=None if window is None else window.latest_start,
    )


def _week(week: WeekRow, now: datetime) -> WeekRow:
    """Work whose hour has passed is listed as without one, since nobody here knows whether it was done."""
    past = [row for row in week.work if row.end <= now]
    planned = tuple(row for row in week.planned if row.end > now)
    elsewhere = tuple(row for row in week.elsewhere if row.end > now)
    if not past:
        return replace(week, planned=planned, elsewhere=elsewhere)
    ahead = tuple(row for row in week.work if row.end > now)
    left = (*(_passed(row) for row in past), *week.left)
    return replace(
        week,
        work=ahead,
        left=left,
        planned=planned,
        elsewhere=elsewhere,
        says=(
            f"{len(ahead)} of {len(ahead) + len(left)} jobs have their hour still to come; the hour of "
            f"{len(past)} has passed since the week was planned."
        ),
    )


def _passed(row: WorkRow) -> LeftRow:
    return LeftRow(
        job=row.job,
        label=row.label,
        kind=row.kind,
        surface=row.surface,
        says=(
            f"its hour, {short_date(row.start)} {row.start:%H:%M}–{row.end:%H:%M}, has passed: write it down if it "
            "is done; the next pass plans the week anew"
        ),
        because=row.because,
    )
