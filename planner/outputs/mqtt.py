"""Warnings as retained MQTT topics, one for each warning: a repeat changes nothing."""

from __future__ import annotations

import asyncio
import json
import re
import ssl
from dataclasses import dataclass, field
from typing import TYPE_CHECKING, Any

from planner.outputs.base import Message, OutputFailed, OutputUnsure

if TYPE_CHECKING:
    import aiomqtt


def slug(text: str) -> str:
    """The text as a piece of a topic: small letters, digits and underscores."""
    return re.sub(r"[^a-z0-9]+", "_", text.lower()).strip("_") or "x"


@dataclass(frozen=True, slots=True, kw_only=True)
class Broker:
    """Where the broker is and who we are to it."""

    host: str
    port: int = 1883
    user: str | None = None
    password: str | None = field(default=None, repr=False)
    tls: bool = False
    ca_file: str | None = None
    timeout_s: float = 10.0

    def client(self, **options: Any) -> aiomqtt.Client:
        """A client of that broker, not yet connected; OutputFailed when the package is not there."""
        try:
            import aiomqtt
        except ModuleNotFoundError as error:
            raise OutputFailed(
                'The aiomqtt package is not installed. Install it with: pip install "haysel[mqtt]".'
            ) from error
        return aiomqtt.Client(
            self.host,
            self.port,
            username=self.user,
            password=self.password,
            timeout=self.timeout_s,
            tls_context=ssl.create_default_context(cafile=self.ca_file) if self.tls else None,
            **options,
        )


@dataclass(frozen=True, slots=True, kw_only=True)
class MqttOutput:
    """Publishes each warning, retained, at `haysel/NODE/warning/KIND/SURFACE`."""

    host: str
    name: str = "mqtt"
    port: int = 1883
    user: str | None = None
    password: str | None = field(default=None, repr=False)
    tls: bool = False
    ca_file: str | None = None
    node: str = "haysel"
    """This site among others on the broker."""
    timeout_s: float = 10.0
    idempotent: bool = True

    @property
    def broker(self) -> Broker:
        """The broker it publishes to."""
        return Broker(
            host=self.host,
            port=self.port,
            user=self.user,
            password=self.password,
            tls=self.tls,
            ca_file=self.ca_file,
            timeout_s=self.timeout_s,
        )

    def topic(self, message: Message) -> str:
        """Where the message is published."""
        return f"haysel/{slug(self.node)}/warning/{slug(message.kind)}/{slug(message.surface)}"

    def send(self, message: Message) -> None:
        """Taken when the broker has acknowledged it (quality of service 1)."""
        asyncio.run(self._publish(self.topic(message), json.dumps(message.as_dict())))

    async def _publish(self, topic: str, payload: str) -> None:
        client = self.broker.client()
        import aiomqtt

        connected = False
        try:
            async with client:
                connected = True
                await client.publish(topic, payload, qos=1, retain=True)
        except (aiomqtt.MqttError, OSError) as error:
            where = f"The broker {self.host}:{self.port} of the output {self.name}"
            if connected:
                raise OutputUnsure(f"{where} broke off ({error}).") from error
            raise OutputFailed(f"{where} cannot be reached ({error}). Check host, port and user.") from error
