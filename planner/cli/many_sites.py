"""Passes of many sites, one after the other or in processes side by side. Each is kept by its own site's key."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from concurrent.futures import BrokenExecutor, ProcessPoolExecutor, as_completed
from contextlib import closing
from datetime import UTC, datetime
from multiprocessing import get_context
from pathlib import Path

from msgspec import Struct

from planner.actions.one_pass import run
from planner.config.load import load
from planner.errors import PlannerError
from planner.reports.headline import headline
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
                yield _none(asked[done], _own_fault(error))


def site_pass(file: Path) -> SitePass:
    """A pass now of one site file."""
    key = name = file.stem
    try:
        config = load(file)
        key, name = config.site.key, config.site.name
        with closing(Store.open(config.store.url, site=key, place=config.site.place)) as store:
            passed = run(config, store, now=datetime.now(UTC), clock=lambda: datetime.now(UTC))
    except PlannerError as error:
        return _none(file, str(error), key, name)
    except Exception as error:
        # Of our own, or of the machine: the other sites have their passes all the same.
        return _none(file, _own_fault(error), key, name)
    return SitePass(
        key=key,
        name=name,
        file=str(file),
        made_at=in_utc(passed.report.made_at),
        headline=headline(passed.report),
        faults=passed.faults,
    )


def _none(file: Path, fault: str, key: str | None = None, name: str | None = None) -> SitePass:
    """What is told of a site without a pass, by the name of its file where no more is known."""
    return SitePass(
        key=key or file.stem,
        name=name or file.stem,
        file=str(file),
        made_at=None,
        headline=None,
        faults=(fault,),
    )


def _own_fault(error: Exception) -> str:
    return f"A fault of our own ended it: {type(error).__name__}: {error}"
