"""The newest report as it reads now, what is drawn from it, each drawn once, and how that is sent."""

from __future__ import annotations

import gzip
import threading
from collections.abc import Callable
from contextlib import suppress
from dataclasses import dataclass, field
from datetime import datetime
from functools import cached_property
from hashlib import sha256
from typing import TYPE_CHECKING

from fastapi import Request, Response

from planner.errors import NoPassYet
from planner.page import CONTENT_POLICY, HTML
from planner.reports.as_of import as_of, holds_until
from planner.reports.rows import Report
from planner.reports.workings import Workings
from planner.service.asked import path_here
from planner.service.noted import Noted

if TYPE_CHECKING:
    from starlette.types import ASGIApp, Receive, Scope, Send

#: Answers kept of one snapshot, and their bytes in all; past that a filtered one is made anew each time. A site's own
#: pages and reads are some 5 MB.
_MOST_KEPT, _MOST_BYTES_KEPT = 512, 16_000_000
#: A question this long is not asked again and again. [bytes]
_LONGEST_QUESTION_KEPT = 200
#: A timer may run out a little before the clock has reached its moment.
_A_MOMENT_S = 0.05


@dataclass(frozen=True)
class Item:
    """One answer ready to send."""

    content_type: str
    body: bytes
    etag: str
    ready: dict[bool, tuple[bytes, list[tuple[bytes, bytes]]]] = field(default_factory=dict, compare=False)
    """Body and head as they were sent before, plain (False) and compressed (True)."""

    @cached_property
    def compressed(self) -> bytes:
        """The bytes as gzip, made when first asked for."""
        return gzip.compress(self.body, 6, mtime=0)


def item(content_type: str, body: bytes) -> Item:
    """An answer with a strong ETag from its bytes."""
    return Item(content_type, body, f'"{sha256(body).hexdigest()[:32]}"')


Draw = Callable[[Report], bytes]
#: What names an answer: its name, and what was asked for.
Key = tuple[str | None, ...]


class Snapshot:
    """A report as it reads at one moment, with the answers that were drawn from it."""

    def __init__(self, report: Report, workings: Workings) -> None:
        self.report = report
        self.workings = workings
        self.until = holds_until(report)
        self._items: dict[Key, Item] = {}
        self._bytes_kept = 0
        self._ready: dict[tuple[str, bytes], Item] = {}
        self._lock = threading.Lock()

    def holds(self, now: datetime) -> bool:
        """Whether the report reads like this at that moment."""
        # As it was made it also reads before its own moment: the clock may have been set back.
        return now < self.until and (now >= self.report.as_of or self.report.as_of == self.report.made_at)

    def drawn(self, key: Key) -> Item | None:
        """The answer under the key, where it has been asked for before."""
        return self._items.get(key)

    def ready(self, path: str, question: bytes) -> Item | None:
        """The answer to that very address, where it has been given before."""
        return self._ready.get((path, question))

    def make_ready(self, path: str, question: bytes, key: Key) -> None:
        """From now on the answer under the key is that to that very address, if it is kept. Not where it goes by the
        clock, too.
        """
        found = self._items.get(key)
        if found is not None and len(self._ready) < _MOST_KEPT and len(question) <= _LONGEST_QUESTION_KEPT:
            self._ready[path, question] = found

    def item(self, key: Key, content_type: str, draw: Draw) -> Item:
        """The answer under the key, drawn when it is first asked for."""
        found = self._items.get(key)
        if found is not None:
            return found
        with self._lock:
            found = self._items.get(key)
            if found is None:
                found = item(content_type, draw(self.report))
                kept = self._bytes_kept + len(found.body)
                if len(self._items) < _MOST_KEPT and kept <= _MOST_BYTES_KEPT:
                    self._items[key], self._bytes_kept = found, kept
            return found


