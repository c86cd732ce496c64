"""The command diary: what was done, what is due, export and record sheet."""

from __future__ import annotations

import json
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from datetime import UTC, datetime
from functools import wraps
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from planner import diary_board
from planner.cli.options import Source, answer, full_config, reading
from planner.errors import InputError, PlannerError
from planner.freshness import as_of

if TYPE_CHECKING:
    from planner.config.load import Config
    from planner.store import Store
    from planner.store.records import StoredEntry


@click.group()
def diary() -> None:
    """What was done, what is due, export."""


@contextmanager
def _opened(config: str | None) -> Iterator[tuple[Config, Store]]:
    from planner.store import Store

    full = full_config(Source(config, None, None))
    store = Store.open(full.store.url)
    try:
        yield full, store
    finally:
        store.close()


_CONFIG = click.option(
    "--config", metavar="FILE", help="Site file; else HAYSEL_CONFIG, else config/haysel.toml."
)
_JSON = click.option("--json", "as_json", is_flag=True, help="Print JSON instead of text.")
_FIELDS = (
    click.option("--from", "started", metavar="TIME", help="07:30, yesterday 07:30, thu 07:30, or ISO 8601."),
    click.option("--to", "finished", metavar="TIME", help="When it was finished."),
    click.option(
        "--material",
        "materials",
        multiple=True,
        metavar="NAME=AMOUNT",
        help='Such as "foliar 10-0-4=0.85 L".',
    ),
    click.option("--water-l", type=float, help="Litres of water."),
    click.option("--area-m2", type=float, help="When not all of the surface."),
    click.option("--operator", help="Who did it; else the keeper of the site file."),
    click.option("--licence", help="Number of the applicator's licence."),
    click.option("--notes", help="Anything else."),
    click.option("--target", help="Weed, disease or purpose."),
    click.option("--cover-pct", type=float, help="Net, straw or mulch over seed, percent of the ground."),
    click.option("--tackifier/--no-tackifier", default=None, help="Whether the bed is glued."),
    click.option("--grass", help="Grass sown; else the surface's own."),
    click.option("--cut-height-mm", type=float),
    click.option("--leaf-length-mm", type=float, help="Measured before the cut; teaches the pace of growth."),
    click.option("--wind-kmh", "wind_2m_kmh", type=float, help="Measured at 2 m."),
    click.option("--wind-from-deg", "wind_dir_deg", type=float, help="Measured."),
    click.option("--air-temp-c", type=float, help="Measured."),
    click.option("--humidity-pct", "rel_humidity_pct", type=float, help="Measured."),
    click.option("--rain-mm", type=float, help="Measured."),
)
_MEASURED = ("wind_2m_kmh", "wind_dir_deg", "air_temp_c", "rel_humidity_pct", "rain_mm")


def _told(command: Callable[..., None]) -> Callable[..., None]:
    """The options that tell of work, gathered into `fields`."""

    @wraps(command)
    def gathered(**options: Any) -> None:
        names = [option_name for option_name in options if option_name in _NAMES]
        given = {name: options.pop(name) for name in names}
        command(fields=_fields(given), **options)

    _NAMES = {
        *("started", "finished", "materials", "water_l", "area_m2", "operator", "licence", "notes", "target"),
        *("cover_pct", "tackifier", "grass", "cut_height_mm", "leaf_length_mm", *_MEASURED),
    }
    for option in reversed(_FIELDS):
        gathered = option(gathered)
    return gathered


def _fields(given: dict[str, Any]) -> dict[str, Any]:
    fields = {name: value for name, value in given.items() if value is not None and name not in _MEASURED}
    fields["materials"] = [_material(text) for text in given["materials"]]
    if not fields["materials"]:
        del fields["materials"]
    measured = {name: given[name] for name in _MEASURED if given[name] is not None}
    return fields | ({"measured": measured} if measured else {})


def _material(text: str) -> dict[str, Any]:
    """`NAME=0.85 L`, or a name alone."""
    name, sign, amount = text.rpartition("=")
    if not sign:
        return {"name": text.strip()}
    parts = amount.split()
    try:
        told: dict[str, Any] = {"name": name.strip(), "amount": float(parts[0])}
    except (IndexError, ValueError):
        raise InputError(
            f'"{text}" is not a material with its amount: write "{name.strip()}=0.85 L".'
        ) from None
    return told | ({"unit": parts[1]} if len(parts) > 1 else {})


