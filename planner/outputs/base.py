"""What an output is, what it is given, and how it says that it could not."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from datetime import datetime
from typing import Any, Protocol

from planner.errors import PlannerError
from planner.site import require_aware
from planner.store.records import Due, Outgoing


class OutputFailed(PlannerError):
    """The message was surely not taken: it can be tried again."""

    def __init__(self, says: str, retry_after_s: float | None = None) -> None:
        super().__init__(says)
        self.retry_after_s = retry_after_s


class OutputUnsure(PlannerError):
    """Nobody can tell whether the message was taken, or it was taken by some and not by others."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Message:
    """One change of one warning, as people are told of it. Times are aware."""

    id: str
    """The warning's own."""
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

    def as_dict(self) -> dict[str, Any]:
        """The message as JSON takes it."""
        return {
            "id": self.id,
            "change": self.change,
            "kind": self.kind,
            "level": self.level,
            "title": self.title,
            "body": self.body,
            "surface": self.surface,
            "begins": None if self.begins is None else self.begins.isoformat(),
            "url": self.url,
            "made_at": None if self.made_at is None else self.made_at.isoformat(),
        }

    @classmethod
    def from_dict(cls, given: Mapping[str, Any]) -> Message:
        """The message from its JSON form."""
        times = {
            name: None if given.get(name) is None else datetime.fromisoformat(given[name])
            for name in ("begins", "made_at")
        }
        return cls(**{**given, **times})

    def for_outputs(
        self, names: Iterable[str], due_at: datetime, *, closes: bool = False
    ) -> tuple[Outgoing, ...]:
        """One row for the outbox for each output. `closes` when it only ends a warning."""
        return tuple(
            Outgoing(
                warning_id=self.id,
                change=self.change,
                output=name,
                body=self.as_dict(),
                due_at=due_at,
                closes=closes,
            )
            for name in names
        )


def message_of(due: Due) -> Message:
    """The message of a row taken from the outbox."""
    return Message.from_dict(due.body)


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
