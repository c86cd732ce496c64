"""What is kept: answers of each pass, forecasts, the diary, warnings and what is still to be sent.

Importing this package loads no database library: reading commands go through `planner.store.reading`, and
`Store` is looked up only when somebody asks for it.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from planner.store.faults import KeyReused, StoreError
from planner.store.records import (
    Answer,
    Due,
    Entry,
    KeptForecast,
    OutboxCount,
    Outgoing,
    StoredAnswer,
    StoredEntry,
    WarningState,
)

if TYPE_CHECKING:
    from planner.store.store import Store

__all__ = [
    "Answer",
    "Due",
    "Entry",
    "KeptForecast",
    "KeyReused",
    "OutboxCount",
    "Outgoing",
    "Store",
    "StoreError",
    "StoredAnswer",
    "StoredEntry",
    "WarningState",
]


def __getattr__(name: str) -> Any:
    if name == "Store":
        from planner.store.store import Store

        return Store
    raise AttributeError(f"planner.store has no {name}")
