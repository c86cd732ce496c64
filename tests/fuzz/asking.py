"""Sends made-up requests to a running service and says which answers are none."""

from __future__ import annotations

import asyncio
import json
import time
from collections import Counter
from collections.abc import Iterable
from dataclasses import dataclass, field

from tests.fuzz.requests import MOW, TOKEN, WATER, Asked, Maker

#: Lines at a time, and the longest that an answer may take when nothing else is asked. [s]
LINES, LONGEST_S = 8, 5.0
#: A line on which nothing comes for so long is given up; far beyond what counts as slow.
_GIVE_UP_S = 120.0
_KINDS = (b"application/problem+json", b"text/html")


@dataclass(slots=True)
class Answered:
    """How a request was answered; status 0 for a line that was closed without an answer."""

    status: int
    headers: dict[bytes, bytes]
    body: bytes
    took_s: float


@dataclass(slots=True)
class Found:
    """What came of many requests."""

    made: int = 0
    statuses: Counter[int] = field(default_factory=Counter)
    longest_s: float = 0.0
    faults: list[str] = field(default_factory=list)


async def ask(port: int, asked: Asked) -> Answered:
    """The answer to a request, on a line of its own."""
    began = time.perf_counter()
    reader, writer = await asyncio.open_connection("127.0.0.1", port)
    try:
        status, headers, body = await asyncio.wait_for(_exchanged(reader, writer, asked), _GIVE_UP_S)
    except (ConnectionError, asyncio.IncompleteReadError):
        status, headers, body = 0, {}, b""
    finally:
        writer.close()
    return Answered(status, headers, body, time.perf_counter() - began)


async def _exchanged(
    reader: asyncio.StreamReader, writer: asyncio.StreamWriter, asked: Asked
) -> tuple[int, dict[bytes, bytes], bytes]:
    writer.write(asked.sent)
    if asked.breaks_off:
        await asyncio.sleep(0)
        return 0, {}, b""
    status, headers = await _head(reader)
    while status == 100:
        status, headers = await _head(reader)
    if asked.method == "HEAD" or status in (204, 304):
        return status, headers, b""
    if headers.get(b"content-type", b"").startswith(b"text/event-stream"):
        # It never ends; that it begins is enough.
        return status, headers, b""
    if b"content-length" in headers:
        return status, headers, await reader.readexactly(int(headers[b"content-length"]))
    return status, headers, await _chunks(reader)


async def _head(reader: asyncio.StreamReader) -> tuple[int, dict[bytes, bytes]]:
    lines = (await reader.readuntil(b"\r\n\r\n")).split(b"\r\n")
    pairs = (line.partition(b":") for line in lines[1:] if line)
    return int(lines[0].split(b" ")[1]), {name.lower(): value.strip() for name, _, value in pairs}


async def _chunks(reader: asyncio.StreamReader) -> bytes:
    got = b""
    while length := int((await reader.readline()).partition(b";")[0], 16):
        got += await reader.readexactly(length)
        await reader.readexactly(2)
    return got


def fault_of(asked: Asked, found: Answered) -> str | None:
    """What is wrong with an answer; None where nothing is."""
    if found.status == 0:
        return None if asked.breaks_off or _may_be_cut(asked) else "no answer"
    if found.status >= 500 and not (found.status == 503 and b"retry-after" in found.headers):
        return f"{found.status}: {found.body[:300]!r}"
    kind = found.headers.get(b"content-type", b"")
    if 400 <= found.status < 500 and asked.method != "HEAD" and not kind.startswith(_KINDS):
        return f"{found.status} as {kind!r}: {found.body[:300]!r}"
    if kind == b"application/problem+json" and asked.method != "HEAD":
        told = json.loads(found.body)
        if told["status"] != found.status or not told["detail"]:
            return f"{found.status} told as {told}"
    return None


def _may_be_cut(asked: Asked) -> bool:
    """Whether so much is sent that the refusal may be lost with the line: who is still sending is cut off."""
    return len(asked.head) + len(asked.body) > 32_000


async def fuzz(port: int, numbers: Iterable[int], seed: int) -> Found:
    """Sends the requests of these numbers, several at a time, and what is slow once more alone."""
    found, waiting = Found(), iter(numbers)
    maker = Maker(seed, await _written(port))
    slow: list[tuple[int, Asked]] = []

    async def one_line() -> None:
        for number in waiting:
            asked = maker.request(number)
            answered = await ask(port, asked)
            found.made += 1
            found.statuses[answered.status] += 1
            found.longest_s = max(found.longest_s, answered.took_s)
            if fault := fault_of(asked, answered):
                found.faults.append(f"{seed}/{number} {asked.head[:200]!r} {asked.body[:200]!r}: {fault}")
            if answered.took_s > LONGEST_S:
                slow.append((number, asked))

    await asyncio.gather(*(one_line() for _ in range(LINES)))
    for number, asked in slow:
        again = await ask(port, asked)
        if again.took_s > LONGEST_S:
            found.faults.append(f"{seed}/{number} {asked.head[:200]!r}: {again.took_s:.1f} s")
    return found


async def _written(port: int) -> list[str]:
    """Ids of entries and readings that are there."""
    ids = []
    for path, fields in (("diary", MOW), ("observations", WATER)) * 3:
        body = json.dumps(fields).encode()
        head = (
            f"POST /api/v1/{path} HTTP/1.1\r\nHost: localhost\r\nAuthorization: Bearer {TOKEN}\r\n"
            f"Content-Type: application/json\r\nContent-Length: {len(body)}\r\n\r\n"
        )
        answered = await ask(port, Asked(head.encode(), body, "POST"))
        assert answered.status == 201, answered
        ids.append(str(json.loads(answered.body)["uuid"]))
    return ids
