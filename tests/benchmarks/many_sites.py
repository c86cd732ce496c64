"""Many sites: `python -m tests.benchmarks.many_sites`. What a pass of each costs on a Dask cluster of this machine.

Each site lies at its own place under weather of its own: 16 days of 51 members, eight jobs, five surfaces. The
forecasts are invented and kept beforehand, so that no service is asked. For each number of sites it tells seconds per
site by the wall and by the processors, and the most memory of a process and of all; then the exponent of the whole time
on the number, and how much faster two workers are than one, measured in turn.
"""

from __future__ import annotations

import json
import re
import tempfile
import time
import tomllib
from collections.abc import Iterator, Sequence
from contextlib import closing
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta
from functools import partial
from pathlib import Path
from resource import RUSAGE_SELF, getrusage
from typing import Any
from uuid import uuid4

import click
import msgspec
import numpy as np

from planner.cli.cluster import cluster, on_cluster
from planner.cli.many_sites import SitePass, no_pass, site_pass
from planner.config.load import Config, load
from planner.forecast import ENSEMBLE, RawForecast
from planner.store.store import Store
from planner.weather import Array
from tests.made import ROOT

DAYS, PAST_DAYS, MEMBERS = 16, 3, 51
HOURS = (DAYS + PAST_DAYS) * 24
#: Eight jobs of the shipped rules: cuts, a roll, sprays on leaf and into soil, granules, seed.
JOBS = (
    "mow_green",
    "mow_surrounds",
    "rolling",
    "foliar_feed",
    "growth_regulator",
    "systemic_herbicide",
    "granular_feed",
    "oversowing",
)
#: The most that the whole time may grow with the number of sites, as an exponent.
MOST_EXPONENT = 1.05
#: Most memory of all processes together.
MOST_BYTES = 1_000_000_000


def folder_of(at: Path, sites: int, store: str = "") -> list[Path]:
    """The files of so many sites in a new folder, beside the rules of eight jobs, and a forecast kept for each."""
    at.mkdir()
    (at / "rules.toml").write_text(_rules(), encoding="utf-8")
    files = [_site_file(at, number, store or f"sqlite:///{at / 'kept.db'}") for number in range(sites)]
    now = datetime.now(UTC).replace(minute=0, second=0, microsecond=0)
    with closing(Store.open(load(files[0]).store.url)) as opened:
        for number, file in enumerate(files):
            config = load(file)
            _keep_weather(opened.bound_to(config.site.key, config.site.place), config, number, now)
    return files


def _rules() -> str:
    """The shipped rules with these eight jobs alone."""
    text = (ROOT / "config" / "rules.toml").read_text(encoding="utf-8")
    jobs = tomllib.loads(text)["jobs"]
    kinds = {jobs[name]["kind"] for name in JOBS}
    gone = {word for name in jobs if name not in JOBS for word in (name, jobs[name]["kind"])} - kinds
    kept = []
    for block in re.split(r"^(?=\[)", text, flags=re.MULTILINE):
        job = re.match(r"\[+jobs\.(\w+)", block)
        if job is not None and job[1] not in JOBS:
            continue
        named: set[str] = set()
        if block.startswith("[[gaps]]"):
            gap = tomllib.loads(block)["gaps"][0]
            named = {*gap["done"], *gap["next"]}
        if named.isdisjoint(gone):
            kept.append(block)
    return "".join(kept)


def _site_file(folder: Path, number: int, store: str) -> Path:
    text = (ROOT / "config" / "haysel.toml").read_text(encoding="utf-8")
    for old, new in (
        ('name = "Thistlewick Vale"', f'name = "Green {number}"\nkey = "green-{number}"'),
        ("latitude_deg = 51.62", f"latitude_deg = {50.5 + number % 50 * 0.1:.2f}"),
        ("longitude_deg = -2.21", f"longitude_deg = {-4 + number // 50 * 0.2:.2f}"),
        ("\ndays = 8", f"\ndays = {DAYS}\nensemble = true"),
        # Nobody reads what so many sites would have to say.
        ('rules = "rules.toml"', 'rules = "rules.toml"\noutputs = []'),
        ('[[outputs]]\nkind = "log"\n', ""),
        ('url = "sqlite:///.haysel/haysel.db"', f'url = "{store}"'),
    ):
        assert text.count(old) == 1, old
        text = text.replace(old, new)
    file = folder / f"green-{number}.toml"
    file.write_text(text, encoding="utf-8")
    return file


