"""Commands that do: demo, check, refresh, serve."""

from __future__ import annotations

import json
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

import click

from planner import board
from planner.cli.options import Source, full_config, show
from planner.errors import InputError

#: The demo's clock, so that it reads the same on every machine: a Thursday morning of the invented week.
DEMO_NOW = "2026-05-07T06:00:00+01:00"


def shipped(*parts: str) -> Path:
    """A file that ships with the project: of the folder it is run in, else of the checkout it was installed from."""
    here = Path(*parts)
    if here.is_file():
        return here
    beside = Path(__file__).resolve().parents[2].joinpath(*parts)
    if beside.is_file():
        return beside
    raise InputError(f"There is no {here} here. Run haysel in the folder of the checkout.")


@click.command()
@click.option("--json", "as_json", is_flag=True, help="Print JSON instead of text.")
def demo(as_json: bool) -> None:
    """The whole job, offline, on an invented week at an invented place and at a fixed clock."""
    from planner.answers import ANSWERS, encode
    from planner.cli.options import computed

    source = Source(
        str(shipped("config", "demo.toml")), str(shipped("fixtures", "demo", "week.csv")), DEMO_NOW
    )
    briefing = computed(source)
    found = {name: json.loads(encode(ANSWERS[name](briefing))) for name in ("days", "windows", "warnings")}
    show({**found["windows"], **found["days"], **found["warnings"]}, lambda: _demo_text(found), as_json)


def _demo_text(found: dict[str, Any]) -> str:
    days = found["days"]
    intro = board.wrap(
        "An invented place and an invented week, shipped with the project; the clock is fixed. "
        "Nothing here is a forecast.",
        "",
    )
    return board.together(
        [
            board.head(days),
            intro,
            board.warnings(found["warnings"]),
            board.days(days),
            board.windows(found["windows"]),
            ["Why an hour is what it is:", "  haysel explain JOB TIME   (see haysel explain --help)"],
        ]
    )


@click.command()
@click.option("--config", metavar="FILE", help="Site file; else HAYSEL_CONFIG, else config/haysel.toml.")
def check(config: str | None) -> None:
    """Is my config right? All faults on one sheet."""
    source = Source(config, None, None)
    full = full_config(source)
    click.echo(f"{full.file} holds.")
    click.echo(f"{full.site.name}: {len(full.site.surfaces)} surfaces, {len(full.jobs)} jobs.")
    for job in full.jobs:
        surfaces = ", ".join(surface.name for surface in job.surfaces_of(full.site))
        click.echo(f"  {job.name:<22}{surfaces or '(no surface here: never shown)'}")
        for name in job.surfaces:
            kinds = {surface.kind for surface in full.site.surfaces}
            if (
                name not in kinds
                and name not in {surface.name for surface in full.site.surfaces}
                and not surfaces
            ):
                click.echo(f'note: {job.name} names "{name}", which is no surface or kind here.', err=True)


@click.command()
@click.option("--config", metavar="FILE", help="Site file; else HAYSEL_CONFIG, else config/haysel.toml.")
@click.option("--json", "as_json", is_flag=True, help="Print JSON instead of text.")
def refresh(config: str | None, as_json: bool) -> None:
    """One pass now: pull the forecast, compute, keep."""
    from planner.answers import ANSWERS, encode
    from planner.cycle import run
    from planner.store import Store

    full = full_config(Source(config, None, None))
    store = Store.open(full.store.url)
    try:
        passed = run(full, store, now=datetime.now(UTC))
    finally:
        store.close()
    for fault in passed.faults:
        click.echo(f"note: {fault}", err=True)
    found = json.loads(encode(ANSWERS["windows"](passed.briefing)))
    show(found, lambda: board.together([board.head(found), board.windows(found, most=1)]), as_json)


@click.command()
@click.option("--config", metavar="FILE", help="Site file; else HAYSEL_CONFIG, else config/haysel.toml.")
@click.option("--host", help="Address to listen on; default as in the site file (127.0.0.1).")
@click.option("--port", type=click.IntRange(1, 65535), help="Port; default as in the site file (8480).")
@click.option("--demo", is_flag=True, help="Serve the invented week, without network or store.")
def serve(config: str | None, host: str | None, port: int | None, demo: bool) -> None:
    """The service: pulls on a schedule and answers over HTTP."""
    from planner.service.run import serve as run_service

    path = str(shipped("config", "demo.toml")) if demo else config
    full = full_config(Source(path, None, None))
    forecast = shipped("fixtures", "demo", "week.csv") if demo else None
    run_service(full, host=host, port=port, demo=forecast, demo_now=datetime.fromisoformat(DEMO_NOW))
