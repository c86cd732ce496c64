"""Options that commands share, and where their answers come from."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from contextlib import closing, contextmanager
from dataclasses import dataclass
from datetime import UTC, datetime
from functools import wraps
from pathlib import Path
from typing import TYPE_CHECKING
from zoneinfo import ZoneInfo

import click
import msgspec

from planner.actions.stored import REPORT, WORKINGS, stored_part
from planner.cli.shown import read_in
from planner.config.light import Kept, find, folder_named, kept_at
from planner.errors import InputError
from planner.reports.answers import decode_report, decode_workings, encode
from planner.reports.as_of import as_of
from planner.reports.rows import Report
from planner.reports.workings import Workings

if TYPE_CHECKING:
    from planner.actions.pass_input import Record
    from planner.config.load import Config
    from planner.store.store import Store


CONFIG = click.option(
    "--config", metavar="FILE", help="Site file; else HAYSEL_CONFIG, else config/haysel.toml."
)
AS_JSON = click.option("--json", "as_json", is_flag=True, help="Print JSON instead of text.")


@dataclass(frozen=True, slots=True)
class Source:
    """Where a reading command takes its answer from."""

    config: str | None
    forecast: str | None
    now: str | None
    no_diary: bool = False
    """Whether the diary is left out where a forecast file is read."""

    @property
    def clock(self) -> datetime:
        """The moment the command is asked for."""
        return datetime.now(UTC)


def reading(command: Callable[..., None]) -> Callable[..., None]:
    """The options of every reading command, which gets them as its `source` and `as_json`."""

    @wraps(command)
    def sourced(
        config: str | None, forecast: str | None, now: str | None, no_diary: bool, **others: object
    ) -> None:
        command(Source(config, forecast, now, no_diary), **others)

    for option in (
        AS_JSON,
        click.option("--now", help="With --forecast: judge as at this time (ISO 8601). Default: the clock."),
        click.option("--no-diary", is_flag=True, help="With --forecast: leave the diary out."),
        click.option("--forecast", metavar="FILE", help="Compute from this forecast file; nothing is kept."),
        CONFIG,
    ):
        sourced = option(sourced)
    return sourced


def read_report(source: Source) -> Report:
    """The report as it reads now, from the last stored pass, or computed from a forecast file."""
    if source.forecast is not None:
        report = compute(source)[0]
    else:
        report = as_of(decode_report(stored_part(_kept(source), REPORT)), source.clock)
    read_in(report.site.units)
    return report


def read_workings(source: Source) -> tuple[Report, Workings]:
    """The same with the workings behind it."""
    if source.forecast is not None:
        report, workings = compute(source)
        read_in(report.site.units)
        return report, workings
    return read_report(source), decode_workings(stored_part(_kept(source), WORKINGS))


def _kept(source: Source) -> Kept:
    if source.now is not None:
        raise InputError("--now goes with --forecast FILE; the stored pass has its own time.")
    return kept_at(find(source.config))


def compute(source: Source) -> tuple[Report, Workings]:
    """Report and workings of a forecast file."""
    from planner.actions.one_pass import computed
    from planner.cli.filed import filed
    from planner.forecast.recorded import read_file

    config = full_config(source.config)
    assert source.forecast is not None
    clock = source.clock
    forecast = read_file(Path(source.forecast), fetched_at=clock)
    now = moment(source.now, config.site.zone) if source.now else clock
    weather = forecast.weather
    if not weather.start <= now < weather.end:
        zone = config.site.zone
        raise InputError(
            f"{now.astimezone(zone):%Y-%m-%d %H:%M} lies outside the forecast in {source.forecast}, which runs "
            f"from {weather.start.astimezone(zone):%Y-%m-%d %H:%M} to {weather.end.astimezone(zone):%Y-%m-%d %H:%M}. "
            "Give a time within it with --now."
        )
    found = filed(forecast, Path(source.forecast), now=now, site=config.site)
    record = None if source.no_diary else _record(config, now)
    return computed(config, found.forecast, now=now, age_known=found.age_known, record=record)


def _record(config: Config, now: datetime) -> Record | None:
    """What the diary held at that moment; None where there is no store yet, which is not made for a question."""
    from dataclasses import replace

    from planner.actions.pass_input import record_of
    from planner.store.store import Store

    url = config.store.url
    if url.startswith("sqlite:///") and not Path(url.removeprefix("sqlite:///")).is_file():
        return None
    with closing(Store.open(url, site=config.site.key, place=config.site.place)) as store:
        record = record_of(store, config, now)
    # A warning that stands was raised from another forecast.
    return replace(
        record,
        entries=tuple(one for one in record.entries if one.entry.finished_at <= now),
        standing=(),
    )


def moment(text: str, zone: ZoneInfo) -> datetime:
    """An ISO 8601 time, local where no offset is given."""
    try:
        parsed = datetime.fromisoformat(text)
    except ValueError as error:
        raise InputError(
            f'"{text}" is not a time: write it as 2026-04-08T06:00 (local) or with an offset or Z.'
        ) from error
    return parsed if parsed.tzinfo is not None else parsed.replace(tzinfo=zone)


def show(found: object, text: Callable[[], str], as_json: bool) -> None:
    """Print rows as JSON or as text."""
    click.echo(as_json_text(found) if as_json else text())


def as_json_text(found: object) -> str:
    """Rows as JSON that people can read."""
    return msgspec.json.format(encode(found), indent=2).decode()


def full_config(config: str | None) -> Config:
    """The whole checked config of a site file."""
    from planner.config.load import load

    full = load(find(config))
    read_in(full.site.units)
    return full


def full_configs(config: str | None) -> tuple[Config, ...]:
    """The same of one site file, or of every one in a folder."""
    folder = folder_named(config)
    if folder is None:
        return (full_config(config),)
    from planner.config.folder import load_sites

    return load_sites(folder)


@contextmanager
def open_store(config: str | None) -> Iterator[tuple[Config, Store]]:
    """The whole checked config and its store, open."""
    from planner.store.store import Store

    full = full_config(config)
    with closing(Store.open(full.store.url, site=full.site.key, place=full.site.place)) as store:
        yield full, store
