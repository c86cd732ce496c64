"""How often a client may ask: reads, writes and wrong tokens are counted for each, and what is too much is put off."""

from __future__ import annotations

import ipaddress
import math
import re
import time
from collections import Counter
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from typing import TYPE_CHECKING

from starlette.exceptions import HTTPException

from planner.service.asked import path_here
from planner.service.problems import refusal

if TYPE_CHECKING:
    from starlette.types import ASGIApp, Message, Receive, Scope, Send

    from planner.config.schema import ServicePart

#: What is counted over this time; a client may ask for all of it at once.
_SPAN_S = 60.0
#: Clients that are remembered for each count; beyond them those go first that have asked least.
MOST_CLIENTS = 4096
#: A question that is asked of many sites is as much work as so many of one.
_OF_MANY_SITES = 10
_MANY_SITES = re.compile(r"/api/v1/sites/[a-z]+")
#: Of the reads those that need the token, and so tell whether it is right; a proxy may send others a token of its own.
_WITH_TOKEN = re.compile(r"(/sites/[a-z0-9_-]+)?/api/v1/(diary|observations)(/.*)?")
_READS = ("GET", "HEAD", "OPTIONS")
_LONGEST_ADDRESS = 64


class Allowance:
    """So many a minute for each client, with a minute's worth at once; 0 for no limit.

    Of a client only the moment is kept at which it may ask for all of it again, and nobody after that moment.
    """

    def __init__(self, a_minute: int, ticks: Callable[[], float], most: int = MOST_CLIENTS) -> None:
        self._step_s = _SPAN_S / a_minute if a_minute else 0.0
        self._ticks = ticks
        self._most = most
        self._whole_at: dict[str, float] = {}

    def __len__(self) -> int:
        return len(self._whole_at)

    def wait_s(self, client: str, cost: int = 1) -> float:
        """Seconds until the client may ask for this; 0 where it may now."""
        now = self._ticks()
        used_s = max(0.0, self._whole_at.get(client, now) - now)
        # What costs more than a whole minute's worth may still be had by who has asked for nothing.
        return max(0.0, used_s + min(cost * self._step_s, _SPAN_S) - _SPAN_S)

    def take(self, client: str, cost: int = 1) -> float:
        """Counts it where the client may ask; else the seconds until it may."""
        wait_s = self.wait_s(client, cost)
        if wait_s == 0.0:
            self.count(client, cost)
        return wait_s

    def count(self, client: str, cost: int = 1) -> None:
        """Counts it, whether or not there was room."""
        if not self._step_s:
            return
        now = self._ticks()
        if client not in self._whole_at and len(self._whole_at) >= self._most:
            self._forget(now)
        whole_at = max(now, self._whole_at.get(client, now)) + cost * self._step_s
        self._whole_at[client] = min(whole_at, now + _SPAN_S)

    def _forget(self, now: float) -> None:
        """Makes room: of those that are whole again, else of the quarter that soonest is."""
        kept = sorted((at, client) for client, at in self._whole_at.items() if at > now)
        kept = kept[max(0, len(kept) - self._most * 3 // 4) :]
        self._whole_at = {client: at for at, client in kept}


class Rates:
    """Answers 429 with Retry-After to a client that asks too often, before anybody else looks at what it sent.

    Who has tried too many wrong tokens is not told whether the next one is right.
    """

    def __init__(
        self, app: ASGIApp, service: ServicePart, ticks: Callable[[], float] = time.monotonic
    ) -> None:
        self._app = app
        self._reads = Allowance(service.reads_per_minute, ticks)
        self._writes = Allowance(service.writes_per_minute, ticks)
        self._wrong_tokens = Allowance(service.wrong_tokens_per_minute, ticks)

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        if scope["type"] != "http":
            await self._app(scope, receive, send)
            return
        client, is_read = client_of(scope), scope["method"] in _READS
        if is_read:
            cost = _OF_MANY_SITES if _MANY_SITES.fullmatch(path_here(scope)) else 1
            wait_s, what = self._reads.take(client, cost), "Too many reads"
        else:
            wait_s, what = self._writes.take(client), "Too many writes"
        has_token = not is_read or (
            any(name == b"authorization" for name, _ in scope["headers"])
            and _WITH_TOKEN.fullmatch(path_here(scope)) is not None
        )
        if not wait_s and has_token:
            wait_s, what = self._wrong_tokens.wait_s(client), "Too many wrong tokens"
        if wait_s:
            await _refused(scope, wait_s, what)(scope, receive, send)
            return
        await self._app(scope, receive, self._watched(client, send) if has_token else send)

    def _watched(self, client: str, send: Send) -> Send:
        async def watched(message: Message) -> None:
            if message["type"] == "http.response.start" and message["status"] == 401:
                self._wrong_tokens.count(client)
            await send(message)

        return watched


def _refused(scope: Scope, wait_s: float, what: str) -> ASGIApp:
    seconds = max(1, math.ceil(wait_s))
    answer = refusal(scope, 429, f"{what} from this address. Wait {seconds} s.", wait_s=seconds)
    # A body may still be under way, and nobody is going to read it.
    answer.headers["Connection"] = "close"
    return answer


def client_of(scope: Scope) -> str:
    """Who asks, as it is counted: an address, of IPv6 the network that one household has (RFC 6177)."""
    client = scope.get("client")
    host = "" if client is None else str(client[0])[:_LONGEST_ADDRESS]
    if ":" not in host:
        return host
    try:
        address = ipaddress.IPv6Address(host.partition("%")[0])
    except ValueError:
        return host
    if address.ipv4_mapped is not None:
        return str(address.ipv4_mapped)
    return str(ipaddress.IPv6Network((int(address) >> 64 << 64, 64)))


class Streams:
    """The event streams that are open: so many in all, and so many for each client; 0 for no limit."""

    def __init__(self, in_all: int, for_each: int) -> None:
        self._in_all = in_all
        self._for_each = for_each
        self._open: Counter[str] = Counter()

    @property
    def open_now(self) -> int:
        """How many are open."""
        return self._open.total()

    def require_room(self, client: str) -> None:
        """HTTPException, 503 or 429, where one more is too many."""
        later = {"Retry-After": "60"}
        if self._in_all and self.open_now >= self._in_all:
            raise HTTPException(
                503, f"{self._in_all} pages listen already. Close some, or read without.", later
            )
        if self._for_each and self._open[client] >= self._for_each:
            says = f"{self._for_each} pages at this address listen already. Close some, or read without."
            raise HTTPException(429, says, later)

    @contextmanager
    def held(self, client: str) -> Iterator[None]:
        """One more, for as long as it is open."""
        self._open[client] += 1
        try:
            yield
        finally:
            self._open[client] -= 1
            if not self._open[client]:
                del self._open[client]
