"""The newest pass's answers, held in memory as bytes with their ETags."""

from __future__ import annotations

import json
import threading
from collections.abc import Callable, Mapping
from dataclasses import dataclass
from datetime import datetime, timedelta
from hashlib import sha256
from typing import Any

from planner.answers import encode
from planner.errors import NoPassYet
from planner.freshness import as_of, now_as_of

#: A stale answer tells its age; it is rendered anew at most this often.
_TWIN_LIVES = timedelta(minutes=1)


@dataclass(frozen=True, slots=True)
class Item:
    """One answer ready to send."""

    content_type: str
    body: bytes
    etag: str


def item(content_type: str, body: bytes) -> Item:
    """An answer with a strong ETag from its bytes."""
    return Item(content_type, body, f'"{sha256(body).hexdigest()[:32]}"')


class Shelf:
    """Answers of the newest pass. Written by the pass, read by requests; both may run in different threads."""

    def __init__(self, clock: Callable[[], datetime]) -> None:
        self._clock = clock
        self._lock = threading.Lock()
        self._items: Mapping[str, Item] = {}
        self._twins: dict[str, tuple[datetime, Item]] = {}
        self.made_at: datetime | None = None
        self.stale_at: datetime | None = None

    def put(self, made_at: datetime, stale_at: datetime, answers: Mapping[str, tuple[str, bytes]]) -> None:
        """Lay out the answers of a new pass, all at once."""
        items = {name: item(kind, body) for name, (kind, body) in answers.items()}
        with self._lock:
            self._items, self._twins = items, {}
            self.made_at, self.stale_at = made_at, stale_at

    def names(self) -> tuple[str, ...]:
        """What lies on the shelf."""
        return tuple(self._items)

    def get(self, name: str) -> Item:
        """The answer of that name; once the forecast is stale, a copy that says so. NoPassYet when empty."""
        found = self._items.get(name)
        if found is None:
            if not self._items:
                raise NoPassYet("The first pass is not finished yet. Ask again in a minute.")
            raise KeyError(name)
        if self.stale_at is None or (now := self._clock()) < self.stale_at:
            return found
        return self._twin(name, found, now)

    def parsed(self, name: str) -> Any:
        """The answer as objects of its own, free to change."""
        return json.loads(self.get(name).body)

    def _twin(self, name: str, found: Item, now: datetime) -> Item:
        kept = self._twins.get(name)
        if kept is not None and now - kept[0] < _TWIN_LIVES:
            return kept[1]
        twin = _aged(name, found, now)
        self._twins[name] = (now, twin)
        return twin


def _aged(name: str, found: Item, now: datetime) -> Item:
    if found.content_type != "application/json":
        return found
    answer = json.loads(found.body)
    if name == "now":
        return item(found.content_type, encode(now_as_of(answer, now)))
    if isinstance(answer, dict) and "forecast" in answer:
        return item(found.content_type, encode(as_of(answer, now)))
    return found
