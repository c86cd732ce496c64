"""The page a keeper opens in the morning: three lines, one picture, what is due, what to watch."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import UTC, date, datetime, timedelta

from planner.page.axis import HOUR, View, local, this_hour, views
from planner.page.brief import needs_label, three_lines
from planner.page.job_lines import JobLine, job_lines
from planner.page.layout import clock_of, write
from planner.page.picture import TOUCH_H, gust_limit, narrow_picture, wide_picture
from planner.page.plots import gust_2m_kmh
from planner.page.rows import DayCard, Hour, SiteClock, cautions, days, hours, place
from planner.reports.headline import headline
from planner.reports.mine import is_mine
from planner.reports.retold import for_people
from planner.reports.rows import BarredRow, Report, RibbonRow, RunRow, WindowRow
from planner.reports.surface_rows import DueRow
from planner.reports.workings import Workings
from planner.terms import CALENDAR_NEEDS, PLAY, STATE_WORDS

#: Days of the tables under the picture.
_DAYS = 7


@dataclass(frozen=True, slots=True, kw_only=True)
class DueLine:
    """What is due, when, and whether it has its hour."""

    when: str
    due: DueRow
    order: datetime | None


@dataclass(frozen=True, slots=True, kw_only=True)
class DayLine:
    """A day of the picture as a row of its table."""

    card: DayCard
    chance_pct: float | None
    gust_kmh: float | None
    over_h: int | None
    """Hours over the limit of gusts; None without a limit or without gusts."""
    grass_low_c: float | None
    grass_high_c: float | None
    frost: str
    """From when until when the grass is at or below zero; empty for none, a dash where it is not known."""


@dataclass(frozen=True, slots=True, kw_only=True)
class OtherLine:
    """A job that is not wanted, on the surfaces where the same is said of it."""

    ribbon: RibbonRow
    surfaces: list[str]
    window: WindowRow | None
    barred: BarredRow | None


@dataclass(frozen=True, slots=True, kw_only=True)
class HoursOpened:
    """The hours that were touched: their weather, and what limits each job then."""

    start: datetime
    end: datetime
    rows: list[Hour]
    jobs: list[tuple[JobLine, list[RunRow]]]


def home(
    report: Report, workings: Workings | None = None, day: str | None = None, at: datetime | None = None
) -> bytes:
    """The morning. `day`, an ISO date, chooses the two days shown on a phone; `at` opens the hours from there on.

    Without workings the limit of gusts is not drawn.
    """
    report = for_people(report, report.site.units)
    now = clock_of(report)
    offered = views(report)
    chosen = chosen_view(offered, day, at)
    lines = job_lines(report)
    limit = gust_limit(report, workings)
    shown = {(line.job, line.surface) for line in lines}
    others = other_lines(report, [row for row in report.ribbons if (row.job, row.surface) not in shown])
    return write(
        "home.html.j2",
        report,
        headline=headline(report),
        three=three_lines(report),
        label_caution=needs_label(report),
        pictures=[narrow_picture(report, lines, chosen, limit), wide_picture(report, lines, limit)],
        views=offered,
        chosen=chosen,
        lines=lines,
        opened=None if at is None else opened(report, lines, at),
        due=due_lines(report, lines, now),
        left=report.week.left,
        plays=[row for row in report.week.planned if row.kind == PLAY],
        week=report.week,
        warnings=report.warnings,
        not_read=report.not_read,
        day_lines=day_lines(report, limit, now),
        limit=limit,
        work=[(line, windows_by_day(report, line, now)) for line in lines],
        mine=[one for one in others if is_mine(report, one.ribbon.job)],
        others=[one for one in others if not is_mine(report, one.ribbon.job)],
        cautions=cautions(report.ribbons),
    )


def chosen_view(offered: Sequence[View], day: str | None, at: datetime | None) -> View:
    """The pair of days that holds the day, or the touched hour; the first where none does."""
    wanted = at.date().isoformat() if at is not None and day is None else day
    return next(
        (
            view
            for view in offered
            if wanted in (view.first.isoformat(), (view.first + timedelta(days=1)).isoformat())
        ),
        offered[0],
    )


def opened(report: Report, lines: Iterable[JobLine], at: datetime) -> HoursOpened:
    """The hours from the touched one to the next quarter of the day."""
    zone = clock_of(report).zone
    start = at.astimezone(zone)
    # In UTC: an hour added on a local clock forgets a clock change.
    end = at.astimezone(UTC) + HOUR
    while end.astimezone(zone).hour % TOUCH_H:
        end += HOUR
    return HoursOpened(
        start=start,
        end=end.astimezone(zone),
        rows=hours(report, start, end),
        jobs=[(line, [run for run in line.runs if run.start < end and run.end > start]) for line in lines],
    )


def due_lines(report: Report, lines: Iterable[JobLine], now: SiteClock) -> list[DueLine]:
    """What is due, the most pressing first, each with its ordered hour."""
    orders = {(line.job, line.surface): line.first.start for line in lines if line.first is not None}
    found = [
        DueLine(when=_due_when(row, now), due=row, order=orders.get((row.job, row.surface)))
        for row in report.due
    ]
    rank = {"overdue": 0, "due": 1, "coming": 2, "not known": 3}
    return sorted(
        found,
        key=lambda line: (
            rank[line.due.state],
            line.due.due_at is None,
            line.due.due_at.timestamp() if line.due.due_at else 0.0,
        ),
    )


def _due_when(row: DueRow, now: SiteClock) -> str:
    if row.state == "overdue" and row.overdue_h is not None:
        days_over = round(row.overdue_h / 24)
        return f"{days_over} {'day' if days_over == 1 else 'days'} over"
    if row.state == "due":
        if row.due_at is None:
            return "no record"
        return "due now" if row.due_at <= now.now else f"due {now.near_day(row.due_at)}"
    return "not known" if row.due_at is None else now.near_day(row.due_at)


def day_lines(report: Report, limit: float | None, now: SiteClock) -> list[DayLine]:
    """The days of the wide picture in figures."""
    by_date: dict[date, list[Hour]] = {}
    for hour in hours(report, this_hour(report), report.forecast.until):
        by_date.setdefault(now.at(hour.time).date(), []).append(hour)
    found = []
    for card in days(report, now)[:_DAYS]:
        rows = by_date.get(card.date, [])
        gusts = _whole([gust_2m_kmh(row) for row in rows])
        chances = _whole([row["rain_chance_pct"] for row in rows])
        grass = _whole([row["grass_temp_c"] for row in rows])
        found.append(
            DayLine(
                card=card,
                chance_pct=max(chances, default=None),
                gust_kmh=max(gusts, default=None),
                over_h=None if limit is None or not gusts else sum(value > limit for value in gusts),
                grass_low_c=min(grass, default=None),
                grass_high_c=max(grass, default=None),
                frost=_frost(rows, now),
            )
        )
    return found


def _whole(values: Sequence[float | None]) -> list[float]:
    """The figures of a day where every hour has one; of a day with gaps none, since its highest is not known."""
    known = [value for value in values if value is not None]
    return known if len(known) == len(values) else []


def _frost(rows: Sequence[Hour], now: SiteClock) -> str:
    """The hours of the day in which the grass is at or below zero; a dash where some are not known."""
    spells: list[tuple[datetime, datetime]] = []
    for row in rows:
        value = row["grass_temp_c"]
        if value is None or value > 0:
            continue
        if spells and spells[-1][1] == row.time:
            spells[-1] = (spells[-1][0], row.time + HOUR)
        else:
            spells.append((row.time, row.time + HOUR))
    said = ", ".join(now.hours(a, b) for a, b in spells)
    is_whole = rows and all(row["grass_temp_c"] is not None for row in rows)
    return said if is_whole else f"{said} (not all read)" if said else "–"


def windows_by_day(report: Report, line: JobLine, now: SiteClock) -> list[str]:
    """`Fri 8 07:00–12:00 only just`; for a day without an hour what takes most of its daylight."""
    if report.forecast.stale:
        return ["not known: the forecast is too old"]
    found = []
    for ahead in range(_DAYS):
        day = now.now.date() + timedelta(days=ahead)
        begin = local(day, datetime.min.time(), now.zone)
        end = local(day + timedelta(days=1), datetime.min.time(), now.zone)
        runs = [run for run in line.runs if run.start < end and run.end > begin]
        held = [run for run in runs if run.state in ("steady", "narrow", "broken")]
        parts = [
            f"{now.hours(max(a, begin), min(b, end))} {STATE_WORDS[state]}" for a, b, state in _merged(held)
        ]
        if not parts:
            lost: dict[str, timedelta] = {}
            for run in runs:
                if not (run.state == "barred" and run.need in CALENDAR_NEEDS):
                    words = "not known" if run.state == "unread" else f"not now: {run.label}"
                    lost[words] = lost.get(words, timedelta()) + (min(run.end, end) - max(run.start, begin))
            parts = (
                [max(lost, key=lambda words: lost[words])]
                if lost
                else ["outside your hours" if runs else "not known"]
            )
        found.append(f"{day:%a} {day.day}: {', '.join(parts)}")
    return found


def _merged(runs: Iterable[RunRow]) -> list[tuple[datetime, datetime, str]]:
    found: list[tuple[datetime, datetime, str]] = []
    for run in runs:
        if found and found[-1][1] == run.start and found[-1][2] == run.state:
            found[-1] = (found[-1][0], run.end, run.state)
        else:
            found.append((run.start, run.end, run.state))
    return found


def other_lines(report: Report, ribbons: Iterable[RibbonRow]) -> list[OtherLine]:
    """The jobs that nobody waits for, each with its first window or what bars it."""
    groups: dict[tuple[object, ...], OtherLine] = {}
    for ribbon in sorted(ribbons, key=lambda row: place(row.kind)):
        pair = (ribbon.job, ribbon.surface)
        windows = [row for row in report.windows if (row.job, row.surface) == pair]
        first = min(windows, key=lambda row: row.start.timestamp(), default=None)
        barred = next((row for row in report.barred if (row.job, row.surface) == pair), None)
        key = (
            ribbon.job,
            first and (first.start, first.end, first.state),
            barred and (barred.next_window, barred.because.says),
        )
        groups.setdefault(
            key, OtherLine(ribbon=ribbon, surfaces=[], window=first, barred=barred)
        ).surfaces.append(ribbon.surface)
    return list(groups.values())
