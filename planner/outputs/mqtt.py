"""Warnings as retained MQTT topics, one for each warning: a repeat changes nothing."""

from __future__ import annotations

import asyncio
import json
import ssl
from dataclasses import dataclass, field
from typing import TYPE_CHECKING

from planner.outputs.base import Message, OutputFailed, OutputUnsure
from planner.terms import EXTRAS_COMMAND, slug

if TYPE_CHECKING:
    import aiomqtt


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

    def client(self, will_topic: str | None = None) -> aiomqtt.Client:
        """A client of that broker, not yet connected; OutputFailed when package or certificate is not there.

        When the line is cut the broker says `offline` for us at `will_topic`.
        """
        try:
            import aiomqtt
        except ModuleNotFoundError as error:
            raise OutputFailed(
                f"The aiomqtt package is not installed. Install it with: {EXTRAS_COMMAND}"
            ) from error
        try:
            tls = ssl.create_default_context(cafile=self.ca_file) if self.tls else None
        except OSError as error:
            raise OutputFailed(f"The certificate {self.ca_file} cannot be read ({error}).") from error
        return aiomqtt.Client(
            self.host,
            self.port,
            username=self.user,
            password=self.password,
            timeout=self.timeout_s,
            tls_context=tls,
            will=None if will_topic is None else aiomqtt.Will(will_topic, "offline", qos=1, retain=True),
        )


@dataclass(frozen=True, slots=True, kw_only=True)
class MqttOutput(Broker):
    """Publishes each warning, retained, at `haysel/NODE/warning/KIND/SURFACE`."""

    name: str = "mqtt"
    node: str = "haysel"
    """This site among others on the broker."""
    birth_topic: str = "homeassistant/status"
    """Where a hub says `online` when it has started."""
    idempotent: bool = True

    @property
    def own(self) -> str:
        """What all its topics begin with."""
        return f"haysel/{slug(self.node)}"

    def topic(self, message: Message) -> str:
        """Where the message is published."""
        return f"{self.own}/warning/{slug(message.kind)}/{slug(message.surface)}"

    def send(self, message: Message) -> None:
        """Taken when the broker has acknowledged it (quality of service 1)."""
        asyncio.run(self._publish(self.topic(message), json.dumps(message.as_dict())))

    async def _publish(self, topic: str, payload: str) -> None:
        client = self.client()
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