@diary.command()
@click.argument("job")
@click.argument("surface")
@_told
@click.option("--kind", default="", help="Kind of work, for a job that the rules file does not have.")
@click.option("--key", help="A UUID; telling the same again under it writes nothing.")
@_CONFIG
@_JSON
def add(
    job: str,
    surface: str,
    fields: dict[str, Any],
    kind: str,
    key: str | None,
    config: str | None,
    as_json: bool,
) -> None:
    """Write down that JOB was done on SURFACE. Without times: just now, in the job's usual length."""
    from planner import writing

    with _opened(config) as (full, store):
        now = datetime.now(UTC)
        stored = writing.add(
            {"job": job, "surface": surface, "kind": kind, **fields}, full, store, now, key=key
        )
        _show(stored, full, as_json)
        _renew(full, store, now)


@diary.command()
@click.argument("entry")
@_told
@click.option("--job")
@click.option("--surface")
@click.option("--kind")
@click.option("--reason", default="", help="Why it is changed.")
@_CONFIG
@_JSON
def edit(
    entry: str,
    fields: dict[str, Any],
    job: str | None,
    surface: str | None,
    kind: str | None,
    reason: str,
    config: str | None,
    as_json: bool,
) -> None:
    """Change the ENTRY (its number or the first signs of it). What it said before stays in its history."""
    from planner import writing

    given = {name: value for name, value in (("job", job), ("surface", surface), ("kind", kind)) if value}
    with _opened(config) as (full, store):
        now = datetime.now(UTC)
        uuid = _uuid(entry, store)
        stored = writing.edit(uuid, {**fields, **given}, full, store, now, reason=reason)
        _show(stored, full, as_json)
        _renew(full, store, now)


@diary.command()
@click.argument("entry")
@click.option("--reason", required=True, help="Why it does not hold.")
@_CONFIG
@_JSON
def withdraw(entry: str, reason: str, config: str | None, as_json: bool) -> None:
    """Withdraw the ENTRY. It stays readable in its history."""
    with _opened(config) as (full, store):
        now = datetime.now(UTC)
        stored = store.withdraw_entry(_uuid(entry, store), now, reason=reason)
        _show(stored, full, as_json)
        _renew(full, store, now)


def _range(command: Callable[..., None]) -> Callable[..., None]:
    for option in (
        click.option("--surface", metavar="S"),
        click.option("--job", metavar="J"),
        click.option("--until", metavar="DAY", help="Up to, not including, this day."),
        click.option("--since", metavar="DAY", help="From this day on."),
    ):
        command = option(command)
    return command


def _entries(
    full: Config,
    store: Store,
    since: str | None,
    until: str | None,
    job: str | None,
    surface: str | None,
    **more: bool,
) -> tuple[StoredEntry, ...]:
    from planner.writing import day_start

    now, zone = datetime.now(UTC), full.site.zone
    return store.entries(
        None if since is None else day_start(since, now, zone),
        None if until is None else day_start(until, now, zone),
        job,
        surface,
        **more,
    )


@diary.command(name="list")
@_range
@click.option("--withdrawn", is_flag=True, help="Show withdrawn entries as well.")
@click.option("--history", metavar="ENTRY", help="Every revision of one entry.")
@_CONFIG
@_JSON
def list_(
    since: str | None,
    until: str | None,
    job: str | None,
    surface: str | None,
    withdrawn: bool,
    history: str | None,
    config: str | None,
    as_json: bool,
) -> None:
    """What was done, the oldest first."""
    from planner.diary.showing import as_json as told

    with _opened(config) as (full, store):
        found = (
            store.history(_uuid(history, store))
            if history
            else _entries(full, store, since, until, job, surface, with_withdrawn=withdrawn)
        )
        rows = [told(one, full.site.zone) for one in found]
        beside = [] if history else _of_site_file(full, since, until, job, surface)
        if as_json:
            click.echo(json.dumps({"entries": rows, "of_site_file": beside}, ensure_ascii=False, indent=2))
        else:
            click.echo(diary_board.listed(rows, beside))


