"""What the service works with beside reading, and what it does on its own: sends messages, keeps the hub's device."""

from __future__ import annotations

import asyncio
import ipaddress
import logging
from collections.abc import AsyncIterator, Callable
from contextlib import asynccontextmanager, suppress
from dataclasses import dataclass
from datetime import datetime
from typing import TYPE_CHECKING

from planner import __version__
from planner.actions.messages import send_due, with_secrets
from planner.config.load import Config
from planner.errors import NoPassYet, PlannerError
from planner.outputs.hub import HomeDevice
from planner.outputs.mqtt import Broker
from planner.reports.now import now as flat_now
from planner.service.cache import ReportCache

if TYPE_CHECKING:
    from planner.store.store import Store

log = logging.getLogger("planner.service")
#: How often messages that failed or were held are looked at again.
SEND_EVERY_S = 60.0


def is_loopback(host: str) -> bool:
    """Whether only this machine can reach the address."""
    if host == "localhost":
        return True
    try:
        return ipaddress.ip_address(host).is_loopback
    except ValueError:
        return False


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

    def renewed(self) -> None:
        """The pass after a write; a fault is logged, since the write itself stands."""
        try:
            self.renew()
        except PlannerError as error:
            log.warning("no pass after a diary entry: %s", error)


@asynccontextmanager
async def background(context: Context) -> AsyncIterator[None]:
    """Sends and keeps the hub's device while it is open."""
    tasks = [asyncio.create_task(_sending(context))] if context.sends else []
    stop: Callable[[], None] | None = None
    if context.sends and context.config().home is not None:
        device = home_device(context.config())
        if device is not None:
            stop = context.cache.listen(lambda: _update(device, context.cache))
            _update(device, context.cache)
            tasks += [
                asyncio.create_task(_keep_home(device)),
                asyncio.create_task(_follow_clock(device, context.cache)),
            ]
    try:
        yield
    finally:
        if stop is not None:
            stop()
        for task in tasks:
            task.cancel()
        await asyncio.gather(*tasks, return_exceptions=True)


async def _sending(context: Context) -> None:
    logged: list[str] = []
    while True:
        try:
            _, faults = await asyncio.to_thread(send_due, context.config(), context.store(), context.clock())
        except PlannerError as error:
            faults = [str(error)]
        for fault in faults:
            if fault not in logged:
                log.warning("%s", fault)
        logged = faults
        await asyncio.sleep(SEND_EVERY_S)


def home_device(config: Config) -> HomeDevice | None:
    """The device on the broker of the site file; None, and a line in the log, when its secret is missing."""
    part = config.home
    if part is None:
        return None
    settings = part.model_dump(exclude_none=True, exclude={"node", "prefix", "url"})
    try:
        broker = Broker(**with_secrets(settings))
    except LookupError as error:
        log.warning("no device on the home dashboard: %s", error.args[0])
        return None
    return HomeDevice(
        broker, config.site.name, node=part.node, prefix=part.prefix, url=part.url, version=__version__
    )


def _update(device: HomeDevice, cache: ReportCache) -> None:
    with suppress(NoPassYet):
        device.update(flat_now(cache.snapshot().report))


async def _follow_clock(device: HomeDevice, cache: ReportCache) -> None:
    """Between passes too a forecast grows old and windows end; the hub must not go on showing them."""
    while True:
        await asyncio.sleep(SEND_EVERY_S)
        await asyncio.to_thread(_update, device, cache)


async def _keep_home(device: HomeDevice) -> None:
    try:
        await device.run()
    except PlannerError as error:
        log.warning("no device on the home dashboard: %s", error)
