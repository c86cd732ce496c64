"""Several instances of the service that share one database: each works for the sites on which it holds the lease."""

from __future__ import annotations

import asyncio
import logging
import os
import socket
import time
from collections.abc import AsyncIterator, Callable, Sequence
from contextlib import asynccontextmanager
from uuid import uuid4

from fastapi import APIRouter, FastAPI

from planner.service.noted import Noted
from planner.service.threads import Threads
from planner.store.leases import Leases

log = logging.getLogger("planner.service")
#: An instance that has not told for so long that it lives has lost its sites.
LEASE_S = 30.0
#: So often it tells, and takes what is free: others take up the sites of one that died within both together.
BEAT_S = 10.0


class Share:
    """The sites of one database that this instance works for now."""

    def __init__(
        self, leases: Leases, sites: Sequence[str], ticks: Callable[[], float] = time.monotonic
    ) -> None:
        #: Read by people too, who look which machine and process works for a site.
        self.instance = f"{socket.gethostname()}:{os.getpid()}:{uuid4().hex[:8]}"
        self._leases = leases
        self._sites = sites
        self._ticks = ticks
        self._held = self._leaving = frozenset[str]()
        self._until = 0.0

    def holds(self, site: str) -> bool:
        """Whether the site is this instance's: by its own reckoning no longer than by the database's.

        It counts from before it asked, by a clock that nobody sets.
        """
        return site in self._held and self._ticks() < self._until

    def beat(self) -> None:
        """Tell that this instance lives; take up and give back sites. StoreError where the database is away."""
        begun = self._ticks()
        if self._leaving:
            # Work for them ended with the beat before this one.
            self._leases.give_back(self.instance, self._leaving)
        found = self._leases.hold(self.instance, self._sites, LEASE_S)
        held = found.sites - found.surplus
        if held != self._held:
            log.info("this instance works for %d of %d sites", len(held), len(self._sites))
        self._held, self._leaving, self._until = held, found.surplus, begun + LEASE_S

    @asynccontextmanager
    async def kept(self) -> AsyncIterator[None]:
        """Beats while it is open; then every site is given back at once."""
        # In a thread of its own: whatever else takes long, the beat does not wait for it.
        own = Threads("lease", 1)
        # Before anything asks whose the sites are.
        with Noted("taking the first leases"):
            await own.do(self.beat)
        task = asyncio.create_task(self._beating(own))
        try:
            yield
        finally:
            task.cancel()
            await asyncio.gather(task, return_exceptions=True)
            self._held = frozenset()
            with Noted("giving back the leases"):
                await own.do(self._leases.leave, self.instance)
            own.close()

    def router(self) -> APIRouter:
        """No route: what keeps the share for as long as the service of one site runs."""

        @asynccontextmanager
        async def lifespan(app: FastAPI) -> AsyncIterator[None]:
            async with self.kept():
                yield

        return APIRouter(lifespan=lifespan)

    async def _beating(self, own: Threads) -> None:
        beating = Noted("renewing the leases")
        while True:
            await asyncio.sleep(BEAT_S)
            with beating:
                await own.do(self.beat)
