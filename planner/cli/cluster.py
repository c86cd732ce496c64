"""Work of many sites on a Dask cluster. The only file that knows Dask, which is loaded when it is used."""

from __future__ import annotations

import logging
from collections.abc import Callable, Iterator, Sequence
from contextlib import ExitStack, contextmanager
from importlib import import_module
from pathlib import Path
from queue import Empty, Queue
from typing import Any, TypeVar
from uuid import uuid4

import click

from planner import __version__
from planner.errors import InputError, PlannerError
from planner.terms import EXTRAS_COMMAND

T = TypeVar("T")
#: A site whose workers died more often than this is put aside, to be tried once more by itself.
_DEATHS = 2
#: How long a scheduler and its first worker are waited for.
_ANSWERS_WITHIN_S = 20
#: So often it is looked whether there is a worker at all while nothing is finished.
_LOOK_EVERY_S = 30.0


@contextmanager
def cluster(scheduler: str | None, workers: int) -> Iterator[Any]:
    """A client of the scheduler at that address, or of so many workers on this machine, closed afterwards.

    InputError where Dask is not installed, or no scheduler with a worker answers there.
    """
    try:
        dask: Any = import_module("dask")
        distributed: Any = import_module("distributed")
    except ModuleNotFoundError as error:
        raise InputError(
            f"A fleet needs the distributed package, which is not installed. Install it with: {EXTRAS_COMMAND}"
        ) from error
    settings = {
        "distributed.scheduler.allowed-failures": _DEATHS,
        # A worker holds one site at a time, so that none is blamed for the death of another's worker.
        "distributed.scheduler.worker-saturation": 1.0,
        "distributed.worker.profile.enabled": False,
    }
    with ExitStack() as stack:
        stack.enter_context(dask.config.set(settings))
        where = scheduler
        if where is None:
            where = stack.enter_context(
                distributed.LocalCluster(
                    n_workers=workers,
                    threads_per_worker=1,
                    processes=True,
                    # Any free port, seen by this machine alone.
                    dashboard_address="127.0.0.1:0",
                    silence_logs=logging.CRITICAL,
                )
            )
        try:
            client = stack.enter_context(
                distributed.Client(where, timeout=_ANSWERS_WITHIN_S, set_as_default=False)
            )
        except (OSError, ValueError) as error:
            raise InputError(
                f"No Dask scheduler answers at {scheduler}: {error}. Start one with `dask scheduler`, and name the "
                "address it prints."
            ) from error
        try:
            client.wait_for_workers(1, timeout=_ANSWERS_WITHIN_S)
        except TimeoutError as error:
            raise InputError(
                f"The Dask scheduler at {scheduler} has no worker. Start one with `dask worker {scheduler}` on a "
                "machine that has haysel and the same site files."
            ) from error
        yield client


def on_cluster(
    client: Any, work: Callable[[Path], T], files: Sequence[Path], failed: Callable[[Path, str], T]
) -> Iterator[T]:
    """The work of each site file, as they are finished. What fails becomes `failed` of its file and the reason.

    When a worker is lost, others do its sites anew: the work must bear to be done again. A site that takes its workers
    with it again and again is at last tried by itself, and given up when it does so still.
    """
    killers: list[Path] = []
    yield from _round(client, work, files, failed, killers)
    for file in killers:
        still: list[Path] = []
        yield from _round(client, work, [file], failed, still)
        if still:
            yield failed(
                file, f"Given up: {_DEATHS + 1} workers died over it, and as many once it was alone."
            )


def _round(
    client: Any,
    work: Callable[[Path], T],
    files: Sequence[Path],
    failed: Callable[[Path, str], T],
    killers: list[Path],
) -> Iterator[T]:
    """The work of these files, but for those over which workers died: they go to `killers`."""
    killed: Any = import_module("distributed").KilledWorker
    group, done = f"site-{uuid4()}", Queue[Any]()
    asked = {}
    for number, file in enumerate(files):
        future = client.submit(_on_worker, work, file, __version__, key=(group, number), pure=False)
        asked[future.key] = file
        future.add_done_callback(done.put)
    while asked:
        future = _next(done, client)
        file = asked.pop(future.key)
        try:
            # Done anew, and waited for, where its worker died before the result was fetched.
            found = future.result()
        except killed:
            killers.append(file)
        except Exception as error:
            if future.cancelled():
                says = "The Dask scheduler was lost before it was done."
            else:
                says = str(error) if isinstance(error, PlannerError) else f"{type(error).__name__}: {error}"
            yield failed(file, says)
        else:
            yield found


def _next(done: Queue[Any], client: Any) -> Any:
    """The next that is finished. While there is no worker at all it is said so, and waited on."""
    while True:
        try:
            return done.get(timeout=_LOOK_EVERY_S)
        except Empty:
            if client.status == "running" and not client.scheduler_info(n_workers=-1)["workers"]:
                click.echo("note: no worker is left; waiting for one.", err=True)


def _on_worker(work: Callable[[Path], T], file: Path, version: str) -> T:
    if version != __version__:
        raise InputError(
            f"A worker has haysel {__version__}, and {version} asked it: install the same on both."
        )
    return work(file)
