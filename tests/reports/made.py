"""The demo's report, and rows and reports made from a line for tests."""

from __future__ import annotations

from collections.abc import Iterable
from datetime import datetime, timedelta
from functools import cache
from zoneinfo import ZoneInfo

from msgspec.structs import replace

from planner.actions.one_pass import assess, reported
from planner.config.load import load
from planner.forecast.recorded import read_file
from planner.margin import State
from planner.reports.assessment import Assessment
from planner.reports.rows import (
    BarredRow,
    Because,
    EndedRow,
    ForecastRow,
    JobRow,
    LeftRow,
    Limiting,
    NotReadRow,
    Report,
    RibbonRow,
    RunRow,
    StartHour,
    WarningRow,
    WindowRow,
    WorkRow,
)
from planner.reports.surface_rows import DueRow
from planner.reports.workings import Workings
from tests.made import DEMO, ROOT

NOW = datetime.fromisoformat("2026-05-07T06:00:00+01:00")
ZONE = ZoneInfo("Europe/London")


@cache
def demo_assessment() -> Assessment:
    """What the demo's week comes to at its moment."""
    week = ROOT / "fixtures" / "demo" / "week.csv"
    return assess(load(DEMO), read_file(week, fetched_at=NOW), now=NOW)


@cache
def demo_pass() -> tuple[Report, Workings]:
    """Report and workings of the demo."""
    return reported(demo_assessment())


def demo() -> Report:
    """The report of the demo."""
    return demo_pass()[0]


def bare(now: datetime = NOW, **parts: object) -> Report:
    """A report in which nothing is found, but for the parts named; fresh for a week."""
    report = demo()
    empty: dict[str, object] = dict.fromkeys(
        ("windows", "barred", "warnings", "ended", "not_read", "days", "ribbons", "ground")
        + ("due", "wanted", "surfaces", "sprays", "faults"),
        (),
    )
    week = replace(report.week, work=(), left=(), planned=())
    head: dict[str, object] = {"made_at": now, "as_of": now, "week": week}
    head["forecast"] = replace(
        report.forecast, issued_at=None, fetched_at=now, age_h=0.0, stale=False, stale_at=now + timedelta(7)
    )
    return replace(report, **{**empty, **head, **parts})


def with_week(
    report: Report,
    work: Iterable[WorkRow] | None = None,
    left: Iterable[LeftRow] | None = None,
    planned: Iterable[WorkRow] | None = None,
) -> Report:
    """The report with other rows of the week."""
    week = report.week
    return replace(
        report,
        week=replace(
            week,
            work=week.work if work is None else tuple(work),
            left=week.left if left is None else tuple(left),
            planned=week.planned if planned is None else tuple(planned),
        ),
    )


def with_forecast(report: Report, **changes: object) -> Report:
    """The report with another head of its forecast."""
    forecast: ForecastRow = replace(report.forecast, **changes)
    return replace(report, forecast=forecast)


def moment(text: str) -> datetime:
    """`07T08:00` in May 2026 on the clock of the site, or a whole ISO 8601 time with its offset."""
    if len(text) == len("07T08:00"):
        return datetime.fromisoformat(f"2026-05-{text}").replace(tzinfo=ZONE)
    return datetime.fromisoformat(text)


def limiting(says: str = "Holds with room.") -> Limiting:
    """A need that limits."""
    return Limiting(need="wind", label="wind", value=9.0, unit="km/h", says=says)


def window_row(
    job: str,
    start: str,
    end: str,
    *,
    latest: str | None = None,
    kind: str = "spraying",
    surface: str = "bank",
    label: str | None = None,
    state: State = "steady",
    rank: int = 1,
    says: str = "Holds with room.",
    not_read: tuple[str, ...] = (),
    share: float | None = None,
) -> WindowRow:
    """A window; work may begin up to its end unless a latest start is named."""
    begins, ends = moment(start), moment(end)
    return WindowRow(
        job=job,
        label=label or job,
        kind=kind,
        surface=surface,
        rank=rank,
        start=begins,
        end=ends,
        state=state,
        latest_start=ends if latest is None else moment(latest),
        best_start=begins,
        steady_from=None,
        steady_until=None,
        duration_min=45.0,
        score=0.8,
        chance=None,
        chance_basis=None,
        share=share,
        limiting=limiting(says),
        next_start=None,
        last_chance=False,
        hours=(StartHour(start=begins, state=state, score=0.8),),
        not_read=not_read,
        tasks=(),
        cautions=(),
    )


