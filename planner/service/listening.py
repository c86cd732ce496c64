"""The address that the service listens on: taken before anything else is begun, and told once it answers there."""

from __future__ import annotations

import errno
import ipaddress
import socket
import sys
from collections.abc import Sequence
from contextlib import ExitStack

import click
import uvicorn

from planner.errors import PlannerError


def listening(host: str, port: int) -> list[socket.socket]:
    """A socket for each address of the host, open for connections; who connects waits until the service is there.

    PlannerError where the port is taken, or the host is none of this machine's.
    """
    try:
        rows = socket.getaddrinfo(host, port, type=socket.SOCK_STREAM, flags=socket.AI_PASSIVE)
    except OSError:
        raise PlannerError(_not_ours(host)) from None
    found: list[socket.socket] = []
    away: OSError | None = None
    with ExitStack() as opened:
        for family, kind, protocol, _, address in dict.fromkeys(rows):
            try:
                one = opened.enter_context(socket.socket(family, kind, protocol))
                one.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
                if family == socket.AF_INET6:
                    # Else it would take the port of the other family too.
                    one.setsockopt(socket.IPPROTO_IPV6, socket.IPV6_V6ONLY, 1)
                one.bind(address)
                one.listen()
            except OSError as error:
                if error.errno not in (errno.EADDRNOTAVAIL, errno.EAFNOSUPPORT):
                    raise PlannerError(_why_not(host, port, error)) from None
                # A name may have an address of a family that this machine does not speak.
                away = error
            else:
                found.append(one)
        if not found:
            raise PlannerError(_not_ours(host)) from away
        opened.pop_all()
    return found


def _why_not(host: str, port: int, error: OSError) -> str:
    if error.errno == errno.EADDRINUSE:
        return f"Port {port} is taken: another haysel? Choose another with --port."
    if error.errno == errno.EACCES:
        return f"Port {port} is not open to every user of this machine. Choose one from 1024 on with --port."
    return (
        f"Nothing can listen on {host}, port {port} ({error.strerror}). Choose others with --host and --port."
    )


def _not_ours(host: str) -> str:
    return f"{host} is no address of this machine. Give one with --host, such as 127.0.0.1."


def address_of(host: str, port: int) -> str:
    """Where a browser opens it. Of a host that stands for every address of this machine: one that a phone in the same
    house can open."""
    try:
        address = ipaddress.ip_address(host)
    except ValueError:
        return f"http://{host}:{port}/"
    shown = _seen_by_others() if address.is_unspecified else host
    return f"http://[{shown}]:{port}/" if ":" in shown else f"http://{shown}:{port}/"


def _seen_by_others() -> str:
    """This machine's address on the way out, or its name where there is no way out."""
    with socket.socket(socket.AF_INET, socket.SOCK_DGRAM) as asked:
        try:
            # Sends nothing: the address is kept for documentation (RFC 5737), and only the way to it is looked up.
            asked.connect(("192.0.2.1", 9))
        except OSError:
            return socket.gethostname()
        return str(asked.getsockname()[0])


class Telling(uvicorn.Server):
    """The server, which says where it answers once it does."""

    def __init__(self, config: uvicorn.Config, address: str) -> None:
        super().__init__(config)
        self._address = address

    async def startup(self, sockets: list[socket.socket] | None = None) -> None:
        await super().startup(sockets)
        if self.started:
            click.echo(f"Haysel answers on {self._address}", err=True)

    def run_on(self, sockets: Sequence[socket.socket]) -> None:
        """Until stopped. SystemExit where the service could not be begun."""
        try:
            self.run(sockets=list(sockets))
        except KeyboardInterrupt:
            return
        if not self.started:
            sys.exit(1)
