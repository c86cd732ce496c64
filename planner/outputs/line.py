"""One line to a broker that is kept open: what the broker should hold is told to it again whenever it may have lost it.

A broker loses its retained topics when it starts without a store; a hub its entities when it starts with an empty
memory. After each connection, and when the hub says that it is there again, everything is published anew.
"""

from __future__ import annotations

import asyncio
import logging
from collections.abc import Callable, Collection, Mapping
from contextlib import suppress
from typing import TYPE_CHECKING, Any
from uuid import uuid4

from planner.errors import PlannerError
from planner.outputs.mqtt import Broker

if TYPE_CHECKING:
    import aiomqtt

_log = logging.getLogger("haysel.outputs")

FIRST_WAIT_S = 1.0
LONGEST_WAIT_S = 300.0
MARK_WITHIN_S = 10.0

#: Reads an order: its payload, and whether the broker had kept it. What it answers is published, not retained.
Hear = Callable[[bytes, bool], str]


class Line:
    """Holds topics on a broker, retained. `hold` may be called from any thread; `run` is one task."""

    def __init__(
        self,
        broker: Broker,
        *,
        own: str,
        birth_topic: str,
        alive_topic: str | None = None,
        tidy: str | None = None,
        mend: str | None = None,
        hears: Mapping[str, tuple[Hear, str]] | None = None,
    ) -> None:
        """`own` is what our topics begin with. `alive_topic` says `online` and, by the broker's will, `offline`.

        Topics under `tidy` that we do not hold are emptied on the broker. Topics under `mend` are published only where
        the broker has lost them, since whoever listens to them has read them. `hears` are topics for orders, each
        with what reads them and the topic of the answers.
        """
        self._broker, self._birth, self._alive = broker, birth_topic, alive_topic
        self._mark = f"{own}/mark/{uuid4().hex}"
        self._tidy, self._mend, self._hears = tidy, mend, dict(hears or {})
        self._held: dict[str, str] = {}
        self._beats: frozenset[str] = frozenset()
        #: What this connection has told the broker, and what the broker was found to hold.
        self._told: dict[str, str] = {}
        self._found: set[str] = set()
        self._loop: asyncio.AbstractEventLoop | None = None
        self._changed, self._ready = asyncio.Event(), asyncio.Event()

    def hold(self, topics: Mapping[str, str], beats: Collection[str] = ()) -> None:
        """The broker is to hold these and nothing else of ours. `beats` are published again though unchanged."""
        self._held, self._beats = dict(topics), self._beats | frozenset(beats)
        if self._loop is not None:
            with suppress(RuntimeError):
                # The loop may have been closed meanwhile, and then nobody is there to tell.
                self._loop.call_soon_threadsafe(self._changed.set)

    async def run(self) -> None:
        """Until cancelled: connects, publishes, listens, connects again after a break."""
        self._loop = asyncio.get_running_loop()
        wait_s = FIRST_WAIT_S
        while True:
            try:
                async with self._broker.client(will_topic=self._alive) as client:
                    wait_s = FIRST_WAIT_S
                    await self._serve(client)
            except PlannerError:
                raise
            except Exception as error:
                if not _is_of_line(error):
                    # Of our own: the line would find it again at once.
                    wait_s = LONGEST_WAIT_S
                    _log.error("a fault of our own on the line", exc_info=error)
                _log.warning("broker %s: %s; again in %.0f s", self._broker.host, error, wait_s)
                await asyncio.sleep(wait_s)
                wait_s = min(LONGEST_WAIT_S, wait_s * 2)

    async def _serve(self, client: aiomqtt.Client) -> None:
        import aiomqtt

        self._told, self._found = {}, set()
        self._ready.clear()
        self._changed.set()
        listening = asyncio.create_task(self._listen(client))
        publishing = asyncio.create_task(self._publish_changes(client))
        try:
            # What the broker holds comes with the subscription, before the mark that we publish after it.
            watched = (self._birth, self._tidy, self._mend, self._mark, *self._hears)
            await client.subscribe([(topic, 1) for topic in watched if topic is not None])
            await client.publish(self._mark, qos=1)
            await asyncio.wait((listening, publishing), return_when=asyncio.FIRST_EXCEPTION)
            for task in (listening, publishing):
                if task.done():
                    task.result()
        finally:
            listening.cancel()
            publishing.cancel()
            await asyncio.gather(listening, publishing, return_exceptions=True)
            if self._alive is not None:
                # A clean goodbye leaves no will behind, so we say it ourselves.
                with suppress(aiomqtt.MqttError):
                    await client.publish(self._alive, "offline", qos=1, retain=True)

    async def _listen(self, client: aiomqtt.Client) -> None:
        async for message in client.messages:
            topic, payload = str(message.topic), bytes(message.payload or b"")
            if topic == self._birth:
                if payload == b"online":
                    self._told = {}
                    self._changed.set()
            elif topic in self._hears:
                hear, answers = self._hears[topic]
                if payload:
                    # In a thread: what is ordered may be written into a store.
                    try:
                        answer = await asyncio.to_thread(hear, payload, bool(message.retain))
                    except Exception as error:
                        # An order that cannot be read may not cut the line for all that follow.
                        _log.error("an order was not answered", exc_info=error)
                        continue
                    await _publish(client, answers, answer, retain=False)
            elif topic == self._mark:
                self._ready.set()
            else:
                (self._found.add if payload else self._found.discard)(topic)
                if payload and topic not in self._held:
                    self._changed.set()

    async def _publish_changes(self, client: aiomqtt.Client) -> None:
        # A broker that does not let us read our own mark must not keep the site from being shown.
        with suppress(TimeoutError):
            await asyncio.wait_for(self._ready.wait(), MARK_WITHIN_S)
        while True:
            await self._changed.wait()
            self._changed.clear()
            await self._publish_all(client)

    async def _publish_all(self, client: aiomqtt.Client) -> None:
        held, beats, self._beats = self._held, self._beats, frozenset()
        for topic, payload in held.items():
            is_there = topic in self._found if self._mend is not None else self._told.get(topic) == payload
            if not is_there or topic in beats:
                await _publish(client, topic, payload)
                self._told[topic] = payload
        if held and self._mend is None:
            for topic in (set(self._told) | self._found) - set(held) - {self._alive}:
                await _publish(client, topic, "")
                self._told.pop(topic, None)
                self._found.discard(topic)
        if self._alive is not None and self._alive not in self._told:
            await _publish(client, self._alive, "online")
            self._told[self._alive] = "online"


def _is_of_line(error: Exception) -> bool:
    """Whether broker, network or certificate is at fault."""
    import aiomqtt

    return isinstance(error, (aiomqtt.MqttError, OSError))


async def _publish(client: aiomqtt.Client, topic: str, payload: str, *, retain: bool = True) -> None:
    await client.publish(topic, payload, qos=1, retain=retain)
    # Waiting for the broker's answer may lose the order to stop when both come at once (asyncio.wait_for before
    # Python 3.12), and a task that goes on after it would keep the service from ever stopping.
    task: asyncio.Task[Any] | None = asyncio.current_task()
    if task is not None and task.cancelling():
        raise asyncio.CancelledError