def work_row(
    job: str,
    start: str,
    end: str,
    *,
    kind: str = "spraying",
    surface: str = "bank",
    label: str | None = None,
    state: State | None = "steady",
    planned: bool = False,
) -> WorkRow:
    """Work that the week places, or that the keeper planned."""
    return WorkRow(
        job=job,
        label=label or job,
        kind=kind,
        surface=surface,
        start=moment(start),
        end=moment(end),
        state=None if planned else state,
        score=None if planned else 0.8,
        limiting=None if planned else limiting(),
        because="" if planned else "it is wanted",
    )


def job_row(job: str, *, kind: str = "spraying", surface: str = "bank") -> JobRow:
    """A job that is wanted on a surface."""
    return JobRow(job=job, label=job, kind=kind, surface=surface)


def left_row(job: str, says: str, *, kind: str = "spraying", surface: str = "bank") -> LeftRow:
    """A job that found no hour."""
    return LeftRow(job=job, label=job, kind=kind, surface=surface, says=says, because="it is wanted")


def due_row(
    job: str,
    *,
    due_at: str | None,
    state: str = "coming",
    kind: str = "spraying",
    surface: str = "bank",
    next_start: str | None = None,
) -> DueRow:
    """Work that is due."""
    begins = None if next_start is None else moment(next_start)
    return DueRow(
        job=job,
        label=job,
        kind=kind,
        surface=surface,
        due_at=None if due_at is None else moment(due_at),
        last_at=None,
        state=state,
        overdue_h=None if due_at is None else 0.0,
        because="",
        next_start=begins,
        next_latest_start=begins,
    )


def barred_row(
    job: str, next_window: str | None, *, kind: str = "spraying", surface: str = "bank"
) -> BarredRow:
    """A job that is barred by the wind."""
    return BarredRow(
        job=job,
        label=job,
        kind=kind,
        surface=surface,
        next_window=None if next_window is None else moment(next_window),
        because=Because(need="wind", says="Wind.", hours_lost=9),
        hours_unread=0,
    )


def warning_row(
    kind: str,
    begins: str,
    *,
    ends: str | None = None,
    level: str = "care",
    says: str = "Rain at nine: 3 mm.",
    surface: str = "bank",
) -> WarningRow:
    """A warning that nobody follows."""
    first = moment(begins)
    return WarningRow(
        id=f"{kind}:{surface}:{first:%Y-%m-%d}",
        kind=kind,
        surface=surface,
        begins=first,
        ends=None if ends is None else moment(ends),
        lead_h=1.0,
        level=level,
        state=None,
        since=None,
        chance=None,
        share=None,
        says=says,
        advice=(),
        figures={},
    )


def not_read_row(kind: str, says: str, begins: str = "07T12:00") -> NotReadRow:
    """A kind of warning that cannot be read."""
    return NotReadRow(kind=kind, begins=moment(begins), says=says)


def ended_row(says: str) -> EndedRow:
    """A warning that a pass ended."""
    return EndedRow(id="frost:bank:2026-05-07", says=says)


def ribbon_row(
    job: str,
    runs: Iterable[tuple[str, str, State, str]],
    *,
    kind: str = "spraying",
    surface: str = "bank",
) -> RibbonRow:
    """A ribbon of runs: start, end, state, label of the need."""
    return RibbonRow(
        job=job,
        label=job,
        kind=kind,
        surface=surface,
        why="",
        duration_min=45.0,
        has_label=False,
        cautions=(),
        runs=tuple(
            RunRow(
                start=moment(start),
                end=moment(end),
                hours=1,
                state=state,
                need=label.replace(" ", "_"),
                label=label,
                says=label,
            )
            for start, end, state, label in runs
        ),
    )
