"""One run under load, from the start of the service to its figures."""

from __future__ import annotations

import asyncio
import json
import random
import statistics
import time
from collections import Counter
from collections.abc import Iterator
from contextlib import AsyncExitStack, suppress
from dataclasses import dataclass, field
from pathlib import Path
from uuid import UUID

from tests.load.client import Done, Lines, get
from tests.load.service import TOKEN, Process, bare_route, the_service, weather_service

#: Lines under load, lines that ask as fast as they may, open event streams.
LINES, FAST_LINES, STREAMS = 48, 8, 20
#: Windows of which the best counts where a rate is measured, since the machine has other work; and their length.
ROUNDS, ROUND_S = 5, 1.0
#: Length of a window in which the slowest reads are looked at, how often memory is read and something is written.
WINDOW_S, MEMORY_EVERY_S, WRITE_EVERY_S = 1.0, 1.0, 60.0
#: So many windows of a run are spent on the bare route.
BARE_WINDOWS = 24
#: The first part of a run, in which memory settles.
WARM_UP = 0.3
STORED = ("/api/v1/now", "/api/v1/week", "/api/v1/warnings", "/api/v1/windows", "/api/v1/days", "/metrics")
FILTERED = (
    "/api/v1/windows?job=spraying&day=tomorrow",
    "/api/v1/windows?surface=green",
    "/api/v1/windows?mine=true",
    "/api/v1/ribbons?job=foliar_feed&surface=green",
    "/api/v1/days?surface=green",
    "/api/v1/windows?job=mow_green&day=today",
)
PAGES = ("/", "/sheet", "/ground", "/?day=tomorrow", "/job/foliar_feed", "/calendar.ics")
#: Shares of what is asked: stored reads, filtered reads, pages, and reads that have not changed since.
SHARES = {"stored": 0.6, "filtered": 0.1, "page": 0.05, "unchanged": 0.25}
MB = 1_000_000
_MEMORY_SPAN_S = 600.0


@dataclass(slots=True)
class Run:
    """The figures of one run."""

    minutes: float
    bare_rate: float = 0.0
    """Requests a second of the bare route, over `FAST_LINES` lines."""
    stored_rate: float = 0.0
    filtered_rate: float = 0.0
    idle_median_ms: float = 0.0
    """Of a stored read on a quiet service."""
    asked: int = 0
    rate: float = 0.0
    late: int = 0
    """Turns in which no line was idle."""
    statuses: dict[str, int] = field(default_factory=dict)
    faults: list[str] = field(default_factory=list)
    medians_ms: dict[str, float] = field(default_factory=dict)
    p99_ms: dict[str, float] = field(default_factory=dict)
    stored_p99_windows_ms: list[float] = field(default_factory=list)
    bare_p99_windows_ms: list[float] = field(default_factory=list)
    """Of the bare route at the same rate, in windows between: what the machine and the client allow."""
    events: int = 0
    writes: int = 0
    passes: int = 0
    memory_mb: list[tuple[float, float]] = field(default_factory=list)
    posted_mb: float = 0.0
    posted_peak_mb: float = 0.0
    """By how much the peak of memory rose while so much was posted without a token."""

    def memory_slope_mb(self) -> float:
        """By how much memory grows in ten minutes: a line through all that was read after the warm-up."""
        settled = self.settled()
        slope, _ = statistics.linear_regression([at for at, _ in settled], [mb for _, mb in settled])
        return float(slope * _MEMORY_SPAN_S)

    def settled(self) -> list[tuple[float, float]]:
        """Memory after the warm-up."""
        end = self.memory_mb[-1][0]
        return [(at, mb) for at, mb in self.memory_mb if at >= WARM_UP * end]


def run(folder: Path, minutes: float) -> Run:
    """Starts what is needed, measures, and stops it."""
    found = Run(minutes)
    with weather_service() as weather, the_service(folder, weather) as service:
        body = asyncio.run(_first_pass(service))
        with bare_route(folder, body) as bare:
            asyncio.run(_quiet(found, service, bare))
            asyncio.run(_under_load(found, service, bare))
        asyncio.run(_posted(found, service))
        found.faults += service.told()
    return found


async def _first_pass(service: Process) -> bytes:
    """The bytes of a stored read, once there is a pass."""
    until = time.monotonic() + 120
    while time.monotonic() < until:
        reader, writer = await asyncio.open_connection("127.0.0.1", service.port)
        writer.write(get("/api/v1/now", "Connection: close", compressed=False))
        head, _, body = (await reader.read(-1)).partition(b"\r\n\r\n")
        writer.close()
        await writer.wait_closed()
        if b" 200 " in head[:20]:
            return body
        await asyncio.sleep(0.2)
    raise AssertionError(f"no pass: {service.log.read_text()}")


