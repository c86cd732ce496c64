"""haysel hindcast: past weather replayed against the rules."""

from __future__ import annotations

import sys
from collections.abc import Sequence
from dataclasses import replace
from datetime import UTC, date, datetime
from functools import partial
from pathlib import Path
from typing import TYPE_CHECKING
from zoneinfo import ZoneInfo

import click

from planner.cli import board
from planner.cli.options import AS_JSON, CONFIG, full_config, show
from planner.cli.shown import read_in
from planner.errors import InputError
from planner.reports.shown_units import METRIC

if TYPE_CHECKING:
    from planner.config.load import Config
    from planner.planning.conditions import SiteConditions
    from planner.planning.hindcast import JobReplay
    from planner.weather import HourlyWeather


@click.command()
@click.option(
    "--weather", metavar="FILE", help="Observed hours: a provider's JSON, a CSV of hours, or a station table."
)
@click.option("--year", type=int, help="Ask the archive of past weather for this year at the site.")
@click.option("--job", metavar="JOB", help="Only this job.")
@click.option("--surface", metavar="S", help="Only this surface.")
@click.option("--csv", "csv_file", metavar="FILE", help="Write a row per job, surface and month.")
@click.option("--picture", metavar="FILE", help="Write an SVG of windows per month.")
@AS_JSON
@CONFIG
def hindcast(
    weather: str | None,
    year: int | None,
    job: str | None,
    surface: str | None,
    csv_file: str | None,
    picture: str | None,
    as_json: bool,
    config: str | None,
) -> None:
    """Windows per month, hours lost per limit, and what loosening one would win."""
    from planner.planning.hindcast import as_dict, rows, svg

    full = _narrowed(full_config(config), job, surface)
    # It speaks of the figures of the rules files, which are metric.
    read_in(METRIC)
    conditions, records = replayed(full, weather, year)
    if csv_file is not None:
        from planner.reports.answers import csv_of

        Path(csv_file).write_text(csv_of(rows(records)), encoding="utf-8")
    if picture is not None:
        start = conditions.sky.weather.start.astimezone(full.site.zone)
        title = f"{full.site.name}: windows a month from {start:%B %Y}"
        Path(picture).write_text(svg(records, title), encoding="utf-8")
    show(
        as_dict(records, conditions),
        lambda: board.together(_text(records, conditions)),
        as_json,
    )


def replayed(
    full: Config, weather: str | None, year: int | None
) -> tuple[SiteConditions, tuple[JobReplay, ...]]:
    """The replay of a file or of a year from the archive, with a progress bar on stderr."""
    from planner.planning.conditions import conditions_of
    from planner.planning.hindcast import replay

    hours = past_weather(full, weather, year)
    conditions = conditions_of(hours, full.site, now=hours.start, constants=full.constants)
    pairs = sum(len(job.surfaces_of(full.site)) for job in full.jobs)
    with click.progressbar(length=pairs, label="Replaying", file=sys.stderr) as bar:
        return conditions, replay(conditions, full.jobs, tick=partial(bar.update, 1))


def past_weather(full: Config, weather: str | None, year: int | None) -> HourlyWeather:
    """Hours from the file named, or from the archive for the year named."""
    if (weather is None) == (year is None):
        raise InputError("Give either --weather FILE or --year YEAR: past weather is needed to replay.")
    if weather is not None:
        return _from_file(Path(weather), full)
    assert year is not None
    from planner.actions.pulling import request_of
    from planner.forecast.open_meteo_archive import PROVIDER

    now = datetime.now(UTC)
    last = min(date(year, 12, 31), now.date())
    answer = PROVIDER.fetch(
        request_of(full), start=date(year, 1, 1), end=last, now=now, budget_s=full.forecast.budget_s
    )
    return PROVIDER.parse(answer.raw, fetched_at=now).weather


def _from_file(path: Path, full: Config) -> HourlyWeather:
    from planner.forecast.recorded import read_file
    from planner.forecast.tables import STATION_COLUMNS, from_station_table

    try:
        with path.open(encoding="utf-8") as file:
            header = file.readline().strip().split(",")
    except (OSError, UnicodeDecodeError):
        header = []
    if {name for name, _ in STATION_COLUMNS.values()} <= set(header):
        return from_station_table(path, elevation_m=full.site.elevation_m)
    return read_file(path, fetched_at=datetime.now(UTC)).weather


def _narrowed(full: Config, job: str | None, surface: str | None) -> Config:
    if job is not None:
        full = replace(full, jobs=(full.job(job),))
    if surface is not None:
        full = replace(full, site=replace(full.site, surfaces=(full.site.surface(surface),)))
    return full


def _text(records: Sequence[JobReplay], conditions: SiteConditions) -> list[list[str]]:
    weather, site = conditions.sky.weather, conditions.site
    first, last = weather.start.astimezone(site.zone), weather.end.astimezone(site.zone)
    head = [f"{site.name}   {first.day} {first:%b %Y} to {last.day} {last:%b %Y}, {weather.hours} hours"]
    head += board.wrap(
        "Weather and rules alone: gaps to other work are left out. Hours are those that clock and light leave open.",
        "",
    )
    for flaw in weather.flaws[:4]:
        head += board.wrap(f"note: {flaw}", "")
    return [head, *(_job_text(record, site.zone) for record in records)]


def _job_text(record: JobReplay, zone: ZoneInfo) -> list[str]:
    lines = [
        f"{record.job.label}, {record.surface.name}: {record.windows} windows, {record.open_hours} h open "
        f"of {record.calendar_hours}"
    ]
    gap = record.gap_from.astimezone(zone)
    lines += board.wrap(
        f"longest without one: {record.longest_gap_days:g} days from {gap.day} {gap:%b}", "  "
    )
    months = " ".join(f"{month.month[5:]}:{month.windows}" for month in record.months)
    lines += board.wrap(f"windows a month: {months}", "  ", "    ")
    if record.hours_unread:
        lines.append(f"  not known: {record.hours_unread} h")
    for cost in record.costs[:3]:
        text = f"{cost.need.label}: {cost.hours_lost} h lost, {cost.hours_alone} h to it alone"
        if cost.loosened:
            text += f"; {cost.loosened} would win {cost.hours_won} h"
        lines += board.wrap(text, "  - ", "    ")
    return lines
