"""haysel hindcast: past weather replayed against the rules."""

from __future__ import annotations

import sys
from dataclasses import replace
from datetime import UTC, date, datetime
from functools import partial
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from planner import board
from planner.cli.options import Source, full_config, show
from planner.errors import InputError

if TYPE_CHECKING:
    from planner.config.load import Config
    from planner.hindcast import Record
    from planner.plan import Ground
    from planner.weather import HourlyWeather


@click.command()
@click.option(
    "--weather", metavar="FILE", help="Observed hours: provider JSON, CSV of the contract, station table."
)
@click.option("--year", type=int, help="Ask the archive of past weather for this year at the site.")
@click.option("--job", metavar="JOB", help="Only this job.")
@click.option("--surface", metavar="S", help="Only this surface.")
@click.option("--csv", "csv_file", metavar="FILE", help="Write a row per job, surface and month.")
@click.option("--picture", metavar="FILE", help="Write an SVG of windows per month.")
@click.option("--json", "as_json", is_flag=True, help="Print JSON instead of text.")
@click.option("--config", metavar="FILE", help="Site file; else HAYSEL_CONFIG, else config/haysel.toml.")
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
    from planner.hindcast import as_dict, rows
    from planner.hindcast_picture import svg

    full = _narrowed(full_config(Source(config, None, None)), job, surface)
    ground, records = replayed(full, weather, year)
    if csv_file is not None:
        from planner.answers import table

        Path(csv_file).write_bytes(table(rows(records)))
    if picture is not None:
        start = ground.sky.weather.start.astimezone(full.site.zone)
        title = f"{full.site.name}: windows a month from {start:%B %Y}"
        Path(picture).write_text(svg(records, title), encoding="utf-8")
    found = as_dict(records, ground)
    show(found, lambda: board.together(_text(found)), as_json)


def replayed(full: Config, weather: str | None, year: int | None) -> tuple[Ground, tuple[Record, ...]]:
    """The replay of a file or of a year from the archive, with a progress bar on stderr."""
    from planner.hindcast import replay
    from planner.plan import lay

    hours = past_weather(full, weather, year)
    ground = lay(hours, full.site, now=hours.start, constants=full.constants)
    pairs = sum(len(job.surfaces_of(full.site)) for job in full.jobs)
    with click.progressbar(length=pairs, label="Replaying", file=sys.stderr) as bar:
        return ground, replay(ground, full.jobs, tick=partial(bar.update, 1))


def past_weather(full: Config, weather: str | None, year: int | None) -> HourlyWeather:
    """Hours from the file named, or from the archive for the year named."""
    if (weather is None) == (year is None):
        raise InputError("Give either --weather FILE or --year YEAR: past weather is needed to replay.")
    if weather is not None:
        return _from_file(Path(weather), full)
    assert year is not None
    from planner.cycle import request_of
    from planner.forecast.open_meteo_archive import PROVIDER

    now = datetime.now(UTC)
    last = min(date(year, 12, 31), now.date())
    answer = PROVIDER.fetch(
        request_of(full), start=date(year, 1, 1), end=last, now=now, budget_s=full.forecast.budget_s
    )
    return PROVIDER.parse(answer.raw, fetched_at=now).weather


def _from_file(path: Path, full: Config) -> HourlyWeather:
    from planner.forecast.recorded import read_file
    from planner.forecast.station_table import COLUMNS, from_station_table

    try:
        with path.open(encoding="utf-8") as file:
            header = file.readline().strip().split(",")
    except (OSError, UnicodeDecodeError):
        header = []
    if {name for name, _ in COLUMNS.values()} <= set(header):
        return from_station_table(path, elevation_m=full.site.elevation_m)
    return read_file(path, fetched_at=datetime.now(UTC)).weather


def _narrowed(full: Config, job: str | None, surface: str | None) -> Config:
    if job is not None:
        full = replace(full, jobs=(full.job(job),))
    if surface is not None:
        full = replace(full, site=replace(full.site, surfaces=(full.site.surface(surface),)))
    return full


def _text(found: dict[str, Any]) -> list[list[str]]:
    first, last = datetime.fromisoformat(found["from"]), datetime.fromisoformat(found["to"])
    head = [f"{found['site']['name']}   {first:%d %b %Y} to {last:%d %b %Y}, {found['hours']} hours"]
    head += board.wrap(
        "Weather and rules alone: gaps to other work are left out. Hours are those that clock and light leave open.",
        "",
    )
    blocks = [head]
    for flaw in found["flaws"][:4]:
        blocks[0] += board.wrap(f"note: {flaw}", "")
    for row in found["jobs"]:
        blocks.append(_job_text(row))
    return blocks


def _job_text(row: dict[str, Any]) -> list[str]:
    lines = [
        f"{row['label']}, {row['surface']}: {row['windows']} windows, {row['open_hours']} h open "
        f"of {row['hours_to_judge']}"
    ]
    gap = datetime.fromisoformat(row["longest_gap_from"])
    lines += board.wrap(f"longest without one: {row['longest_gap_days']:g} days from {gap:%d %b}", "  ")
    months = " ".join(f"{month['month'][5:]}:{month['windows']}" for month in row["months"])
    lines += board.wrap(f"windows a month: {months}", "  ", "    ")
    if row["hours_unread"]:
        lines.append(f"  not read: {row['hours_unread']} h")
    for limit in row["limits"][:3]:
        text = f"{limit['label']}: {limit['hours_lost']} h lost, {limit['hours_alone']} h to it alone"
        if limit["loosened"]:
            text += f"; {limit['loosened']} would win {limit['hours_won']} h"
        lines += board.wrap(text, "  - ", "    ")
    return lines
