"""The site as one device of a home-automation hub, by MQTT discovery.

The hub learns of the entities from retained config topics, reads one retained JSON state, and knows from the
availability topic (and the broker's will) whether we are there. When the hub starts anew it says so, and gets
everything again.
"""

from __future__ import annotations

import asyncio
import json
import logging
import math
from collections.abc import Mapping, Sequence
from contextlib import suppress
from dataclasses import dataclass
from typing import TYPE_CHECKING

from planner.errors import InputError
from planner.outputs.mqtt import Broker, slug
from planner.reports.now import Now, Value

if TYPE_CHECKING:
    import aiomqtt

_log = logging.getLogger("haysel.outputs")

#: A hub refuses a longer state.
LONGEST_STATE = 255
FIRST_WAIT_S = 1.0
LONGEST_WAIT_S = 300.0


@dataclass(frozen=True, slots=True, kw_only=True)
class Entity:
    """One entity of the device, read from one key of the flat state."""

    key: str
    name: str
    component: str = "sensor"
    """`sensor` or `binary_sensor`."""
    device_class: str | None = None
    unit: str | None = None


ENTITIES: tuple[Entity, ...] = (
    Entity(key="headline", name="Headline"),
    Entity(key="next_job", name="Next job"),
    Entity(key="next_start", name="Next job starts", device_class="timestamp"),
    Entity(key="next_state", name="State of the next job"),
    Entity(key="warning", name="Warning"),
    Entity(key="warnings_count", name="Warnings"),
    Entity(key="frost", name="Frost warning", component="binary_sensor"),
    Entity(key="rain_wash", name="Rain wash warning", component="binary_sensor"),
    Entity(key="issued_at", name="Forecast issued", device_class="timestamp"),
    Entity(key="stale", name="Forecast too old", component="binary_sensor", device_class="problem"),
)


