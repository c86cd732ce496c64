"""What the service works with beside reading, and what it does on its own: it sends, and tells what turned."""

from __future__ import annotations

import asyncio
import logging
from collections.abc import AsyncIterator, Callable, Coroutine, Iterable
from contextlib import asynccontextmanager
from dataclasses import dataclass
from datetime import datetime
from typing import TYPE_CHECKING, Any

from planner.actions.messages import send_due
from planner.config.load import Config
from planner.service.cache import ReportCache
from planner.service.hosts import is_loopback, is_of_this_machine
from planner.service.noted import Noted
from planner.service.threads import LOOKS, SENDS

if TYPE_CHECKING:
    from starlette.requests import Request

    from planner.store.store import Store

log = logging.getLogger("planner.service")
#: How often messages that failed or were held are looked at again.
SEND_EVERY_S = 60.0
#: How often it is looked whether the site is still this instance's to work for.
OURS_EVERY_S = 2.0
#: An answer that has turned is told within this time also where the clock was set or the machine slept.
TURN_WITHIN_S = 30.0


#: What a proxy writes to say for whom it asks.
_FORWARDED = ("forwarded", "x-forwarded-for", "x-forwarded-host", "x-real-ip", "via")


def is_from_here(request: Request) -> bool:
    """Whether a request comes from this machine, and was meant for it.

    A page elsewhere can have its own name lead here (DNS rebinding), and a proxy on this machine looks like the machine
    itself: a name that was asked for and is not this machine's, or a header by which a proxy says for whom it asks,
    gives them away. A proxy that passes on a loopback name, and no such header, cannot be told from the machine; nginx
    does so where neither Host nor X-Forwarded-For is set.
    """
    if request.client is None or not is_loopback(request.client.host):
        return False
    if any(header in request.headers for header in _FORWARDED):
        return False
    return is_of_this_machine(request.url.hostname or "")


@dataclass(frozen=True, slots=True, kw_only=True)
class Context:
    """What writing and sending work with."""

    config: Callable[[], Config]
    store: Callable[[], Store]
    cache: ReportCache
    clock: Callable[[], datetime]
    token: str
    """The write token; empty when none is set, and then nothing can be written."""
    renew: Callable[[], None]
    """A pass from the kept forecast, called after a write, in a thread of its own."""
    sends: bool = True
    """Whether messages are sent and the hub's device is kept."""
    is_ours: Callable[[], bool] = lambda: True
    """Whether this instance works for the site now; where it does not, another sends and keeps the lines."""

    def renewed(self) -> None:
        """The pass after a write; a fault is logged, since the write itself stands."""
        with Noted("a pass after a diary entry"):
            self.renew()


@asynccontextmanager
async def background(context: Context) -> AsyncIterator[None]:
    """Sends, keeps the lines to brokers, and tells when an answer has turned, while it is open."""
    works = [_turning(context)]
    if context.sends:
        works += [_sending(context), _on_the_line(context)]
    async with _at_work(works):
        yield


@asynccontextmanager
async def _at_work(works: Iterable[Coroutine[Any, Any, None]]) -> AsyncIterator[None]:
    tasks = [asyncio.create_task(one) for one in works]
    try:
        yield
    finally:
        for task in tasks:
            task.cancel()
        await asyncio.gather(*tasks, return_exceptions=True)


async def _on_the_line(context: Context) -> None:
    """Keeps the lines to brokers for as long as the site is ours: two instances there would speak for one site."""
    from planner.service.lines import lines

    keeping = Noted("keeping the lines to brokers")
    while True:
        with keeping:
            if context.is_ours():
                with lines(context) as kept:
                    async with _at_work(kept):
                        while context.is_ours():
                            await asyncio.sleep(OURS_EVERY_S)
        await asyncio.sleep(OURS_EVERY_S)


async def _turning(context: Context) -> None:
    """Between passes too a forecast grows old, a window begins or ends, a day turns: told at that moment."""
    telling = Noted("telling what has turned")
    while True:
        # What failed is due still, and would be tried without a pause.
        await asyncio.sleep(TURN_WITHIN_S if telling.is_faulty else context.cache.turns_in_s(TURN_WITHIN_S))
        with telling:
            # In a thread: what listens draws and encodes.
            await LOOKS.do(context.cache.turn)


async def _sending(context: Context) -> None:
    logged: list[str] = []
    sending = Noted("sending messages")
    while True:
        with sending:
            if not context.is_ours():
                await asyncio.sleep(OURS_EVERY_S)
                continue
            _, faults = await SENDS.do(send_due, context.config(), context.store(), context.clock())
            for fault in faults:
                if fault not in logged:
                    log.warning("%s", fault)
            logged = faults
        await asyncio.sleep(SEND_EVERY_S)
