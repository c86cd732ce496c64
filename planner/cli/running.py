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
    names = ("days", "windows", "warnings", "week")
    found = {name: json.loads(encode(ANSWERS[name](briefing))) for name in names}
    whole = {**found["windows"], "days": found["days"]["days"], "warnings": found["warnings"]["warnings"]}
    show(whole | {"week": found["week"]["work"]}, lambda: _demo_text(found), as_json)


def _demo_text(found: dict[str, Any]) -> str:
    from planner.cli.week import week_text

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
            ["The week's work", *week_text(found["week"])],
            board.days(days),
            ["The next workable hours of every job", "", *board.windows(found["windows"], most=1)],
            [
                "More: haysel windows JOB, haysel explain JOB TIME, haysel week (see --help).",
                "On your own ground: change config/haysel.toml, then haysel serve.",
            ],
        ]
    )


@click.command()
@click.option("--config", metavar="FILE", help="Site file; else HAYSEL_CONFIG, else config/haysel.toml.")
@click.option(
    "--weather", metavar="FILE", help="Try the rules on a year of past weather: what never opens or closes?"
)
@click.option("--schema", metavar="DIR", help="Write JSON Schemas of the config files there, for editors.")
def check(config: str | None, weather: str | None, schema: str | None) -> None:
    """Is my config right? All faults on one sheet."""
    if schema is not None:
        _write_schemas(Path(schema))
        return
    full = full_config(Source(config, None, None))
    click.echo(f"{full.file} holds.")
    click.echo(f"{full.site.name}: {len(full.site.surfaces)} surfaces, {len(full.jobs)} jobs.")
    for job in full.jobs:
        surfaces = ", ".join(surface.name for surface in job.surfaces_of(full.site))
        click.echo(f"  {job.name:<22}{surfaces or '(no surface here: never shown)'}")
    if weather is None:
        return
    from planner.cli.hindcast import replayed
    from planner.hindcast import doubts

    _, records = replayed(full, weather, None)
    found = doubts(records)
    click.echo("\nOn that weather" if found else "\nOn that weather every job opens and closes.")
    for text in found:
        for line in board.wrap(f"- {text}", "  ", "    "):
            click.echo(line)


def _write_schemas(folder: Path) -> None:
    from planner.config.schemas import SCHEMAS

    if not folder.is_dir():
        raise InputError(
            f"{folder} is not a folder. Make it first, or name the one that holds your config files."
        )
    for name, make in SCHEMAS.items():
        path = folder / name
        path.write_text(json.dumps(make(), indent=1, ensure_ascii=False) + "\n", encoding="utf-8")
        click.echo(f"{path} written.")


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
