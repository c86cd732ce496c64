"""What every request passes before the routes: the name it asks for, what proxies say of it, how often it comes."""

from __future__ import annotations

import time
from collections.abc import Callable
from typing import TYPE_CHECKING

from planner.service.hosts import KnownHosts
from planner.service.proxies import Trusted, behind
from planner.service.rates import Rates

if TYPE_CHECKING:
    from starlette.types import ASGIApp

    from planner.config.schema import ServicePart


def edge(
    app: ASGIApp,
    service: ServicePart,
    *,
    listens: str,
    has_several: bool = False,
    ticks: Callable[[], float] = time.monotonic,
) -> ASGIApp:
    """The application behind all of that. `listens` is the address it is served on, `has_several` whether it answers
    for several sites, `ticks` a clock that nobody sets, in seconds.
    """
    counted = Rates(app, service, ticks)
    known = behind(counted, prefix=service.prefix, trusted=service.trusted_proxies)
    return KnownHosts(
        known,
        listens=listens,
        named=service.hosts,
        trusted=Trusted(service.trusted_proxies),
        has_several=has_several,
    )
