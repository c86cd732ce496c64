"""Writes warnings to the program's log."""

from __future__ import annotations

import logging
from dataclasses import dataclass

from planner.outputs.base import Message

_log = logging.getLogger("haysel.warnings")


@dataclass(frozen=True, slots=True, kw_only=True)
class LogOutput:
    """The log `haysel.warnings`, one line a message."""

    name: str = "log"
    idempotent: bool = False

    def send(self, message: Message) -> None:
        """Writes the line."""
        text = " ".join(f"{message.title}: {message.body}".split())
        _log.warning("[%s] %s (%s, change %d)", message.level, text, message.id, message.change)
