"""Commands that do: demo, check, refresh, serve."""

from __future__ import annotations

import json
from datetime import UTC, datetime
from pathlib import Path
from typing import TYPE_CHECKING

import click

from planner.cli import board
from planner.cli.options import (
    AS_JSON,
    CONFIG,
    Source,
    full_config,
    full_configs,
    open_store,
    read_report,
    show,
)
from planner.errors import InputError
from planner.reports.mine import pressing
from planner.reports.rows import Report
from planner.terms import counted

if TYPE_CHECKING:
    from planner.config.load import Config

#: The demo's clock, so that it reads the same on every machine: a Thursday morning of the invented week.
DEMO_NOW = "2026-05-07T06:00:00+01:00"


def shipped(*parts: str) -> Path:
    """A file that ships with the project: of the folder it is run in, else of the checkout it was installed from."""
    here = Path(*parts)
    if here.exists():
        return here
    beside = Path(__file__).resolve().parents[2].joinpath(*parts)
    if beside.exists():
        return beside
    raise InputError(f"There is no {here} here. Run haysel in the folder of the checkout.")


@click.command()
@AS_JSON
@click.option("--all", "everything", is_flag=True, help="Days and the windows of every job as well.")
def demo(as_json: bool, everything: bool) -> None:
    """The whole job, offline, on an invented week at an invented place and at a fixed clock."""
    from planner.reports import answers

    source = Source(
        str(shipped("config", "demo.toml")),
        str(shipped("fixtures", "demo", "week.csv")),
        DEMO_NOW,
        no_diary=True,
    )
    report = read_report(source)
    show(answers.demo(report), lambda: (_whole_demo if everything else _demo_text)(report), as_json)


_INVENTED = "An invented place and week; the clock is fixed. Nothing here is a forecast."


def _demo_text(report: Report) -> str:
    """What fits a first screen."""
    from planner.cli import first_screen

    return board.together(
        [
            [*board.head(report), *board.wrap(_INVENTED, "")],
            first_screen.morning(report),
            first_screen.warnings(report),
            first_screen.week(report),
            [
                "Why, and all the rest: haysel demo --all. As pages: haysel serve --demo.",
                "On your own ground: haysel init, then haysel serve.",
            ],
        ]
    )


def _whole_demo(report: Report) -> str:
    from planner.cli import first_screen
    from planner.cli.reading import week_text

    return board.together(
        [
            [*board.head(report), *board.wrap(_INVENTED, "")],
            first_screen.morning(report),
            board.warnings(report),
            ["The week's order", *week_text(report)],
            board.days(report),
            [
                "Windows of every job",
                "",
                *board.windows(report.windows, report.barred, most=1, first=pressing(report)),
            ],
        ]
    )


@click.command()
@CONFIG
@click.option(
    "--weather", metavar="FILE", help="Try the rules on a year of past weather: what never opens or closes?"
)
@click.option("--schema", metavar="DIR", help="Write JSON Schemas of the config files there, for editors.")
def check(config: str | None, weather: str | None, schema: str | None) -> None:
    """Is my config right? Every fault at once."""
    if schema is not None:
        _write_schemas(Path(schema))
        return
    from planner.config.folder import one_diary_notes, sprayer_notes

    sites = full_configs(config)
    for full in sites:
        click.echo(f"{full.file} holds.")
        surfaces_and_jobs = f"{counted(len(full.site.surfaces), 'surface')}, {counted(len(full.jobs), 'job')}"
        click.echo(f"{full.site.name}: {surfaces_and_jobs}.")
        for job in full.jobs:
            surfaces = ", ".join(surface.name for surface in job.surfaces_of(full.site))
            click.echo(f"  {job.name:<22}{surfaces or '(no surface here: never shown)'}")
        if weather is not None:
            _try_on(full, weather)
    # Those of a folder are held apart as they are loaded.
    for note in one_diary_notes(sites[0]) if len(sites) == 1 else sprayer_notes(sites):
        _note(note)


def _note(says: str) -> None:
    """What stops nothing and wants a look, on standard error."""
    for line in board.as_written(f"note: {says}", "", "  "):
        click.echo(line, err=True)


def _try_on(full: Config, weather: str) -> None:
    """What never opens or closes on a year of past weather."""
    from planner.cli.hindcast import replayed
    from planner.planning.hindcast import doubts

    _, records = replayed(full, weather, None)
    found = doubts(records)
    click.echo("\nOn that weather" if found else "\nOn that weather every job opens and closes.")
    for text in found:
        for line in board.wrap(f"- {text}", "  ", "    "):
            click.echo(line)


def _write_schemas(folder: Path) -> None:
    from planner.config.load import SCHEMAS

    if not folder.is_dir():
        raise InputError(
            f"{folder} is not a folder. Make it first, or name the one that holds your config files."
        )
    for name, make in SCHEMAS.items():
        path = folder / name
        path.write_text(json.dumps(make(), indent=1, ensure_ascii=False) + "\n", encoding="utf-8")
        click.echo(f"{path} written.")


@click.command()
@CONFIG
@click.option(
    "--processes",
    type=click.IntRange(1, 64),
    default=1,
    help="Where --config is a folder: sites at a time, each in a process of its own.",
)
@AS_JSON
def refresh(config: str | None, processes: int, as_json: bool) -> None:
    """One pass now: fetch the forecast, compute, keep. --config may be a folder: every site file in it."""
    from planner.actions.one_pass import run
    from planner.reports import answers

    configs = full_configs(config)
    if len(configs) > 1:
        from planner.cli.many_sites import passes, show_passes

        show_passes(passes([one.file for one in configs], processes), as_json)
        return
    with open_store(str(configs[0].file)) as (full, store):
        passed = run(full, store, now=datetime.now(UTC), clock=lambda: datetime.now(UTC))
    for fault in passed.faults:
        click.echo(f"note: {fault}", err=True)
    report = passed.report
    found = answers.windows(report, mine=True)
    show(
        found,
        lambda: board.together(
            [board.head(report), board.windows(found.windows, found.barred, most=1, first=pressing(report))]
        ),
        as_json,
    )


@click.command()
@CONFIG
@click.option("--host", help="Address to listen on; default as in the site file (127.0.0.1).")
@click.option("--port", type=click.IntRange(1, 65535), help="Port; default as in the site file (8480).")
@click.option("--demo", is_flag=True, help="Serve the invented week, without network or store.")
def serve(config: str | None, host: str | None, port: int | None, demo: bool) -> None:
    """The service: pulls on a schedule and answers over HTTP. --config may be a folder: every site file in it."""
    from planner.service.run import serve as run_service

    configs = (full_config(str(shipped("config", "demo.toml"))),) if demo else full_configs(config)
    forecast = shipped("fixtures", "demo", "week.csv") if demo else None
    run_service(configs, host=host, port=port, demo=forecast, demo_now=datetime.fromisoformat(DEMO_NOW))
