"""What a proxy in front says of the way a request came: believed only from those that the site file names."""

from __future__ import annotations

import re
from typing import TYPE_CHECKING

from uvicorn.middleware.proxy_headers import ProxyHeadersMiddleware

if TYPE_CHECKING:
    from starlette.types import ASGIApp, Receive, Scope, Send

#: A prefix in a header: names between slashes, and nothing that leads elsewhere.
_PREFIX = re.compile(r"(?:/(?!\.{1,2}(?:/|$))[A-Za-z0-9._~-]+){1,8}")


class Prefix:
    """Sets the path under which the service is reached: from `X-Forwarded-Prefix` of a trusted proxy, else `fixed`."""

    def __init__(self, app: ASGIApp, fixed: str, trusted: tuple[str, ...]) -> None:
        self._app = app
        self._fixed = fixed.rstrip("/")
        self._trusted = frozenset(trusted)

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        if scope["type"] == "http":
            scope["root_path"] = self._of(scope)
        await self._app(scope, receive, send)

    def _of(self, scope: Scope) -> str:
        client = scope.get("client")
        if client is not None and client[0] in self._trusted:
            sent = [value for name, value in scope["headers"] if name == b"x-forwarded-prefix"]
            prefix = sent[0].decode("latin-1").rstrip("/") if len(sent) == 1 else ""
            if _PREFIX.fullmatch(prefix):
                return prefix
        return self._fixed


def behind(app: ASGIApp, *, prefix: str, trusted: tuple[str, ...]) -> ASGIApp:
    """The application as it is reached through proxies: prefix, scheme and client are theirs where they are trusted."""
    forwarded = ProxyHeadersMiddleware(app, trusted_hosts=list(trusted))  # type: ignore[arg-type]
    return Prefix(forwarded, prefix, trusted)  # type: ignore[arg-type]