class HomeDevice:
    """Keeps the device on a broker. `update` may be called from any thread; `run` is one task."""

    def __init__(
        self,
        broker: Broker,
        site: str,
        *,
        node: str = "haysel",
        entities: Sequence[Entity] = ENTITIES,
        prefix: str = "homeassistant",
        url: str | None = None,
        version: str | None = None,
    ) -> None:
        self._broker, self._site, self._node = broker, site, slug(node)
        self._entities, self._prefix, self._url, self._version = tuple(entities), prefix, url, version
        self._state: str | None = None
        self._changed: asyncio.Event | None = None
        self._loop: asyncio.AbstractEventLoop | None = None

    @property
    def availability_topic(self) -> str:
        """`online` or `offline`."""
        return f"haysel/{self._node}/availability"

    @property
    def state_topic(self) -> str:
        """The flat state as JSON."""
        return f"haysel/{self._node}/state"

    @property
    def birth_topic(self) -> str:
        """Where the hub says that it has started."""
        return f"{self._prefix}/status"

    def configs(self) -> dict[str, dict[str, object]]:
        """The discovery config of each entity, by its topic."""
        device: dict[str, object] = {
            "identifiers": [f"haysel_{self._node}"],
            "name": self._site,
            "model": "haysel",
        }
        if self._url is not None:
            device["configuration_url"] = self._url
        if self._version is not None:
            device["sw_version"] = self._version
        return {
            f"{self._prefix}/{one.component}/haysel_{self._node}/{one.key}/config": self._config(one, device)
            for one in self._entities
        }

    def _config(self, entity: Entity, device: Mapping[str, object]) -> dict[str, object]:
        value = f"value_json.{entity.key}"
        template = f"{{{{ {value} }}}}"
        if entity.component == "binary_sensor":
            template = f"{{{{ 'None' if {value} is none else ('ON' if {value} else 'OFF') }}}}"
        config = {
            "name": entity.name,
            "unique_id": f"haysel_{self._node}_{entity.key}",
            "state_topic": self.state_topic,
            "value_template": template,
            "availability_topic": self.availability_topic,
            "device": device,
            "device_class": entity.device_class,
            "unit_of_measurement": entity.unit,
        }
        return {key: value for key, value in config.items() if value is not None}

    def update(self, state: Mapping[str, Value]) -> None:
        """Takes the new flat state; it is published at once, or when the broker is there."""
        self._state = json.dumps(flat(state))
        if self._loop is not None and self._changed is not None:
            self._loop.call_soon_threadsafe(self._changed.set)

    async def run(self) -> None:
        """Until cancelled: connects, publishes, answers the hub's start, connects again after a break."""
        import aiomqtt

        self._loop, self._changed = asyncio.get_running_loop(), asyncio.Event()
        wait_s = FIRST_WAIT_S
        while True:
            will = aiomqtt.Will(self.availability_topic, "offline", qos=1, retain=True)
            try:
                async with self._broker.client(will=will) as client:
                    wait_s = FIRST_WAIT_S
                    await self._serve(client)
            except (aiomqtt.MqttError, OSError) as error:
                _log.warning("broker %s: %s; again in %.0f s", self._broker.host, error, wait_s)
                await asyncio.sleep(wait_s)
                wait_s = min(LONGEST_WAIT_S, wait_s * 2)

    async def _serve(self, client: aiomqtt.Client) -> None:
        import aiomqtt

        await client.subscribe(self.birth_topic, qos=1)
        await self._publish_all(client)
        listening = asyncio.create_task(self._listen(client))
        publishing = asyncio.create_task(self._publish_changes(client))
        try:
            await asyncio.wait((listening, publishing), return_when=asyncio.FIRST_EXCEPTION)
            for task in (listening, publishing):
                if task.done():
                    task.result()
        finally:
            listening.cancel()
            publishing.cancel()
            await asyncio.gather(listening, publishing, return_exceptions=True)
            # A clean goodbye leaves no will behind, so we say it ourselves.
            with suppress(aiomqtt.MqttError):
                await client.publish(self.availability_topic, "offline", qos=1, retain=True)

    async def _listen(self, client: aiomqtt.Client) -> None:
        async for message in client.messages:
            if message.payload == b"online":
                await self._publish_all(client)

    async def _publish_changes(self, client: aiomqtt.Client) -> None:
        changed = self._changed
        if changed is None:
            raise RuntimeError("run was not called")
        while True:
            await changed.wait()
            changed.clear()
            await self._publish_state(client)

    async def _publish_all(self, client: aiomqtt.Client) -> None:
        for topic, config in self.configs().items():
            await _publish(client, topic, json.dumps(config))
        await self._publish_state(client)
        await _publish(client, self.availability_topic, "online")

    async def _publish_state(self, client: aiomqtt.Client) -> None:
        if self._state is not None:
            await _publish(client, self.state_topic, self._state)


async def _publish(client: aiomqtt.Client, topic: str, payload: str) -> None:
    await client.publish(topic, payload, qos=1, retain=True)
    # Waiting for the broker's answer may lose the order to stop when both come at once (asyncio.wait_for before
    # Python 3.12), and a task that goes on after it would keep the service from ever stopping.
    task = asyncio.current_task()
    if task is not None and task.cancelling():
        raise asyncio.CancelledError


def flat(state: Mapping[str, object]) -> Now:
    """The state as a hub can take it: no nesting, no text that is too long, null for what is not known."""
    made: Now = {}
    for key, value in state.items():
        if value is not None and not isinstance(value, str | int | float | bool):
            raise InputError(
                f'The state "{key}" is a {type(value).__name__}; a text, number, yes/no or null fits.'
            )
        if isinstance(value, float) and not math.isfinite(value):
            value = None
        if isinstance(value, str) and len(value) > LONGEST_STATE:
            value = value[: LONGEST_STATE - 1] + "…"
        made[key] = value
    return made
