"""Sends warnings through the apprise package, which speaks to many messengers."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field
from importlib import import_module
from typing import Any

from planner.errors import InputError
from planner.outputs.base import Message, OutputFailed


@dataclass(frozen=True, slots=True, kw_only=True)
class AppriseOutput:
    """One address of the apprise package. Give each address its own output: then each is told once."""

    url: str = field(repr=False)
    name: str = "apprise"
    idempotent: bool = False

    def send(self, message: Message) -> None:
        """Taken when the package reports success; it does not say why it failed."""
        sender = _package().Apprise()
        if not sender.add(self.url):
            raise OutputFailed(f"The output {self.name} has an address that apprise cannot read. Correct it.")
        text = message.body if message.url is None else f"{message.body}\n{message.url}"
        if not sender.notify(title=message.title, body=text):
            raise OutputFailed(f"The output {self.name} could not send. Check its address and the network.")


def _package() -> Any:
    try:
        return import_module("apprise")
    except ModuleNotFoundError as error:
        raise OutputFailed(
            'The apprise package is not installed. Install it with: pip install "haysel[notify]".'
        ) from error


def outputs_of(urls: Sequence[str], name: str = "apprise") -> tuple[AppriseOutput, ...]:
    """One output for each address, numbered from the second on."""
    if not urls:
        raise InputError(f"The output {name} has no address. Give at least one.")
    return tuple(
        AppriseOutput(url=url, name=name if number == 1 else f"{name} {number}")
        for number, url in enumerate(urls, start=1)
    )
