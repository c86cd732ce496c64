"""What many sites take up: `python -m tests.benchmarks.kept_sites`. Bytes in the store, and a service that shows them.

The sites are those of `tests.benchmarks.many_sites`, with a pass each. The service is begun on them, as a program of
its own; once it shows every site its memory is read, and what it takes of a processor while nobody asks.
"""

from __future__ import annotations

import os
import socket
import subprocess
import sys
import tempfile
import time
from collections.abc import Iterator, Sequence
from contextlib import closing, contextmanager
from pathlib import Path

import click
import httpx
import psutil
from sqlalchemy import func, select, text

from planner.cli.cluster import cluster
from planner.config.load import load
from planner.store.store import Store
from planner.store.tables import forecasts, parts, passes
from tests.benchmarks.many_sites import folder_of, measured
from tests.made import ROOT

#: Ends a run that hangs.
PATIENCE_S = 900.0
#: How long the service is watched while nobody asks.
WATCHED_S = 30.0


def sizes(url: str) -> list[str]:
    """Bytes of a forecast of each service and of a pass as they are kept, and how much more the tables take."""
    found = []
    with closing(Store.open(url)) as store, store._reading() as connection:
        body = func.avg(func.length(forecasts.c.body))
        for row in connection.execute(select(forecasts.c.provider, body).group_by(forecasts.c.provider)):
            found.append(f"a forecast of {row[0]}: {float(row[1]) / 1e3:.0f} kB")
        held = {
            table.name: float(connection.execute(select(func.sum(func.length(table.c.body)))).scalar_one())
            for table in (forecasts, parts)
        }
        many = connection.execute(select(func.count()).select_from(passes)).scalar_one()
        found.append(f"a pass: {held['parts'] / many / 1e3:.0f} kB")
        if connection.dialect.name == "postgresql":
            for table, bytes_held in held.items():
                taken = connection.execute(text(f"select pg_total_relation_size('{table}')")).scalar_one()
                found.append(f"the table {table}: {taken / bytes_held:.2f} times what it holds")
    return found


@contextmanager
def serving(folder: Path, sites: int) -> Iterator[tuple[psutil.Process, str, float]]:
    """A service that shows every site, where it answers, and how long it took till then."""
    with socket.socket() as free:
        free.bind(("127.0.0.1", 0))
        port = free.getsockname()[1]
    begun = time.perf_counter()
    process = subprocess.Popen(
        [sys.executable, "-m", "planner", "serve", "--config", str(folder), "--port", str(port)],
        env={**os.environ, "PYTHONPATH": str(ROOT)},
    )
    try:
        address = f"http://127.0.0.1:{port}"
        while True:
            try:
                rows = httpx.get(f"{address}/api/v1/sites", timeout=60).json()["sites"]
            except httpx.TransportError:
                rows = []
            if len(rows) == sites and all(row["made_at"] for row in rows):
                break
            assert process.poll() is None
            assert time.perf_counter() - begun < PATIENCE_S
            time.sleep(0.2)
        yield psutil.Process(process.pid), address, time.perf_counter() - begun
    finally:
        process.terminate()
        process.wait(60)


def served(folder: Path, keys: Sequence[str]) -> str:
    """What a service of these sites takes, in a line."""
    with serving(folder, len(keys)) as (process, address, took_s):
        shown = process.memory_info().rss
        before = process.cpu_times()
        time.sleep(WATCHED_S)
        after = process.cpu_times()
        idle = (after.user + after.system - before.user - before.system) / WATCHED_S
        for key in keys:
            httpx.get(f"{address}/sites/{key}/", timeout=60)
            httpx.get(f"{address}/sites/{key}/api/v1/windows", timeout=60)
        read = process.memory_info().rss
        lines = len([one for one in process.net_connections("tcp") if one.raddr and one.raddr.port == 5432])
    return (
        f"{len(keys):>5}  {took_s:>7.1f}  {shown / 1e6:>6.0f}  {read / 1e6:>9.0f}  {idle:>10.3f}  {lines:>14}"
    )


@click.command()
@click.option("--sites", default="10,50,200", help="Numbers of sites, one after the other.")
@click.option("--store", default="", help="Address of an empty store in place of an SQLite file.")
def main(sites: str, store: str) -> None:
    """Measure what many sites take up."""
    click.echo("sites  start s  all MB  read MB all  idle cores  database lines")
    for number in (int(one) for one in sites.split(",")):
        with tempfile.TemporaryDirectory() as scratch:
            folder = Path(scratch) / "sites"
            files = folder_of(folder, number, store)
            with cluster(None, 2) as client:
                measured(client, files)
            click.echo(served(folder, [load(file).site.key for file in files]))
            taken = sizes(load(files[0]).store.url)
    click.echo("\n".join(taken))


if __name__ == "__main__":
    main()
