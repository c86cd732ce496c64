"""Options that commands share, and where their answers come from."""

from __future__ import annotations

import json
from collections.abc import Callable
from dataclasses import dataclass
from datetime import UTC, datetime
from pathlib import Path
from typing import TYPE_CHECKING, Any, TypeVar
from zoneinfo import ZoneInfo

import click

from planner.config.light import find, store_url
from planner.errors import InputError, NoPassYet

if TYPE_CHECKING:
    from planner.briefing import Briefing
    from planner.config.load import Config

Command = TypeVar("Command", bound=Callable[..., Any])


@dataclass(frozen=True, slots=True)
class Source:
    """Where a reading command takes its answer from."""

    config: str | None
    forecast: str | None
    now: str | None

    @property
    def clock(self) -> datetime:
        """The moment the command is asked for."""
        return datetime.now(UTC)


def reading(command: Command) -> Command:
    """The options of every reading command."""
    for option in (
        click.option("--json", "as_json", is_flag=True, help="Print JSON instead of text."),
        click.option("--now", help="With --forecast: judge as at this time (ISO 8601). Default: the clock."),
        click.option(
            "--forecast", metavar="FILE", help="Compute from this forecast file, without the store."
        ),
        click.option(
            "--config", metavar="FILE", help="Site file; else HAYSEL_CONFIG, else config/haysel.toml."
        ),
    ):
        command = option(command)
    return command


def answer(name: str, source: Source) -> Any:
    """The answer of that name, from the last stored pass or computed from a forecast file."""
    if source.forecast is None:
        if source.now is not None:
            raise InputError("--now goes with --forecast FILE; the stored pass has its own time.")
        return stored(name, source)
    from planner.answers import ANSWERS, encode

    return json.loads(encode(ANSWERS[name](computed(source))))


def stored(name: str, source: Source) -> Any:
    """An answer of the last stored pass. NoPassYet when there is none."""
    from planner.store.reading import read_answer

    path = find(source.config)
    found = read_answer(store_url(path), name)
    if found is None:
        if read_answer(store_url(path), "days") is not None:
            raise KeyError(name)
        raise NoPassYet(
            "No pass is stored yet. Run `haysel refresh` (or `haysel serve`), or hand in a forecast with "
            "--forecast FILE."
        )
    return json.loads(found.body)


def computed(source: Source) -> Briefing:
    """A briefing from a forecast file."""
    from planner.cli.filed import filed
    from planner.config.load import load
    from planner.cycle import assess
    from planner.forecast.recorded import read_file

    config = load(find(source.config))
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
    return assess(config, found.forecast, now=now, age_known=found.age_known)


def moment(text: str, zone: ZoneInfo) -> datetime:
    """An ISO 8601 time, local where no offset is given."""
    try:
        parsed = datetime.fromisoformat(text)
    except ValueError as error:
        raise InputError(
            f'"{text}" is not a time: write it as 2026-04-08T06:00 (local) or with an offset or Z.'
        ) from error
    return parsed if parsed.tzinfo is not None else parsed.replace(tzinfo=zone)


def site_zone(found: dict[str, Any]) -> ZoneInfo:
    """The site's zone as an answer tells it."""
    return ZoneInfo(found["site"]["timezone"])


def show(found: Any, text: Callable[[], str], as_json: bool) -> None:
    """Print the answer as JSON or as text."""
    click.echo(json.dumps(found, ensure_ascii=False, indent=2) if as_json else text())


def full_config(source: Source) -> Config:
    """The whole checked config."""
    from planner.config.load import load

    return load(find(source.config))