async def _quiet(found: Run, service: Process, bare: Process) -> None:
    """Rates of bare, stored and filtered in turns, and what a read takes when nothing else is asked."""
    stored = [get("/api/v1/now", compressed=False)]
    filtered = [get(path) for path in FILTERED]
    whole = [get("/api/v1/windows")]
    rates: dict[str, list[float]] = {"bare": [], "stored": [], "filtered": [], "now": []}
    async with Lines(bare.port, FAST_LINES) as to_bare, Lines(service.port, FAST_LINES) as to_service:
        for _ in range(ROUNDS):
            rates["bare"].append(await to_bare.as_fast_as_may_be([get("/", compressed=False)], ROUND_S))
            rates["now"].append(await to_service.as_fast_as_may_be(stored, ROUND_S))
            rates["stored"].append(await to_service.as_fast_as_may_be(whole, ROUND_S))
            rates["filtered"].append(await to_service.as_fast_as_may_be(filtered, ROUND_S))
    async with Lines(service.port, 1) as alone:
        taken = []
        for number in range(300):
            taken.append((await alone.one(get(STORED[number % len(STORED)])))[2])
            await asyncio.sleep(0.005)
    found.bare_rate, found.stored_rate = max(rates["bare"]), max(rates["stored"])
    found.filtered_rate = max(rates["filtered"])
    found.idle_median_ms = statistics.median(taken) * 1000


class _Mix:
    """What is asked next, and what came of it."""

    def __init__(self) -> None:
        self._dice = random.Random(1)
        self._requests = {
            "stored": [get(path) for path in STORED],
            "filtered": [get(path) for path in FILTERED],
            "page": [get(path) for path in PAGES],
        }
        self._tags: dict[str, bytes] = {}
        self.statuses: Counter[str] = Counter()
        self.taken: dict[str, list[float]] = {name: [] for name in SHARES}

    def next_one(self) -> tuple[bytes, Done]:
        """A request, and what is to be told of its answer."""
        sort = self._dice.choices(list(SHARES), list(SHARES.values()))[0]
        if sort == "unchanged":
            path = self._dice.choice(STORED[:-1])
            tag = self._tags.get(path)
            heads = () if tag is None else (f"If-None-Match: {tag.decode()}",)

            def done(status: int, tag: bytes, took_s: float) -> None:
                self._tags[path] = tag
                self._note(sort, status, took_s)

            return get(path, *heads), done
        return self._dice.choice(self._requests[sort]), lambda status, _, took_s: self._note(
            sort, status, took_s
        )

    def _note(self, sort: str, status: int, took_s: float) -> None:
        self.statuses[f"{sort} {status}"] += 1
        self.taken[sort].append(took_s)


async def _under_load(found: Run, service: Process, bare: Process) -> None:
    mix, lasts_s, spent_s = _Mix(), found.minutes * 60, 0.0
    async with AsyncExitStack() as stack:
        lines = await stack.enter_async_context(Lines(service.port, LINES))
        streams = [asyncio.create_task(_listen(found, service)) for _ in range(STREAMS)]
        others = [
            asyncio.create_task(_write(found, service)),
            asyncio.create_task(_weigh(found, service)),
        ]
        rate = found.bare_rate / 2
        bare_after = max(1, round(lasts_s / WINDOW_S / BARE_WINDOWS))
        while spent_s < lasts_s:
            before, began = len(mix.taken["stored"]), time.perf_counter()
            sent, late = await lines.at_a_rate(rate, WINDOW_S, mix.next_one)
            spent_s += time.perf_counter() - began
            found.asked, found.late = found.asked + sent, found.late + late
            found.stored_p99_windows_ms.append(_p99(mix.taken["stored"][before:]))
            if len(found.stored_p99_windows_ms) % bare_after == 0:
                found.bare_p99_windows_ms.append(await _bare_window(bare, rate))
        found.rate = found.asked / spent_s
        for task in (*streams, *others):
            task.cancel()
        for result in await asyncio.gather(*streams, *others, return_exceptions=True):
            if isinstance(result, Exception):
                found.faults.append(repr(result))
    found.statuses = dict(sorted(mix.statuses.items()))
    wrong = [name for name in mix.statuses if name.split()[1] not in ("200", "304")]
    found.faults += [f"{name}: {mix.statuses[name]} times" for name in wrong]
    found.medians_ms = {name: statistics.median(taken) * 1000 for name, taken in mix.taken.items()}
    found.p99_ms = {name: _p99(taken) for name, taken in mix.taken.items()}
    found.passes = await _passes(service)


