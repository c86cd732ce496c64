"""Passes of many sites, one after the other or in processes side by side. Each is kept by its own site's key."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator, Sequence
from concurrent.futures import BrokenExecutor, ProcessPoolExecutor, as_completed
from contextlib import closing
from datetime import UTC, datetime
from multiprocessing import get_context
from pathlib import Path

import click
from msgspec import Struct

from planner.actions.messages import send_due
from planner.actions.one_pass import Passed, again, run
from planner.actions.stored import stored_pass
from planner.cli.board import named_row
from planner.config.load import Config, load
from planner.errors import ForecastUnavailable, NoPassYet, PlannerError
from planner.reports.answers import encode
from planner.reports.headline import headline
from planner.reports.rows import Report
from planner.store.passes import PASS
from planner.store.records import AlreadyKept
from planner.store.store import Store
from planner.terms import in_utc


class SitePass(Struct, frozen=True, kw_only=True):
    """What became of the pass of one site."""

    key: str
    name: str
    file: str
    made_at: str | None
    """None where there was none; then `faults` says why."""
    headline: str | None
    faults: tuple[str, ...]


def passes(files: Sequence[Path], processes: int) -> Iterator[SitePass]:
    """A pass now of each site file, as they are finished. A site that fails is told, and stops no other."""
    if processes <= 1:
        yield from (site_pass(file) for file in files)
        return
    # Begun anew and not forked: a fork copies locks that threads hold.
    with ProcessPoolExecutor(processes, mp_context=get_context("spawn")) as pool:
        asked = {pool.submit(site_pass, file): file for file in files}
        for done in as_completed(asked):
            try:
                yield done.result()
            except BrokenExecutor as error:
                # Its process was killed, and with it the pool: the sites that waited in it are told like it.
                yield no_pass(asked[done], own_fault(error))


def site_pass(file: Path, *, once: str | None = None, kept: bool = False) -> SitePass:
    """A pass now of one site file, from the weather services or, with `kept`, from the forecast that is kept.

    Of the same `once` it is made once, however often and by however many it is asked for.
    """
    key = name = file.stem
    try:
        config = load(file)
        key, name = config.site.key, config.site.name
        with closing(Store.open(config.store.url, site=key, place=config.site.place)) as store:
            report, faults = _made(config, store, once, kept)
    except PlannerError as error:
        return no_pass(file, str(error), key, name)
    except Exception as error:
        # Of our own, or of the machine: the other sites have their passes all the same.
        return no_pass(file, own_fault(error), key, name)
    return SitePass(
        key=key,
        name=name,
        file=str(file),
        made_at=in_utc(report.made_at),
        headline=headline(report),
        faults=faults,
    )


def _made(config: Config, store: Store, once: str | None, kept: bool) -> tuple[Report, tuple[str, ...]]:
    """The report of the pass, and what was wrong; where another has made the pass, the one that is stored."""
    now = datetime.now(UTC)
    try:
        if once is not None and store.is_finished(PASS, once):
            raise AlreadyKept(once)
        passed: Passed | None
        if kept:
            passed = again(config, store, now=now, once=once)
        else:
            passed = run(config, store, now=now, clock=lambda: datetime.now(UTC), once=once)
    except AlreadyKept:
        # Who made it may have died before it sent.
        send_due(config, store, now)
        found = stored_pass(store)
        if found is None:
            raise NoPassYet("Its pass was made, and is gone since.") from None
        return found[0], found[0].faults
    if passed is None:
        raise NoPassYet(
            "No forecast is kept that still says something of the hours to come: leave out --kept."
        )
    return passed.report, passed.faults


def show_passes(found: Iterable[SitePass], as_json: bool, show: Callable[[str], None] = click.echo) -> None:
    """A line of each pass as it comes, or all of them as JSON. ForecastUnavailable where no site has one."""
    told = []
    for one in found:
        told.append(one)
        if not as_json:
            show(named_row(one.key, one.headline or "no pass: " + "; ".join(one.faults)))
    if as_json:
        show(encode(told).decode())
    if not any(one.made_at for one in told):
        raise ForecastUnavailable("No site has a pass; the line of each says why.")


def no_pass(file: Path, fault: str, key: str | None = None, name: str | None = None) -> SitePass:
    """What is told of a site without a pass, by the name of its file where no more is known."""
    return SitePass(
        key=key or file.stem,
        name=name or file.stem,
        file=str(file),
        made_at=None,
        headline=None,
        faults=(fault,),
    )


def own_fault(error: BaseException) -> str:
    """What is said of a fault that is none of the keeper's."""
    return f"A fault of our own ended it: {type(error).__name__}: {error}"
