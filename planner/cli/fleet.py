"""haysel fleet: the passes or replays of many sites on a cluster."""

from __future__ import annotations

import sys
from collections.abc import Callable, Iterable, Iterator, Mapping
from contextlib import contextmanager
from functools import partial
from pathlib import Path
from typing import TYPE_CHECKING, TypeVar
from uuid import uuid4

import click
from msgspec import Struct

from planner.cli.board import named_row
from planner.cli.options import AS_JSON, CONFIG, full_configs
from planner.errors import InputError, PlannerError
from planner.reports.answers import encode

if TYPE_CHECKING:
    from click._termui_impl import ProgressBar

T = TypeVar("T")


class SiteReplay(Struct, frozen=True, kw_only=True):
    """What became of the replay of past weather at one site."""

    key: str
    name: str
    file: str
    replay: Mapping[str, object] | None
    """As `haysel hindcast --json` has it; None where there is none, and then `faults` says why."""
    faults: tuple[str, ...]


@click.command()
@CONFIG
@click.option("--workers", type=click.IntRange(1, 64), help="Workers on this machine; default 2.")
@click.option(
    "--scheduler", metavar="ADDRESS", help="A Dask scheduler that runs already, such as tcp://host:8786."
)
@click.option(
    "--kept", is_flag=True, help="Passes from the forecasts that are kept, asking no weather service."
)
@click.option("--year", type=int, help="Replay this year of the archive at each site in place of a pass.")
@click.option(
    "--weather", metavar="FILE", help="Replay the hours of this file at each site in place of a pass."
)
@AS_JSON
def fleet(
    config: str | None,
    workers: int | None,
    scheduler: str | None,
    kept: bool,
    year: int | None,
    weather: str | None,
    as_json: bool,
) -> None:
    """A pass of every site of a folder, by many workers: the sites of a worker that dies are done by the others."""
    if scheduler is not None and workers is not None:
        raise InputError(
            "Give either --scheduler ADDRESS or --workers N: a scheduler has workers of its own."
        )
    if kept and (year is not None or weather is not None):
        raise InputError("--kept is for passes: leave it out where past weather is replayed.")
    from planner.cli.cluster import cluster, on_cluster

    files = [one.file.absolute() for one in full_configs(config)]
    with cluster(scheduler, workers or 2) as client, _progress(len(files)) as progress:
        if year is not None or weather is not None:
            hours = None if weather is None else str(Path(weather).absolute())
            replay = partial(site_replay, weather=hours, year=year)
            _show_replays(
                progress.counted(on_cluster(client, replay, files, no_replay)), as_json, progress.show
            )
            return
        from planner.cli.many_sites import no_pass, show_passes, site_pass

        # Named anew each time: what is done again by another worker is the same pass, kept once.
        work = partial(site_pass, once=f"fleet {uuid4()}", kept=kept)
        show_passes(progress.counted(on_cluster(client, work, files, no_pass)), as_json, progress.show)


def site_replay(file: Path, *, weather: str | None, year: int | None) -> SiteReplay:
    """The replay of a file of weather, or of a year of the archive, at one site."""
    from planner.cli.hindcast import past_weather
    from planner.cli.many_sites import own_fault
    from planner.config.load import load
    from planner.planning.conditions import conditions_of
    from planner.planning.hindcast import as_dict, replay

    key = name = file.stem
    try:
        full = load(file)
        key, name = full.site.key, full.site.name
        hours = past_weather(full, weather, year)
        conditions = conditions_of(hours, full.site, now=hours.start, constants=full.constants)
        found = as_dict(replay(conditions, full.jobs), conditions)
    except PlannerError as error:
        return no_replay(file, str(error), key, name)
    except Exception as error:
        return no_replay(file, own_fault(error), key, name)
    return SiteReplay(key=key, name=name, file=str(file), replay=found, faults=())


def no_replay(file: Path, fault: str, key: str | None = None, name: str | None = None) -> SiteReplay:
    """What is told of a site without a replay, by the name of its file where no more is known."""
    return SiteReplay(
        key=key or file.stem, name=name or file.stem, file=str(file), replay=None, faults=(fault,)
    )


def _show_replays(found: Iterable[SiteReplay], as_json: bool, show: Callable[[str], None]) -> None:
    told = []
    for one in found:
        told.append(one)
        if not as_json:
            says = "no replay: " + "; ".join(one.faults) if one.replay is None else _sums(one.replay)
            show(named_row(one.key, says))
    if as_json:
        show(encode(told).decode())
    if all(one.replay is None for one in told):
        raise InputError("No site has a replay; the line of each says why.")


def _sums(replay: Mapping[str, object]) -> str:
    rows = replay["jobs"]
    assert isinstance(rows, list)
    windows, hours = (sum(row[name] for row in rows) for name in ("windows", "open_hours"))
    never = sum(row["never_opens"] for row in rows)
    return f"{windows} windows, {hours} h open; {never} of {len(rows)} jobs on a surface never open"


class _Progress:
    """How far it is, on standard error: a bar on a terminal, else a line at each tenth of the way."""

    def __init__(self, sites: int, bar: ProgressBar[int] | None) -> None:
        self._sites, self._bar, self._done = sites, bar, 0

    def counted(self, found: Iterator[T]) -> Iterator[T]:
        """The same, each counted once it is dealt with."""
        for one in found:
            yield one
            self._done += 1
            if self._bar is not None:
                self._bar.update(1)
            elif self._done % max(1, self._sites // 10) == 0 or self._done == self._sites:
                click.echo(f"{self._done} of {self._sites} sites done.", err=True)

    def show(self, text: str) -> None:
        """A line on standard output, in place of the bar, which is drawn again below it."""
        if self._bar is not None:
            click.echo("\r\033[K", err=True, nl=False)
        click.echo(text)


@contextmanager
def _progress(sites: int) -> Iterator[_Progress]:
    if not sys.stderr.isatty():
        yield _Progress(sites, None)
        return
    with click.progressbar(length=sites, label="Sites", file=sys.stderr) as bar:
        yield _Progress(sites, bar)
