"""What a proxy in front says of the way a request came: believed only from those that the site file names."""

from __future__ import annotations

import re
from collections.abc import Iterable
from ipaddress import ip_address, ip_network
from typing import TYPE_CHECKING

from starlette.middleware.cors import CORSMiddleware
from uvicorn.middleware.proxy_headers import ProxyHeadersMiddleware

from planner.config.schema import PREFIX
from planner.service.asked import path_here

if TYPE_CHECKING:
    from starlette.types import ASGIApp, Receive, Scope, Send


class Trusted:
    """The proxies that are believed, as the server's own reading of their headers has it: an address, a network that
    holds it, or a name.
    """

    def __init__(self, proxies: Iterable[str]) -> None:
        self.names = tuple(proxies)
        self._exact = frozenset(self.names)
        self._networks = [ip_network(one, strict=False) for one in self.names if _is_network(one)]

    def holds(self, host: str) -> bool:
        """Whether the address is one of theirs."""
        if host in self._exact:
            return True
        try:
            address = ip_address(host)
        except ValueError:
            return False
        return any(address in network for network in self._networks)

    def sent(self, scope: Scope) -> bool:
        """Whether one of them sent the request; asked before the client is set to the one it asks for."""
        client = scope.get("client")
        return client is not None and self.holds(client[0])


class Prefix:
    """Sets the path under which the service is reached: from `X-Forwarded-Prefix` of a trusted proxy, else `fixed`."""

    def __init__(self, app: ASGIApp, fixed: str, trusted: Trusted) -> None:
        self._app = app
        self._fixed = fixed.rstrip("/")
        self._trusted = trusted

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        if scope["type"] == "http":
            scope["root_path"] = self._of(scope)
        await self._app(scope, receive, send)

    def _of(self, scope: Scope) -> str:
        sent = [value for name, value in scope["headers"] if name == b"x-forwarded-prefix"]
        if sent and self._trusted.sent(scope):
            prefix = sent[0].decode("latin-1").rstrip("/") if len(sent) == 1 else ""
            if PREFIX.fullmatch(prefix):
                return prefix
        return self._fixed


def _is_network(text: str) -> bool:
    try:
        ip_network(text, strict=False)
    except ValueError:
        return False
    return True


def behind(app: ASGIApp, *, prefix: str, trusted: tuple[str, ...]) -> ASGIApp:
    """The application as it is reached through proxies: prefix, scheme and client are theirs where they are trusted."""
    forwarded = ProxyHeadersMiddleware(app, trusted_hosts=list(trusted))  # type: ignore[arg-type]
    return Prefix(forwarded, prefix, Trusted(trusted))  # type: ignore[arg-type]


class ReadElsewhere(CORSMiddleware):
    """Lets pages of named origins read the answers of a pass; never the diary, which names people."""

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        path = path_here(scope) if scope["type"] == "http" else ""
        if re.match(r"(/api/v1)?/(diary|observations)(/|$)", path):
            await self.app(scope, receive, send)
        else:
            await super().__call__(scope, receive, send)
