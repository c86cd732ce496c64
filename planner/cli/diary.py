"""The command diary: what was done, what is due, export and spray record."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass
from datetime import UTC, datetime
from functools import wraps
from pathlib import Path
from typing import TYPE_CHECKING

import click

from planner.cli import diary_board, options
from planner.cli.diary_board import SiteFileWork
from planner.cli.diary_learning import import_, lessons, outcome
from planner.cli.writing import entry_uuid, write
from planner.errors import InputError
from planner.reports import answers

if TYPE_CHECKING:
    from planner.config.load import Config
    from planner.diary.entry import StoredEntry
    from planner.store.store import Store

#: An entry as the diary takes it.
Fields = dict[str, object]


@click.group()
def diary() -> None:
    """What was done, what is due, export."""


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
    click.option("--water-mm", type=float, help="Water given by watering; else that of --water-l."),
    click.option("--area-m2", type=float, help="When not all of the surface."),
    click.option("--operator", help="Who did it; else the keeper of the site file."),
    click.option("--licence", help="Number of the applicator's licence."),
    click.option("--notes", help="Anything else."),
    click.option(
        "--counts-as",
        metavar="JOB",
        help="For a job that the rules do not have: the one whose intervals it counts for, or nothing.",
    ),
    click.option("--target", help="Weed, disease or purpose."),
    click.option("--cover-pct", type=float, help="Net, straw or mulch over seed, percent of the ground."),
    click.option("--tackifier/--no-tackifier", default=None, help="Whether a tackifier was put on the seed."),
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


def _work(command: Callable[..., None]) -> Callable[..., None]:
    """The options that describe work; the command hands them to `_fields`."""
    for option in reversed(_FIELDS):
        command = option(command)
    return command


def _fields(work: Mapping[str, object]) -> Fields:
    """The options as the diary takes them; what was left out is left out."""
    fields = {name: value for name, value in work.items() if value is not None and name not in _MEASURED}
    materials = fields.pop("materials")
    if materials and isinstance(materials, tuple):
        fields["materials"] = [_material(text) for text in materials]
    measured = {name: work[name] for name in _MEASURED if work[name] is not None}
    return fields | ({"measured": measured} if measured else {})


def _material(text: str) -> Fields:
    """`NAME=0.85 L`, or a name alone."""
    name, sign, amount = text.rpartition("=")
    if not sign:
        return {"name": text.strip()}
    parts = amount.split()
    try:
        material: Fields = {"name": name.strip(), "amount": float(parts[0])}
    except (IndexError, ValueError):
        raise InputError(
            f'"{text}" is not a material with its amount: write "{name.strip()}=0.85 L".'
        ) from None
    return material | ({"unit": parts[1]} if len(parts) > 1 else {})


@diary.command()
@click.argument("job")
@click.argument("surface")
@_work
@click.option(
    "--kind", default="", help="For a job that the rules do not have: one of their kinds, or other."
)
@click.option("--key", help="A UUID; sending the same again under it writes nothing.")
@options.CONFIG
@options.AS_JSON
def add(
    job: str, surface: str, kind: str, key: str | None, config: str | None, as_json: bool, **work: object
) -> None:
    """Write down that JOB was done on SURFACE. Without times: just now, in the job's usual length."""
    from planner.actions import record_work

    fields = {"job": job, "surface": surface, "kind": kind, **_fields(work)}
    write(config, as_json, lambda full, store, now: record_work.add(fields, full, store, now, key=key))


@diary.command()
@click.argument("entry")
@_work
@click.option("--job")
@click.option("--surface")
@click.option("--kind")
@click.option("--reason", default="", help="Why it is changed.")
@options.CONFIG
@options.AS_JSON
def edit(
    entry: str,
    job: str | None,
    surface: str | None,
    kind: str | None,
    reason: str,
    config: str | None,
    as_json: bool,
    **work: object,
) -> None:
    """Change the ENTRY (its number or how that begins). What it said before stays in its history."""
    from planner.actions import record_work
    from planner.actions.told import reason_of

    names = {name: value for name, value in (("job", job), ("surface", surface), ("kind", kind)) if value}
    fields = {**_fields(work), **names}

    def changed(full: Config, store: Store, now: datetime) -> StoredEntry:
        number = entry_uuid(entry, store)
        return record_work.edit(number, fields, full, store, now, reason=reason_of(reason))

    write(config, as_json, changed)


@diary.command()
@click.argument("entry")
@click.option("--reason", required=True, help="Why it does not hold.")
@options.CONFIG
@options.AS_JSON
def withdraw(entry: str, reason: str, config: str | None, as_json: bool) -> None:
    """Withdraw the ENTRY. It stays readable in its history."""
    from planner.actions.told import reason_of

    write(
        config,
        as_json,
        lambda _, store, now: store.withdraw_entry(entry_uuid(entry, store), now, reason=reason_of(reason)),
    )


