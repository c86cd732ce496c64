"""Posts warnings as JSON to an address of your own, or through the optional Apprise library."""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass, field
from importlib import import_module
from types import ModuleType

from planner.errors import InputError
from planner.outputs.base import Message, OutputFailed, OutputUnsure
from planner.terms import EXTRAS_COMMAND


@dataclass(frozen=True, slots=True, kw_only=True)
class WebhookOutput:
    """One POST a message, with the header `Idempotency-Key`, the same at every attempt."""

    url: str
    name: str = "webhook"
    token: str | None = None
    """Sent as a bearer token."""
    headers: Mapping[str, str] = field(default_factory=dict)
    timeout_s: float = 10.0
    idempotent: bool = True
    """Set to false when the other side does not drop repeats by that header: then it is never sent again
    when nobody knows whether it came through."""

    def __post_init__(self) -> None:
        if not self.url.startswith(("http://", "https://")):
            # The address may hold a secret, and what stands before the first colon may be a user name.
            raise InputError(
                f"The address of the webhook {self.name} does not begin with http:// or https://. Write one "
                "of them before the host; the address itself is not shown, as it may hold a secret."
            )

    def send(self, message: Message) -> None:
        """Taken when the answer's status is 2xx. Redirects are not followed."""
        import httpx

        headers = {**self.headers, "Idempotency-Key": message.key}
        if self.token is not None:
            headers["Authorization"] = f"Bearer {self.token}"
        try:
            with httpx.stream(
                "POST", self.url, json=message.as_dict(), headers=headers, timeout=self.timeout_s
            ) as response:
                status, retry_after = response.status_code, response.headers.get("Retry-After")
        except (
            httpx.ConnectError,
            httpx.ConnectTimeout,
            httpx.PoolTimeout,
            httpx.UnsupportedProtocol,
        ) as error:
            raise OutputFailed(
                f"{self._where()} cannot be reached ({error}). Check address and network."
            ) from error
        except httpx.HTTPError as error:
            raise OutputUnsure(
                f"{self._where()} did not finish its answer ({type(error).__name__})."
            ) from error
        if not 200 <= status < 300:
            raise OutputFailed(
                f"{self._where()} answered {status}. Check its address and token.", _seconds(retry_after)
            )

    def _where(self) -> str:
        import httpx

        # The path may hold a secret of the receiver's.
        url = httpx.URL(self.url)
        return f"The webhook {self.name} at {url.scheme}://{url.host}"


def _seconds(retry_after: str | None) -> float | None:
    try:
        seconds = float(retry_after or "")
    except ValueError:
        return None
    return seconds if math.isfinite(seconds) and seconds >= 0.0 else None


@dataclass(frozen=True, slots=True, kw_only=True)
class AppriseOutput:
    """One address of the apprise package. Give each address its own output: then each gets a message once."""

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


def _package() -> ModuleType:
    try:
        return import_module("apprise")
    except ModuleNotFoundError as error:
        raise OutputFailed(
            f"The apprise package is not installed. Install it with: {EXTRAS_COMMAND}"
        ) from error