def _of_site_file(
    full: Config, since: str | None, until: str | None, job: str | None, surface: str | None
) -> list[dict[str, Any]]:
    """Work and sowings that the site file tells: they count like the diary, and are no entries of it."""
    from planner.writing import day_start

    now, zone = datetime.now(UTC), full.site.zone
    first = None if since is None else day_start(since, now, zone)
    end = None if until is None else day_start(until, now, zone)
    told = [("done", work.job, work.surface, work.at) for work in full.done]
    told += [("sown", f"sown {one.grass.name}", one.surface, one.at) for one in full.sowings if job is None]
    return [
        {"table": table, "job": name, "surface": on, "at": at.astimezone(zone).isoformat()}
        for table, name, on, at in sorted(told, key=lambda row: row[3])
        if (first is None or at >= first)
        and (end is None or at < end)
        and job in (None, name)
        and surface in (None, on)
    ]


@diary.command()
@_range
@click.option("--format", "form", type=click.Choice(["csv", "json"]), default="csv", show_default=True)
@click.option("--out", metavar="FILE", help="Write to this file instead of standard output.")
@_CONFIG
def export(
    since: str | None,
    until: str | None,
    job: str | None,
    surface: str | None,
    form: str,
    out: str | None,
    config: str | None,
) -> None:
    """Every entry, also those withdrawn, as CSV or JSON."""
    from planner.diary.showing import as_json as told
    from planner.diary.showing import flat_row

    with _opened(config) as (full, store):
        found = _entries(full, store, since, until, job, surface, with_withdrawn=True)
        zone = full.site.zone
        if form == "json":
            text = (
                json.dumps({"entries": [told(one, zone) for one in found]}, ensure_ascii=False, indent=2)
                + "\n"
            )
        else:
            text = diary_board.as_csv([flat_row(one, zone) for one in found])
    if out is None:
        click.echo(text, nl=False)
        return
    try:
        Path(out).write_text(text, encoding="utf-8")
    except OSError as error:
        raise InputError(f"{out} cannot be written: {error.strerror}. Name another file.") from error


@diary.command()
@click.argument("entry", required=False)
@_range
@_CONFIG
@_JSON
def sheet(
    entry: str | None,
    since: str | None,
    until: str | None,
    job: str | None,
    surface: str | None,
    config: str | None,
    as_json: bool,
) -> None:
    """The record of pesticide use: of one ENTRY, or of all that are one. Missing fields are named."""
    from planner.diary.showing import belongs_on_sheet, record_sheets

    with _opened(config) as (full, store):
        if entry is not None:
            found: tuple[StoredEntry, ...] = store.history(_uuid(entry, store))[-1:]
        else:
            every = _entries(full, store, since, until, job, surface)
            found = tuple(one for one in every if belongs_on_sheet(one.entry))
        sheets = record_sheets(found, full.site.name, full.site.zone)
        if as_json:
            click.echo(json.dumps({"sheets": sheets}, ensure_ascii=False, indent=2))
        else:
            click.echo(diary_board.sheets(sheets))


@diary.command()
@reading
def due(config: str | None, forecast: str | None, now: str | None, as_json: bool) -> None:
    """What is due and by when, and how each surface stands."""
    source = Source(config, forecast, now)
    found = answer("due", source)
    if forecast is None:
        found = as_of(found, source.clock)
    click.echo(json.dumps(found, ensure_ascii=False, indent=2) if as_json else diary_board.due(found))


def _uuid(text: str, store: Store) -> str:
    """The entry whose number begins so."""
    found = [one.uuid for one in store.entries(with_withdrawn=True) if one.uuid.startswith(text.lower())]
    if len(found) == 1 and len(text) >= 4:
        return found[0]
    if not found:
        return str(store.history(text)[0].uuid)
    raise InputError(
        f'"{text}" begins {len(found)} diary entries. Give more of its number (at least 4 signs).'
    )


def _show(stored: StoredEntry, full: Config, as_json: bool) -> None:
    from planner.diary.showing import as_json as told

    row = told(stored, full.site.zone)
    click.echo(json.dumps(row, ensure_ascii=False, indent=2) if as_json else diary_board.entry(row))


def _renew(full: Config, store: Store, now: datetime) -> None:
    """A pass from the kept forecast, so that gaps and warnings follow.

    The entry stands without it, and messages wait for the service or the next refresh.
    """
    from planner.cycle import again

    try:
        again(full, store, now=now, tell=False)
    except PlannerError as error:
        click.echo(f"note: written down; the plan follows at the next pass ({error})", err=True)