@dataclass(frozen=True, slots=True, kw_only=True)
class _Range:
    """Which entries are asked for."""

    since: str | None
    until: str | None
    job: str | None
    surface: str | None

    def days(self, full: Config) -> tuple[datetime | None, datetime | None]:
        """The first moment, and the one that ends it."""
        from planner.actions.told import day_start

        now, zone = datetime.now(UTC), full.site.zone
        since, until = (
            None if day is None else day_start(day, now, zone) for day in (self.since, self.until)
        )
        return since, until

    def entries(self, full: Config, store: Store, *, with_withdrawn: bool = False) -> tuple[StoredEntry, ...]:
        """The entries of the diary."""
        since, until = self.days(full)
        return store.entries(since, until, self.job, self.surface, with_withdrawn=with_withdrawn)

    def of_site_file(self, full: Config) -> list[SiteFileWork]:
        """Work and sowings of the site file: they count like the diary, and are no entries of it."""
        zone, (first, end) = full.site.zone, self.days(full)
        rows = [("done", work.job, work.surface, work.at) for work in full.done]
        if self.job is None:
            rows += [("sown", f"sown {one.grass.name}", one.surface, one.at) for one in full.sowings]
        return [
            SiteFileWork(table=table, job=name, surface=on, at=at.astimezone(zone))
            for table, name, on, at in sorted(rows, key=lambda row: row[3])
            if (first is None or at >= first)
            and (end is None or at < end)
            and self.job in (None, name)
            and self.surface in (None, on)
        ]


def _range(command: Callable[..., None]) -> Callable[..., None]:
    """The options that say which entries are asked for, gathered into `asked`."""

    @wraps(command)
    def gathered(
        since: str | None, until: str | None, job: str | None, surface: str | None, **others: object
    ) -> None:
        command(asked=_Range(since=since, until=until, job=job, surface=surface), **others)

    for option in (
        click.option("--surface", metavar="S"),
        click.option("--job", metavar="J"),
        click.option("--until", metavar="DAY", help="Up to, not including, this day."),
        click.option("--since", metavar="DAY", help="From this day on."),
    ):
        gathered = option(gathered)
    return gathered


@diary.command(name="list")
@_range
@click.option("--withdrawn", is_flag=True, help="Show withdrawn entries as well.")
@click.option("--history", metavar="ENTRY", help="Every revision of one entry.")
@options.CONFIG
@options.AS_JSON
def list_(asked: _Range, withdrawn: bool, history: str | None, config: str | None, as_json: bool) -> None:
    """What was done, the oldest first."""
    from planner.diary.showing import entry_row

    with options.open_store(config) as (full, store):
        if history:
            found, beside = store.history(entry_uuid(history, store)), []
        else:
            found, beside = asked.entries(full, store, with_withdrawn=withdrawn), asked.of_site_file(full)
        rows = [entry_row(one, full.site.zone) for one in found]
        options.show(
            {"entries": rows, "of_site_file": beside}, lambda: diary_board.listed(rows, beside), as_json
        )


@diary.command()
@_range
@click.option("--format", "form", type=click.Choice(["csv", "json"]), default="csv", show_default=True)
@click.option("--out", metavar="FILE", help="Write to this file instead of standard output.")
@options.CONFIG
def export(asked: _Range, form: str, out: str | None, config: str | None) -> None:
    """Every entry, also those withdrawn, as CSV or JSON."""
    from planner.diary.showing import entry_row, flat_row
    from planner.reports.answers import csv_of

    with options.open_store(config) as (full, store):
        found = asked.entries(full, store, with_withdrawn=True)
        zone = full.site.zone
        if form == "json":
            text = options.as_json_text({"entries": [entry_row(one, zone) for one in found]}) + "\n"
        else:
            text = csv_of([flat_row(one, zone) for one in found])
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
@options.CONFIG
@options.AS_JSON
def sheet(asked: _Range, entry: str | None, config: str | None, as_json: bool) -> None:
    """The spray record: of one ENTRY, or of all of that time. Missing fields are named."""
    from planner.diary.showing import belongs_on_record, spray_records

    with options.open_store(config) as (full, store):
        if entry is not None:
            found = store.history(entry_uuid(entry, store))[-1:]
        else:
            found = tuple(one for one in asked.entries(full, store) if belongs_on_record(one.entry))
        sheets = spray_records(found, full.site.name, full.site.zone)
        options.show({"sheets": sheets}, lambda: diary_board.sheets(sheets), as_json)


@diary.command()
@options.reading
def due(source: options.Source, as_json: bool) -> None:
    """What is due and by when, and how each surface stands."""
    report = options.read_report(source)
    options.show(answers.due(report), lambda: diary_board.due(report), as_json)


for command in (outcome, lessons, import_):
    diary.add_command(command)
