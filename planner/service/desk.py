"""What the service does beside answering: sends what is due, and keeps the device of a home dashboard."""

from __future__ import annotations

import asyncio
import logging
from collections.abc import AsyncIterator, Callable
from contextlib import asynccontextmanager, suppress
from dataclasses import dataclass
from datetime import datetime
from typing import TYPE_CHECKING, Any

from planner import __version__
from planner.config.load import Config
from planner.errors import NoPassYet, PlannerError
from planner.outputs.home import HomeDevice
from planner.outputs.mqtt import Broker
from planner.service.shelf import Shelf
from planner.telling import send_due, with_secrets

if TYPE_CHECKING:
    from planner.store import Store

log = logging.getLogger("planner.desk")
#: How often messages that failed or were held are looked at again.
SEND_EVERY_S = 60.0


@dataclass(frozen=True, slots=True, kw_only=True)
class Desk:
    """What writing and telling work with."""

    config: Callable[[], Config]
    store: Store
    shelf: Shelf
    clock: Callable[[], datetime]
    token: str
    """The write token; empty when none is set, and then nothing can be written."""
    renew: Callable[[], None]
    """A pass from the kept forecast, called after a write, in a thread of its own."""
    tells: bool = True
    """Whether messages are sent and the home device is kept."""

    def renewed(self) -> None:
        """The pass after a write; a fault is logged, since the write itself stands."""
        try:
            self.renew()
        except PlannerError as error:
            log.warning("no pass after a diary entry: %s", error)


@asynccontextmanager
async def at_work(desk: Desk) -> AsyncIterator[None]:
    """Sends and keeps the home device while it is open."""
    tasks = [asyncio.create_task(_sending(desk))] if desk.tells else []
    listening: Callable[[], None] | None = None
    if desk.tells and desk.config().home is not None:
        device = home_device(desk.config())
        if device is not None:
            listening = desk.shelf.listen(lambda: _tell(device, desk.shelf))
            _tell(device, desk.shelf)
            tasks.append(asyncio.create_task(_keep_home(device)))
    try:
        yield
    finally:
        if listening is not None:
            listening()
        for task in tasks:
            task.cancel()
        await asyncio.gather(*tasks, return_exceptions=True)


async def _sending(desk: Desk) -> None:
    told: list[str] = []
    while True:
        try:
            _, faults = await asyncio.to_thread(send_due, desk.config(), desk.store, desk.clock())
        except PlannerError as error:
            faults = [str(error)]
        for fault in faults:
            if fault not in told:
                log.warning("%s", fault)
        told = faults
        await asyncio.sleep(SEND_EVERY_S)


def home_device(config: Config) -> HomeDevice | None:
    """The device on the broker of the site file; None, and a line in the log, when its secret is missing."""
    part = config.home
    if part is None:
        return None
    settings: dict[str, Any] = part.model_dump(exclude_none=True, exclude={"node", "prefix", "url"})
    try:
        broker = Broker(**with_secrets(settings))
    except LookupError as error:
        log.warning("no device on the home dashboard: %s", error.args[0])
        return None
    return HomeDevice(
        broker, config.site.name, node=part.node, prefix=part.prefix, url=part.url, version=__version__
    )


def _tell(device: HomeDevice, shelf: Shelf) -> None:
    with suppress(NoPassYet, KeyError):
        device.update(shelf.parsed("now"))


async def _keep_home(device: HomeDevice) -> None:
    try:
        await device.run()
    except PlannerError as error:
        log.warning("no device on the home dashboard: %s", error)
