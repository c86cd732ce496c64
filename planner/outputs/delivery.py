"""Sends what is due: takes one message, marks it on the disk, hands it over, marks the outcome."""

from __future__ import annotations

import logging
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta
from typing import TYPE_CHECKING

from planner.outputs.base import Message, Output, OutputFailed, OutputUnsure, message_of

if TYPE_CHECKING:
    from planner.store.records import Due
    from planner.store.store import Store

_log = logging.getLogger("haysel.outputs")

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


def _one(store: Store, output: Output, due: Due, now: datetime, quiet: Quiet | None) -> str:
    try:
        message = message_of(due)
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
        # An output's own fault must not stop the others, and tells nothing about what the other side got.
        known = isinstance(error, OutputUnsure)
        says = str(error) if known else f"{type(error).__name__}: {error}"
        _log.warning("output %s is unsure about %s: %s", output.name, message.key, says, exc_info=not known)
        if output.idempotent:
            return _again(store, due, now, says, None)
        store.mark_unsure(due.id, says)
        return "unsure"
    store.mark_sent(due.id, now)
    return "sent"


def _again(store: Store, due: Due, now: datetime, says: str, retry_after_s: float | None) -> str:
    if due.tries >= MOST_TRIES:
        _log.error("output %s gives up on %s after %d tries: %s", due.output, due.key, due.tries, says)
        store.mark_failed(due.id, None, says)
        return "given_up"
    wait_s = min(LONGEST_WAIT_S, FIRST_WAIT_S * 4.0 ** (due.tries - 1))
    if retry_after_s is not None:
        wait_s = min(LONGEST_WAIT_S, max(wait_s, retry_after_s))
    _log.warning("output %s failed, again in %.0f s: %s", due.output, wait_s, says)
    store.mark_failed(due.id, now + timedelta(seconds=wait_s), says)
    return "failed"
