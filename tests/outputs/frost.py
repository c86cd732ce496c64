"""One warning for the tests, and outputs that take it, refuse it or leave us in doubt."""

from __future__ import annotations

from dataclasses import dataclass, field
from datetime import UTC, datetime, timedelta

from planner.outputs import Message

NOW = datetime(2026, 4, 12, 18, tzinfo=UTC)
FROST = Message(
    id="frost:green:2026-04-13",
    change=1,
    kind="frost",
    level="act",
    title="Ground frost on the green from 03:00",
    body="Surface -2.4 C expected — keep off until about 08:40.",
    surface="green",
    begins=NOW + timedelta(hours=9),
    url="http://127.0.0.1:8480/",
    made_at=NOW,
)


@dataclass
class Pigeon:
    """Takes messages, or raises what it was told to."""

    name: str = "pigeon"
    idempotent: bool = False
    fault: Exception | None = None
    got: list[Message] = field(default_factory=list)

    def send(self, message: Message) -> None:
        if self.fault is not None:
            raise self.fault
        self.got.append(message)