def _keep_weather(store: Store, config: Config, number: int, now: datetime) -> None:
    rng = np.random.default_rng(number)
    start = now.replace(hour=0) - timedelta(days=PAST_DAYS)
    members = _weather(rng, MEMBERS)
    #: The plain forecast carries what an ensemble does not.
    plain = {
        **{name: values[0] for name, values in members.items()},
        "soil_temperature_6cm": 12 + 2 * _daily() + rng.normal(),
        "dew_point_2m": members["temperature_2m"][0] - 4,
    }
    everyone = {
        name if member == 0 else f"{name}_member{member:02d}": values[member]
        for name, values in members.items()
        for member in range(MEMBERS)
    }
    for provider, columns in (("open-meteo", plain), (ENSEMBLE, everyone)):
        answer = {
            "latitude": config.site.latitude_deg,
            "longitude": config.site.longitude_deg,
            "elevation": config.site.elevation_m,
            "utc_offset_seconds": 0,
            "timezone": "GMT",
            "hourly_units": {"time": "unixtime", **{name: _unit(name) for name in columns}},
            "hourly": {
                "time": (int(start.timestamp()) + 3600 * np.arange(HOURS)).tolist(),
                **{name: np.round(values, 1).tolist() for name, values in columns.items()},
            },
        }
        raw = msgspec.json.encode(answer)
        store.keep_forecast(provider, RawForecast(raw=raw, url="https://example.org/", fetched_at=now))


_UNITS = {
    "temperature_2m": "°C",
    "dew_point_2m": "°C",
    "soil_temperature_6cm": "°C",
    "relative_humidity_2m": "%",
    "precipitation": "mm",
    "wind_speed_10m": "m/s",
    "wind_gusts_10m": "m/s",
    "wind_direction_10m": "°",
    "cloud_cover": "%",
    "shortwave_radiation": "W/m²",
}


def _unit(name: str) -> str:
    return _UNITS[name.split("_member")[0]]


def _daily() -> Array:
    return np.sin((np.arange(HOURS) % 24 - 9) / 24 * 2 * np.pi)