async def _bare_window(bare: Process, rate: float) -> float:
    """The same of the bare route, asked at that rate for a short while. [ms]"""
    taken: list[float] = []
    request = get("/", compressed=False)
    async with Lines(bare.port, LINES) as lines:
        await lines.at_a_rate(rate, WINDOW_S, lambda: (request, lambda *found: taken.append(found[2])))
    return _p99(taken)


def _p99(taken: list[float]) -> float:
    """The time within which 99 of a hundred were answered. [ms]"""
    return sorted(taken)[int(len(taken) * 0.99)] * 1000


async def _listen(found: Run, service: Process) -> None:
    reader, writer = await asyncio.open_connection("127.0.0.1", service.port)
    try:
        writer.write(get("/api/v1/events"))
        while line := await reader.readline():
            found.events += line.startswith(b"event: pass")
    finally:
        writer.close()
        with suppress(ConnectionError):
            await writer.wait_closed()
    raise AssertionError("a stream was ended")


async def _write(found: Run, service: Process) -> None:
    """An entry now and then, withdrawn again, so that the record stays as long as it is; a pass follows each."""
    auth = f"Host: localhost\r\nAuthorization: Bearer {TOKEN}\r\n"
    async with Lines(service.port, 1) as line:
        for number in _counted():
            # Under a key of our own: an entry has its key as its number.
            key = str(UUID(int=number // 2, version=4))
            body = json.dumps({"job": "mow_green", "surface": "green", "notes": "load"})
            write = (
                f"POST /api/v1/diary HTTP/1.1\r\n{auth}Idempotency-Key: {key}\r\n"
                f"Content-Type: application/json\r\nContent-Length: {len(body)}\r\n\r\n{body}"
            )
            withdraw = f"DELETE /api/v1/diary/{key}?reason=load HTTP/1.1\r\n{auth}\r\n"
            status, _, _ = await line.one((withdraw if number % 2 else write).encode())
            assert status == (200 if number % 2 else 201), status
            found.writes += 1
            await asyncio.sleep(WRITE_EVERY_S)


def _counted() -> Iterator[int]:
    number = 0
    while True:
        yield number
        number += 1


async def _weigh(found: Run, service: Process) -> None:
    began = time.perf_counter()
    while True:
        found.memory_mb.append((round(time.perf_counter() - began, 2), service.memory_mb()))
        await asyncio.sleep(MEMORY_EVERY_S)


async def _passes(service: Process) -> int:
    """How many passes there have been since the start, by the number of the newest entry of the store."""
    import sqlite3

    with sqlite3.connect(service.log.parent / "load.db") as store:
        return int(store.execute("select count(*) from passes").fetchone()[0])


async def _posted(found: Run, service: Process) -> None:
    """Posts 200 MB without a token, with the length told and in chunks, and looks at the peak of memory."""
    before = service.memory_mb()
    service.forget_peak()
    sent = 0

    async def post(path: str, is_chunked: bool) -> None:
        nonlocal sent
        reader, writer = await asyncio.open_connection("127.0.0.1", service.port)
        told = "Transfer-Encoding: chunked" if is_chunked else f"Content-Length: {25 * MB}"
        writer.write(
            f"POST {path} HTTP/1.1\r\nHost: localhost\r\nContent-Type: application/json\r\n{told}\r\n\r\n".encode()
        )
        part = b"x" * 65_536
        part = b"10000\r\n" + part + b"\r\n" if is_chunked else part
        try:
            for _ in range(25 * MB // len(part)):
                writer.write(part)
                await writer.drain()
                sent += len(part)
        except ConnectionError:
            # Cut off by the service, as it should be.
            pass
        writer.close()
        with suppress(ConnectionError):
            await writer.wait_closed()

    while sent < 200 * MB:
        await asyncio.gather(
            *(
                post(path, is_chunked)
                for path in ("/api/v1/diary", "/diary", "/api/v1/now", "/nothing")
                for is_chunked in (False, True)
            )
        )
    found.posted_mb = sent / MB
    found.posted_peak_mb = max(0.0, service.peak_mb() - before)
