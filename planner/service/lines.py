"""Lines to brokers that the service keeps open: the hub's device, and the topics of warnings."""

from __future__ import annotations

import asyncio
import json
import logging
from collections.abc import Callable, Coroutine, Iterator
from contextlib import ExitStack, contextmanager, suppress
from typing import TYPE_CHECKING, Any

from planner import __version__
from planner.actions.messages import outputs_of, standing_messages, with_secrets
from planner.actions.sent_entry import BROKER, OFF, written
from planner.errors import NoPassYet, PlannerError
from planner.outputs.hub import HomeDevice
from planner.outputs.line import Hear, Line
from planner.outputs.mqtt import Broker, MqttOutput
from planner.reports.as_of import as_of
from planner.service.noted import Noted
from planner.service.together import Together

if TYPE_CHECKING:
    from planner.config.load import Config
    from planner.service.context import Context

log = logging.getLogger("planner.service")
#: A state is published at least this often, so that a hub can tell silence from no change (`EXPIRE_AFTER_S`).
BEAT_S = 60.0
#: A line that ended by a fault is opened again after this long.
AGAIN_S = 300.0


@contextmanager
def lines(context: Context) -> Iterator[list[Coroutine[Any, Any, None]]]:
    """What is to run while it is open."""
    with ExitStack() as stack:
        found: list[Coroutine[Any, Any, None]] = []
        if context.sends:
            device = home_device(context.config(), orders_of(context))
            if device is not None:
                found += _followed(context, stack, device.run, lambda: _show(device, context))
            for output in outputs_of(context.config())[0]:
                if isinstance(output, MqttOutput):
                    line = Line(
                        output, own=output.own, birth_topic=output.birth_topic, mend=f"{output.own}/warning/#"
                    )
                    mend = _mending(context, output, line)
                    found += _followed(context, stack, line.run, mend)
        yield found


def _followed(
    context: Context, stack: ExitStack, run: Callable[[], Coroutine[Any, Any, None]], show: Callable[[], None]
) -> list[Coroutine[Any, Any, None]]:
    """Shows what there is now, after each pass and turn, and with each beat."""
    stack.callback(context.cache.listen(show))
    showing = Noted("showing the site on the broker")
    with showing:
        show()
    return [_kept(run), _beating(show, showing)]


async def _kept(run: Callable[[], Coroutine[Any, Any, None]]) -> None:
    keeping = Noted("the line to the broker")
    while True:
        with keeping:
            await run()
        # What is missing may be put in meanwhile, and a fault of our own is no reason to stay away for good.
        await asyncio.sleep(AGAIN_S)


async def _beating(show: Callable[[], None], showing: Noted) -> None:
    while True:
        await asyncio.sleep(BEAT_S)
        with showing:
            await asyncio.to_thread(show)


def _show(device: HomeDevice, context: Context) -> None:
    with suppress(NoPassYet):
        # As of this moment: the hours until work begins run down also while the rows still hold.
        device.update(as_of(context.cache.snapshot().report, context.clock()))


def _mending(context: Context, output: MqttOutput, line: Line) -> Callable[[], None]:
    def mend() -> None:
        with suppress(PlannerError):
            found = standing_messages(context.store(), output.name)
            line.hold({output.topic(one): json.dumps(one.as_dict()) for one in found})

    return mend


def orders_of(context: Context) -> Hear | None:
    """What reads orders for the diary, each by the rule in force when it comes; None where the start took none."""
    first = context.config().home
    if first is None or first.diary == OFF:
        return None
    renewals = Together(context.renewed, "pass after a message")

    def read(payload: bytes, retained: bool) -> str:
        config = context.config()
        answer = written(
            payload,
            retained,
            config,
            context.store(),
            context.clock(),
            token=context.token,
            rule=OFF if config.home is None else config.home.diary,
        )
        if answer["written"]:
            # Who wrote is answered before the pass that follows.
            renewals.soon()
        else:
            log.warning("a message for the diary was refused: %s", answer["says"])
        return json.dumps(answer)

    return read


def home_device(config: Config, orders: Hear | None = None) -> HomeDevice | None:
    """The device on the broker of the site file; None, and a line in the log, when its secret is missing."""
    part = config.home
    if part is None:
        return None
    own = {"node", "prefix", "birth_topic", "url", "diary"}
    try:
        broker = Broker(**with_secrets(part.model_dump(exclude_none=True, exclude=own)))
    except LookupError as error:
        log.warning("no device on the home dashboard: %s", error.args[0])
        return None
    return HomeDevice(
        broker,
        node=part.node,
        prefix=part.prefix,
        birth_topic=part.birth_topic,
        url=part.url,
        version=__version__,
        orders=orders,
        with_buttons=part.diary == BROKER,
    )
