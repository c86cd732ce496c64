"""By which names the service may be asked: a page elsewhere can have its own name lead here (DNS rebinding)."""

from __future__ import annotations

import ipaddress
import re
import socket
from functools import cache, lru_cache
from typing import TYPE_CHECKING

from planner.service.problems import refusal
from planner.service.proxies import Trusted

if TYPE_CHECKING:
    from collections.abc import Iterable

    from starlette.types import ASGIApp, Receive, Scope, Send

#: A host with its port as a request names it (RFC 9110, section 7.2).
_HOST = re.compile(
    r"(?:\[(?P<v6>[0-9a-f:.]{2,45})\]|(?P<name>[a-z0-9._-]{1,253}))(?::\d{0,5})?", re.IGNORECASE
)
#: Ends of names that no registrar gives to anybody: of the house (RFC 6762 with its appendix G, RFC 8375), or in use
#: there. None that is somebody's, such as `.fritz.box` or `.ts.net`: who has it may have a name in it lead anywhere.
_OF_A_HOUSE = (
    *(".local", ".home.arpa", ".internal", ".intranet", ".private", ".corp", ".lan", ".home", ".localdomain"),
    ".speedport.ip",
)


def is_loopback(host: str) -> bool:
    """Whether only this machine can reach the address."""
    if host == "localhost":
        return True
    try:
        return ipaddress.ip_address(host).is_loopback
    except ValueError:
        return False


def is_of_this_machine(name: str) -> bool:
    """Whether the name is this machine's own, which nobody else can have lead here."""
    name = name.lower().rstrip(".")
    return is_loopback(name) or name.endswith(".localhost") or name in _own_names()


@cache
def _own_names() -> frozenset[str]:
    """This machine's name, and how the house knows it (RFC 6762)."""
    name = socket.gethostname().lower().rstrip(".")
    return frozenset((name, f"{name}.local")) if name else frozenset()


def is_of_a_house(name: str) -> bool:
    """Whether the name is an address, or one that is known within a house only."""
    try:
        ipaddress.ip_address(name)
    except ValueError:
        return "." not in name or name.endswith(_OF_A_HOUSE)
    return True


def _name_of(host: str) -> str | None:
    """The name in a Host header, without port and in small letters; None where it is none."""
    found = _HOST.fullmatch(host.strip())
    return None if found is None else _written_alike(found["v6"] or found["name"]) or None


def _written_alike(name: str) -> str:
    """The name in small letters, an address in its one short form."""
    name = name.lower().rstrip(".")
    try:
        return str(ipaddress.ip_address(name))
    except ValueError:
        return name


class KnownHosts:
    """Refuses a request that asks for a name which is not the service's: 421, and 400 for what is no name.

    Known are this machine's own names, what it listens on, and `named`; beyond loopback, and where a trusted proxy
    asks, addresses and the names of a house, too. From such a proxy `X-Forwarded-Host` must be known as well, and is
    then the name asked for.
    """

    def __init__(
        self, app: ASGIApp, *, listens: str, named: Iterable[str], trusted: Trusted, has_several: bool = False
    ) -> None:
        """`has_several`: whether it answers for several sites, each with a file of its own."""
        self._app = app
        self._files = "every site file" if has_several else "the site file"
        self._named = frozenset(map(_written_alike, (listens, *named)))
        self._in_the_house = not is_loopback(listens)
        self._trusted = trusted
        self._is_known = lru_cache(256)(self._looked_up)

    def _looked_up(self, name: str, in_the_house: bool) -> bool:
        if name in self._named or is_of_this_machine(name):
            return True
        return in_the_house and is_of_a_house(name)

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        if scope["type"] != "http":
            await self._app(scope, receive, send)
            return
        sent = [value.decode("latin-1") for name, value in scope["headers"] if name == b"host"]
        if len(sent) != 1 and (sent or scope["http_version"] != "1.0"):
            await refusal(scope, 400, "A request names one host.")(scope, receive, send)
            return
        in_the_house = self._in_the_house or self._trusted.sent(scope)
        forwarded = self._forwarded(scope)
        for host in (*sent, *forwarded):
            name = _name_of(host)
            if name is None:
                answer = refusal(scope, 400, "The host of the request is no name of a host.")
                await answer(scope, receive, send)
                return
            if not self._is_known(name, in_the_house):
                says = (
                    f"{name} is not a name of this service. If it is, write it into hosts under [service] of "
                    f"{self._files}, and start the service anew."
                )
                await refusal(scope, 421, says)(scope, receive, send)
                return
        if forwarded:
            others = [row for row in scope["headers"] if row[0] != b"host"]
            scope["headers"] = [(b"host", forwarded[0].strip().encode("latin-1")), *others]
        await self._app(scope, receive, send)

    def _forwarded(self, scope: Scope) -> list[str]:
        """The hosts for which a trusted proxy asks, the one that was asked for first."""
        found = [value for name, value in scope["headers"] if name == b"x-forwarded-host"]
        if not found or not self._trusted.sent(scope):
            return []
        return b",".join(found).decode("latin-1").split(",")