def _weather(rng: np.random.Generator, members: int) -> dict[str, Array]:
    """Members that wander from day to day round what is the site's own, as members do."""
    hours, knots = np.arange(HOURS) / 24, np.arange(HOURS // 24 + 2)
    weights = np.clip(1 - np.abs(hours[np.newaxis] - knots[:, np.newaxis]), 0, None)
    day, shift = _daily(), rng.normal(size=4)

    def wander(spread: float) -> Array:
        own: Array = rng.normal(0, spread, (members, knots.size)) @ weights
        return own

    return {
        "temperature_2m": 13 + shift[0] * 2 + 6 * day + wander(2),
        "relative_humidity_2m": np.clip(75 + shift[1] * 4 - 22 * day + wander(8), 20, 100),
        "precipitation": np.clip(wander(1.5) - 1.7 + shift[2] * 0.3, 0, None),
        "wind_speed_10m": np.clip(3 + shift[3] * 0.5 + 1.5 * day + wander(1.5), 0.2, None),
        "wind_gusts_10m": np.clip(5 + shift[3] * 0.5 + 2 * day + wander(2), 0.2, None),
        "wind_direction_10m": (200 + wander(60)) % 360,
        "cloud_cover": np.clip(50 + wander(40), 0, 100),
        "shortwave_radiation": np.clip(600 * day, 0, None) + np.zeros((members, HOURS)),
    }


@dataclass(frozen=True, slots=True, kw_only=True)
class Measured:
    """What so many sites took."""

    sites: int
    wall_s: float
    cpu_s: float
    most_bytes: int
    """Of the process with the most."""
    all_bytes: int
    """Of all processes, each at its most."""
    workers_bytes: int
    """Of the workers alone: in a long run of tests this process has had its most at something else."""


#: This process, among those that are measured.
HERE = "here"


def measured(client: Any, files: Sequence[Path]) -> Measured:
    """A pass of each, and what that took. Every site must have one."""
    before, begun = _spent(client), time.perf_counter()
    work = partial(site_pass, once=str(uuid4()), kept=True)
    found: list[SitePass] = list(on_cluster(client, work, files, no_pass))
    wall_s = time.perf_counter() - begun
    lacking = [one for one in found if one.made_at is None]
    assert not lacking, lacking[:3]
    assert len(found) == len(files)
    after = _spent(client)
    peaks = [peak for _, peak in after.values()]
    return Measured(
        sites=len(files),
        wall_s=wall_s,
        cpu_s=sum(cpu - before.get(who, (0.0, 0))[0] for who, (cpu, _) in after.items()),
        most_bytes=max(peaks),
        all_bytes=sum(peaks),
        workers_bytes=sum(peak for who, (_, peak) in after.items() if who != HERE),
    )


def _own() -> tuple[float, int]:
    used = getrusage(RUSAGE_SELF)
    # Not `ru_maxrss`: a process begun by another has that of the other, too.
    status = Path("/proc/self/status").read_text(encoding="ascii")
    peak = next(line.split()[1] for line in status.splitlines() if line.startswith("VmHWM"))
    return used.ru_utime + used.ru_stime, int(peak) * 1024


def _spent(client: Any) -> dict[str, tuple[float, int]]:
    """Seconds on the processor so far, and bytes at most, of this process and of each worker."""
    return {HERE: _own(), **client.run(_own)}


def exponent(found: Sequence[Measured], of: str = "wall_s") -> float:
    """By which power of the number of sites the whole time grows, from a straight line through the logarithms."""
    sites = np.log([one.sites for one in found])
    spent = np.log([getattr(one, of) for one in found])
    return float(np.polyfit(sites, spent, 1)[0])


def speedup(files: Sequence[Path], rounds: int) -> tuple[float, list[float]]:
    """How many times as fast two workers are as one, of the best round of each; and that of every round."""
    took: dict[int, list[float]] = {1: [], 2: []}
    for _ in range(rounds):
        for workers in took:
            with cluster(None, workers) as client:
                # What a worker loads at its first site is not what sites cost.
                measured(client, files[: 2 * workers])
                took[workers].append(measured(client, files).wall_s)
    return min(took[1]) / min(took[2]), [one / two for one, two in zip(took[1], took[2], strict=True)]


def told(found: Sequence[Measured]) -> Iterator[str]:
    """A line for each number of sites."""
    yield "sites  s a site  cpu s a site  most MB  all MB"
    for one in found:
        yield (
            f"{one.sites:>5}  {one.wall_s / one.sites:>8.3f}  {one.cpu_s / one.sites:>12.3f}"
            f"  {one.most_bytes / 1e6:>7.0f}  {one.all_bytes / 1e6:>6.0f}"
        )


@click.command()
@click.option("--sites", default="10,30,100,300,1000", help="Numbers of sites, one after the other.")
@click.option("--workers", default=2)
@click.option(
    "--rounds", default=3, help="How often one worker and two are measured in turn; 0 leaves it out."
)
@click.option("--pair-sites", default=40, help="Sites of such a round.")
@click.option(
    "--store", default="", help="Address of a store in place of an SQLite file; it should be empty."
)
def main(sites: str, workers: int, rounds: int, pair_sites: int, store: str) -> None:
    """Measure many sites."""
    numbers = [int(number) for number in sites.split(",") if number]
    with tempfile.TemporaryDirectory() as scratch:
        files = folder_of(Path(scratch) / "sites", max([*numbers, pair_sites if rounds else 0]), store)
        found = []
        for number in numbers:
            with cluster(None, workers) as client:
                measured(client, files[: 2 * workers])
                found.append(measured(client, files[:number]))
            click.echo("\n".join(told(found[-1:])))
        if len(found) > 1:
            click.echo(
                f"exponent: {exponent(found):.3f} by the wall, {exponent(found, 'cpu_s'):.3f} by the processor"
            )
        if rounds:
            ratio, each = speedup(files[:pair_sites], rounds)
            click.echo(
                f"two workers against one: {ratio:.2f} times; rounds {json.dumps([round(r, 2) for r in each])}"
            )


if __name__ == "__main__":
    main()