class ReportCache:
    """Holds the report of the newest pass. Passes put, requests read; both may run in different threads.

    A report is shown as it is until it would be wrong: until a window or warning is over, an hour or a day turns,
    or the forecast counts as stale. From then on it is shown as of the moment of the reading.
    """

    def __init__(
        self, clock: Callable[[], datetime], drawn_at_once: Callable[[Snapshot], object] | None = None
    ) -> None:
        self._clock = clock
        self._drawn_at_once = drawn_at_once
        self._lock = threading.Lock()
        self._made: Snapshot | None = None
        self._shown: Snapshot | None = None
        self._told: Snapshot | None = None
        self._listeners: list[tuple[Callable[[], object], Noted]] = []
        self._why: Callable[[], str | None] | None = None

    @property
    def made_at(self) -> datetime | None:
        """When the newest pass was made; None before the first."""
        return None if self._made is None else self._made.report.made_at

    @property
    def stale_at(self) -> datetime | None:
        """From when its forecast counts as stale."""
        return None if self._made is None else self._made.report.forecast.stale_at

    def put(self, report: Report, workings: Workings) -> None:
        """Show the report of a new pass from now on."""
        made = Snapshot(report, workings)
        if self._drawn_at_once is not None:
            # In the thread of the pass, so that no reader waits for the pages.
            self._drawn_at_once(made)
        with self._lock:
            self._made = self._shown = self._told = made
        self._tell()

    def explain_by(self, why: Callable[[], str | None]) -> None:
        """What to say of an answer that is not there yet: the fault of those who make it."""
        self._why = why

    def clear(self) -> None:
        """Show nothing until the next report is put."""
        with self._lock:
            self._made = self._shown = self._told = None

    def listen(self, listener: Callable[[], object]) -> Callable[[], None]:
        """Call the listener after each pass, and when what is shown turns. The answer takes it off again."""
        entry = (listener, Noted("telling one that listens"))
        with self._lock:
            self._listeners.append(entry)
        return lambda: self._listeners.remove(entry)

    def turns_in_s(self, at_most: float) -> float:
        """Seconds until what was told last would be wrong, and a moment more; `at_most` where that is longer."""
        told = self._told
        if told is None:
            return at_most
        left = (told.until - self._clock()).total_seconds()
        return min(at_most, max(0.0, left) + _A_MOMENT_S)

    def turn(self) -> None:
        """Tell those who listen when what is shown is no longer what they were told last."""
        if self._told is None:
            return
        with suppress(NoPassYet):
            shown = self.snapshot()
            if shown is not self._told:
                self._told = shown
                self._tell()

    def _tell(self) -> None:
        with self._lock:
            listeners = list(self._listeners)
        for listener, telling in listeners:
            # One that fails keeps none of the others from hearing.
            with telling:
                listener()

    def snapshot(self) -> Snapshot:
        """The report as it reads now. NoPassYet before the first pass."""
        now, shown = self._clock(), self._shown
        return shown if shown is not None and shown.holds(now) else self._as_of(now)

    def _as_of(self, now: datetime) -> Snapshot:
        """The snapshot of this moment, made by the first who asks."""
        with self._lock:
            made, shown = self._made, self._shown
            if made is None or shown is None:
                fault = self._why() if self._why is not None else None
                raise NoPassYet(
                    f"There is no forecast yet. {fault.rstrip('.')}. It is asked for again by itself."
                    if fault
                    else "The first pass is not finished yet. Ask again in a minute."
                )
            if not shown.holds(now):
                # Always from the report as it was made: the clock may also have been set back.
                aged = Snapshot(as_of(made.report, now), made.workings)
                self._shown = shown = made if aged.report is made.report else aged
            return shown


class Ready:
    """Answers an address that has been asked before, while its answer holds: the routes need not be searched for it,
    which takes longer than all else.
    """

    def __init__(self, app: ASGIApp, cache: ReportCache) -> None:
        self._app = app
        self._cache = cache

    async def __call__(self, scope: Scope, receive: Receive, send_on: Send) -> None:
        if scope["type"] == "http" and scope["method"] == "GET":
            with suppress(NoPassYet):
                found = self._cache.snapshot().ready(path_here(scope), scope["query_string"])
                if found is not None:
                    await sent(scope["headers"], found)(scope, receive, send_on)
                    return
        await self._app(scope, receive, send_on)


#: Below this compressing is not worth a header.
_WORTH_COMPRESSING = 1400
_PAGE_HEADERS = [
    (b"content-security-policy", CONTENT_POLICY.encode()),
    (b"referrer-policy", b"no-referrer"),
    (b"x-content-type-options", b"nosniff"),
]

Heads = list[tuple[bytes, bytes]]


class Stored(Response):
    """A response whose head is ready made: an answer is sent as it lies, thousands of times a pass."""

    def __init__(self, body: bytes, status: int, heads: Heads) -> None:
        self.status_code = status
        self.body = body
        self.background = None
        self.raw_headers = heads


def send(request: Request, found: Item) -> Response:
    """The bytes, or 304 when the caller has them."""
    return sent(request.scope["headers"], found)


def sent(heads: Heads, found: Item) -> Response:
    """The same, by the head of the request."""
    known, can_read_gzip = None, False
    for name, value in heads:
        if name == b"if-none-match":
            known = value
        elif name == b"accept-encoding":
            can_read_gzip = b"gzip" in value
    compressed = can_read_gzip and len(found.body) > _WORTH_COMPRESSING
    if known is not None and _has(known.decode("latin-1"), found.etag):
        return Stored(b"", 304, _common(found, compressed))
    ready = found.ready.get(compressed)
    if ready is None:
        body = found.compressed if compressed else found.body
        heads = [*_common(found, compressed), (b"content-length", str(len(body)).encode())]
        heads.append((b"content-type", found.content_type.encode()))
        if compressed:
            heads.append((b"content-encoding", b"gzip"))
        if found.content_type == HTML:
            heads += _PAGE_HEADERS
        ready = found.ready[compressed] = (body, heads)
    return Stored(ready[0], 200, list(ready[1]))


def _common(found: Item, compressed: bool) -> Heads:
    """What the whole answer and its 304 both tell."""
    tag = _tag(found.etag, compressed).encode()
    return [(b"etag", tag), (b"cache-control", b"no-cache"), (b"vary", b"Accept-Encoding")]


def _tag(etag: str, compressed: bool) -> str:
    """Other bytes have another tag."""
    return f'{etag[:-1]}-gz"' if compressed else etag


def _has(header: str, etag: str) -> bool:
    """Whether the caller holds this answer, in whichever form it was sent."""
    if header.strip() == "*":
        return True
    tags = {tag.strip().removeprefix("W/") for tag in header.split(",")}
    return not tags.isdisjoint((etag, _tag(etag, True)))
