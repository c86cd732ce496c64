"""What an output is, the message it sends, the log as the simplest of them, and how messages are delivered."""

from __future__ import annotations

import logging
from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta
from typing import TYPE_CHECKING, Protocol

import msgspec

from planner.errors import PlannerError
from planner.store.records import OutboxItem, Outgoing
from planner.terms import require_aware

if TYPE_CHECKING:
    from planner.store.records import OutboxItem
    from planner.store.store import Store


_log = logging.getLogger("haysel.warnings")


class OutputFailed(PlannerError):
    """The message was surely not taken: it can be tried again."""

    def __init__(self, says: str, retry_after_s: float | None = None) -> None:
        super().__init__(says)
        self.retry_after_s = retry_after_s


class OutputUnsure(PlannerError):
    """Nobody can tell whether the message was taken, or it was taken by some and not by others."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Message:
    """One change of one warning, as it is sent. Times are aware."""

    id: str
    """The warning's own; of a site with a key of its own that key stands before it."""
    change: int
    kind: str
    level: str
    title: str
    body: str
    surface: str
    begins: datetime | None = None
    url: str | None = None
    made_at: datetime | None = None

    def __post_init__(self) -> None:
        for moment, what in ((self.begins, "the time a warning begins"), (self.made_at, "a message's time")):
            if moment is not None:
                require_aware(moment, what)

    @property
    def key(self) -> str:
        """The same at every attempt, so that a receiver can drop a repeat."""
        return f"{self.id}:{self.change}"

    def as_dict(self) -> dict[str, object]:
        """The message as JSON takes it."""
        found: dict[str, object] = msgspec.to_builtins(self)
        return found

    @classmethod
    def from_dict(cls, fields: Mapping[str, object]) -> Message:
        """The message from its JSON form."""
        return msgspec.convert(fields, cls)

    def for_outputs(
        self, names: Iterable[str], due_at: datetime, *, of: str | None = None, closes: bool = False
    ) -> tuple[Outgoing, ...]:
        """One row for the outbox for each output. `of` is the warning as the store knows it, where the message has
        another id; `closes` when it only ends a warning."""
        return tuple(
            Outgoing(
                warning_id=self.id if of is None else of,
                change=self.change,
                output=name,
                body=self.as_dict(),
                due_at=due_at,
                closes=closes,
            )
            for name in names
        )


class Output(Protocol):
    """Sends a message, once. Blocks; called from a thread that runs no event loop."""

    @property
    def name(self) -> str:
        """Its own name, by which the outbox knows it."""

    @property
    def idempotent(self) -> bool:
        """Whether the other side drops a repeat, so that a message may be sent again when nobody knows."""

    def send(self, message: Message) -> None:
        """Returns when the other side has taken it; else OutputFailed or OutputUnsure."""


@dataclass(frozen=True, slots=True, kw_only=True)
class LogOutput:
    """The program's log `haysel.warnings`, one line a message."""

    name: str = "log"
    idempotent: bool = False

    def send(self, message: Message) -> None:
        """Writes the line."""
        text = " ".join(f"{message.title}: {message.body}".split())
        _log.warning("[%s] %s (%s, change %d)", message.level, text, message.id, message.change)


_delivery_log = logging.getLogger("haysel.outputs")

#: Longer than all messages of one call can take, so that no other process takes them for abandoned.
LEASE_S = 600.0
MOST_AT_ONCE = 25
MOST_TRIES = 8
FIRST_WAIT_S = 60.0
LONGEST_WAIT_S = 6 * 3600.0
QUIET_WAIT_S = 600.0

Quiet = Callable[[Message, datetime], bool]


@dataclass(frozen=True, slots=True, kw_only=True)
class Delivery:
    """How many messages went which way in one call."""

    sent: int = 0
    failed: int = 0
    given_up: int = 0
    unsure: int = 0
    held: int = 0


def deliver(
    store: Store, outputs: Sequence[Output], now: datetime, *, quiet: Quiet | None = None
) -> Delivery:
    """Sends every message due to these outputs, each once. A failing output never stops the others.

    `quiet` says whether a message is to be held at this hour; it is asked again ten minutes later. An output
    that failed in this call is left alone until the next.
    """
    by_name = {output.name: output for output in outputs}
    waiting = dict(by_name)
    counts = dict.fromkeys(("sent", "failed", "given_up", "unsure", "held"), 0)
    for _ in range(MOST_AT_ONCE):
        taken = store.take_due(
            now,
            LEASE_S,
            outputs=list(waiting),
            idempotent=[name for name, output in by_name.items() if output.idempotent],
        )
        if not taken:
            break
        due = taken[0]
        way = _one(store, by_name[due.output], due, now, quiet)
        counts[way] += 1
        if way in ("failed", "unsure"):
            waiting.pop(due.output)
    return Delivery(**counts)


def _one(store: Store, output: Output, due: OutboxItem, now: datetime, quiet: Quiet | None) -> str:
    try:
        message = Message.from_dict(due.body)
    except (KeyError, TypeError, ValueError) as error:
        store.mark_failed(due.id, None, f"the stored message cannot be read: {error}")
        return "given_up"
    if quiet is not None and quiet(message, now):
        store.put_back(due.id, now + timedelta(seconds=QUIET_WAIT_S))
        return "held"
    try:
        output.send(message)
    except OutputFailed as error:
        return _again(store, due, now, str(error), error.retry_after_s)
    except Exception as error:
        # An output's own fault must not stop the others, and says nothing about what the other side got.
        known = isinstance(error, OutputUnsure)
        says = str(error) if known else f"{type(error).__name__}: {error}"
        _delivery_log.warning(
            "output %s is unsure about %s: %s", output.name, message.key, says, exc_info=not known
        )
        if output.idempotent:
            return _again(store, due, now, says, None)
        store.mark_unsure(due.id, says)
        return "unsure"
    store.mark_sent(due.id, now)
    return "sent"


def _again(store: Store, due: OutboxItem, now: datetime, says: str, retry_after_s: float | None) -> str:
    if due.tries >= MOST_TRIES:
        _delivery_log.error(
            "output %s gives up on %s after %d tries: %s", due.output, due.key, due.tries, says
        )
        store.mark_failed(due.id, None, says)
        return "given_up"
    wait_s = min(LONGEST_WAIT_S, FIRST_WAIT_S * 4.0 ** (due.tries - 1))
    if retry_after_s is not None:
        wait_s = min(LONGEST_WAIT_S, max(wait_s, retry_after_s))
    _delivery_log.warning("output %s failed, again in %.0f s: %s", due.output, wait_s, says)
    store.mark_failed(due.id, now + timedelta(seconds=wait_s), says)
    return "failed"
