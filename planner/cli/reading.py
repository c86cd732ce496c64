"""Commands that read: days, windows, warnings, explain, week, now."""

from __future__ import annotations

from collections.abc import Callable
from zoneinfo import ZoneInfo

import click

from planner.cli import board
from planner.cli.options import Source, read_report, read_workings, reading, show
from planner.reports import answers
from planner.reports.best import best_line
from planner.reports.cautions import short_caution
from planner.reports.mine import of_mine, pressing
from planner.reports.now import now as flat_now
from planner.reports.rows import Head, Report, WeekRow, WorkRow
from planner.reports.sentences import job_on, read_day, read_time
from planner.terms import PLAY, first_up, short_date


def _show(found: object, report: Head, body: Callable[[], list[str]], as_json: bool) -> None:
    """Print rows as JSON, or as text between the head of their report and credit and notes of its forecast."""

    def text() -> str:
        return board.together([board.head(report), body(), board.credit(report), board.notes(report)])

    show(found, text, as_json)


@click.command()
@click.option("--surface", metavar="S", help="Only this surface.")
@reading
def days(source: Source, as_json: bool, surface: str | None) -> None:
    """Growth potential, rain-wash risk and frost risk per day."""
    report = read_report(source)
    found = answers.days(report, surface=surface)
    _show(found, report, lambda: board.days(report, surface), as_json)


@click.command()
@click.argument("job", required=False)
@click.option("--surface", metavar="S", help="Only this surface.")
@click.option("--day", metavar="DAY", help="today, tomorrow, a weekday or a date.")
@click.option("--all", "every_job", is_flag=True, help="Every job, not only those that the site file names.")
@click.option("--most", default=2, show_default=True, help="Windows shown per job and surface (text only).")
@reading
def windows(
    source: Source,
    as_json: bool,
    job: str | None,
    surface: str | None,
    day: str | None,
    every_job: bool,
    most: int,
) -> None:
    """Ranked windows for JOB (a job or a kind; the keeper's jobs when left out), and why and until when others
    are barred."""
    report = read_report(source)
    chosen = read_day(day, report.as_of, ZoneInfo(report.site.timezone)) if day else None
    found = answers.windows(report, job=job, surface=surface, day=chosen, mine=not every_job)

    def body() -> list[str]:
        lines = board.windows(found.windows, found.barred, most=most, first=pressing(report))
        if not job and not every_job and len(of_mine(report, report.ribbons)) < len(report.ribbons):
            lines += ["", "Every other job: haysel windows --all."]
        if job is None and chosen is None:
            return lines
        # Asked for something, the answer comes first.
        return [*board.wrap(best_line(report, job, surface, chosen), ""), "", *lines]

    _show(found, report, body, as_json)


@click.command()
@reading
def warnings(source: Source, as_json: bool) -> None:
    """What is about to go wrong, and what to do."""
    report = read_report(source)
    _show(answers.warnings(report), report, lambda: board.warnings(report), as_json)


@click.command()
@click.argument("job")
@click.argument("time")
@click.option("--surface", metavar="S", help="The surface; else the first the job is done on.")
@reading
def explain(source: Source, as_json: bool, job: str, time: str, surface: str | None) -> None:
    """Each need of JOB at TIME (07:30, tomorrow 07:30, or a date and time): figure, limits, verdict, source."""
    from planner.reports.explain import explain as explain_hour

    report, workings = read_workings(source)
    asked = read_time(time, report.as_of, ZoneInfo(report.site.timezone))
    found = explain_hour(report, workings, job, asked, surface)
    _show(found, found, lambda: board.explain(found), as_json)


@click.command()
@reading
def now(source: Source, as_json: bool) -> None:
    """The flat object that a home dashboard reads, key by key."""
    found = flat_now(read_report(source))

    def text() -> str:
        rows = (f"{key}: {'-' if value is None else value}" for key, value in found.items())
        return "\n".join(line for row in rows for line in board.as_written(row, "", "  "))

    show(found, text, as_json)


@click.command()
@reading
def week(source: Source, as_json: bool) -> None:
    """The week's order: what is wanted and due, each job in its hour."""
    report = read_report(source)
    _show(answers.week(report), report, lambda: week_text(report), as_json)


def week_text(report: Report) -> list[str]:
    """The week in lines, day by day."""
    week = report.week
    lines = [week.says]
    day = ""
    rows = sorted((*week.work, *week.planned), key=lambda row: row.start)
    for row in rows:
        if short_date(row.start) != day:
            day = short_date(row.start)
            lines += ["", day]
        lines += _play(row) if row.kind == PLAY else _work(row, short_caution(report, row.job))
    lines += _elsewhere(week)
    if week.left:
        lines += ["", "Without an hour"]
        for one in week.left:
            lines += board.wrap(f"- {job_on(one.label, one.surface)}: {one.says}", "  ", "    ")
    if week.done:
        lines += ["", "Done already"]
    for one in week.done:
        lines += board.wrap(f"- {job_on(one.label, one.surface)}: {one.says}", "  ", "    ")
    if rows or week.left:
        most = (
            "" if week.hours_a_day is None else f"No more than {week.hours_a_day:g} hours of work in a day; "
        )
        how = first_up(f"{most}{week.method}.")
        lines += ["", *board.wrap(how, "")]
    return lines


def _elsewhere(week: WeekRow) -> list[str]:
    """Where the shared sprayer or keeper is meanwhile."""
    lines = ["", f"{first_up(week.elsewhere[0].what)} elsewhere"] if week.elsewhere else []
    for row in week.elsewhere:
        when = f"{short_date(row.start)} {row.start:%H:%M}–{row.end:%H:%M}"
        lines += board.wrap(f"{when}  {row.site}", "  ", "    ")
    return lines


def _play(row: WorkRow) -> list[str]:
    """A play day has a beginning, and no end that anybody has told."""
    return board.wrap(f"{row.start:%H:%M}        {job_on(row.label, row.surface)}", "  ", "    ")


def _work(row: WorkRow, caution: str) -> list[str]:
    lines = board.wrap(f"{row.start:%H:%M}–{row.end:%H:%M}  {job_on(row.label, row.surface)}", "  ", "    ")
    said = board.wrap(caution, "    ") if caution else []
    if row.limiting is None:
        return lines + board.wrap("Planned by you.", "    ") + said
    because = f"{first_up(row.because)}. " if row.because else ""
    lines += board.wrap(because + row.limiting.says, "    ")
    lines += board.wrap(row.tank, "    ") if row.tank else []
    return lines + said
