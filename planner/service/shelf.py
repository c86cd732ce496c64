"""The newest pass's answers, held in memory as bytes with their ETags."""

from __future__ import annotations

import gzip
import json
import threading
from collections.abc import Callable, Collection, Iterable, Iterator, Mapping
from dataclasses import dataclass, field
from datetime import datetime, timedelta
from functools import cached_property
from hashlib import sha256
from typing import Any, Protocol

from planner.answers import encode
from planner.errors import NoPassYet
from planner.freshness import as_of, now_as_of

#: A stale answer tells its age; it is rendered anew at most this often.
_TWIN_LIVES = timedelta(minutes=1)
_JSON = "application/json"


@dataclass(frozen=True)
class Item:
    """One answer ready to send."""

    content_type: str
    body: bytes
    etag: str
    ready: dict[bool, tuple[bytes, list[tuple[bytes, bytes]]]] = field(default_factory=dict, compare=False)
    """Body and head as they were sent before, plain (False) and squeezed (True)."""

    @cached_property
    def squeezed(self) -> bytes:
        """The bytes as gzip, made when first asked for."""
        return gzip.compress(self.body, 6, mtime=0)


def item(content_type: str, body: bytes) -> Item:
    """An answer with a strong ETag from its bytes."""
    return Item(content_type, body, f'"{sha256(body).hexdigest()[:32]}"')


class NotLaid(NoPassYet, KeyError):
    """The pass that lies there does not have this; one made by an older version, as a rule."""

    def __str__(self) -> str:
        return f"The stored pass does not tell {self.args[0]} yet; the next one will. Ask again in a minute."


class Views(Protocol):
    """What is drawn from the answers rather than answered: pages, the calendar, the gauges."""

    @property
    def at_once(self) -> Collection[str]:
        """Those drawn with the pass; the others are drawn when they are first asked for."""

    def names(self, answers: Mapping[str, Any]) -> Iterable[str]:
        """Every view that can be drawn from these answers."""

    def draw(self, name: str, answers: Mapping[str, Any], before: bytes | None) -> tuple[str, bytes]:
        """Content type and bytes of one view; `before` is what it was in the pass before, if known."""


class Parsed(Mapping[str, Any]):
    """Answers as objects, each parsed when first asked for. Not to be changed."""

    def __init__(self, items: Mapping[str, Item]) -> None:
        self._items = items
        self._parsed: dict[str, Any] = {}

    def __getitem__(self, name: str) -> Any:
        if name not in self._parsed:
            self._parsed[name] = json.loads(self._items[name].body)
        return self._parsed[name]

    def __iter__(self) -> Iterator[str]:
        return (name for name, found in self._items.items() if found.content_type == _JSON)

    def __len__(self) -> int:
        return sum(1 for _ in self)


@dataclass(slots=True)
class _Laid:
    """One state of the shelf: what lies on it, what can be drawn from it, until when it may be shown."""

    items: dict[str, Item]
    views: frozenset[str]
    until: datetime | None
    drawing: threading.Lock = field(default_factory=threading.Lock)


class Shelf:
    """Answers of the newest pass. Written by the pass, read by requests; both may run in different threads.

    What lies there is shown as it is until it would be wrong: until the first window or warning is over, or
    the forecast counts as stale. From then on a twin is shown that leaves out what is over and tells its age.
    """

    def __init__(self, clock: Callable[[], datetime], views: Views | None = None) -> None:
        self._clock = clock
        self._views = views
        self._lock = threading.Lock()
        self._fresh = _Laid({}, frozenset(), None)
        self._twin: _Laid | None = None
        self._listeners: list[Callable[[], object]] = []
        self.made_at: datetime | None = None
        self.stale_at: datetime | None = None

    def put(self, made_at: datetime, stale_at: datetime, answers: Mapping[str, tuple[str, bytes]]) -> None:
        """Lay out the answers of a new pass and what is drawn from them, all at once."""
        items = {name: item(kind, body) for name, (kind, body) in answers.items()}
        views: frozenset[str] = frozenset()
        if self._views is not None:
            parsed = Parsed(dict(items))
            views = frozenset(self._views.names(parsed))
            for name in views.intersection(self._views.at_once):
                old = self._fresh.items.get(name)
                items[name] = item(*self._views.draw(name, parsed, None if old is None else old.body))
        laid = _Laid(items, views, min([stale_at, *_ends(items)]))
        with self._lock:
            self._fresh, self._twin = laid, None
            self.made_at, self.stale_at = made_at, stale_at
            listeners = list(self._listeners)
        for listener in listeners:
            listener()

    def listen(self, listener: Callable[[], object]) -> Callable[[], None]:
        """Call the listener after each pass, in the thread of the pass. The answer takes it off again."""
        with self._lock:
            self._listeners.append(listener)
        return lambda: self._listeners.remove(listener)

    def names(self) -> tuple[str, ...]:
        """What lies on the shelf or can be drawn from it."""
        return tuple(dict.fromkeys([*self._fresh.items, *sorted(self._fresh.views)]))

    def get(self, name: str) -> Item:
        """The answer of that name as it reads now. NoPassYet on an empty shelf, NotLaid for another name."""
        laid = self._fresh
        if laid.until is not None and (now := self._clock()) >= laid.until:
            laid = self._as_of(laid, now)
        found = laid.items.get(name)
        if found is not None:
            return found
        if name in laid.views:
            return self._drawn(laid, name)
        if not laid.items:
            raise NoPassYet("The first pass is not finished yet. Ask again in a minute.")
        raise NotLaid(name)

    def parsed(self, name: str) -> Any:
        """The answer as objects of its own, free to change."""
        return json.loads(self.get(name).body)

    def _as_of(self, fresh: _Laid, now: datetime) -> _Laid:
        """The twin for this moment, made when the one at hand no longer holds."""
        with self._lock:
            twin = self._twin
            if twin is not None and twin.until is not None and now < twin.until:
                return twin
            parsed = Parsed(fresh.items)
            items = {
                name: _aged(name, found, now, parsed)
                for name, found in fresh.items.items()
                if name not in fresh.views
            }
            lasts = now + _TWIN_LIVES
            if self.stale_at is not None and now < self.stale_at:
                lasts = min([self.stale_at, *_ends(items)])
            self._twin = _Laid(items, fresh.views, lasts)
            return self._twin

    def _drawn(self, laid: _Laid, name: str) -> Item:
        """A view of the twin, drawn when it is first asked for."""
        assert self._views is not None
        with laid.drawing:
            found = laid.items.get(name)
            if found is None:
                old = self._fresh.items.get(name)
                parsed = Parsed({key: one for key, one in laid.items.items() if key not in laid.views})
                found = item(*self._views.draw(name, parsed, None if old is None else old.body))
                laid.items[name] = found
            return found


def _ends(items: Mapping[str, Item]) -> list[datetime]:
    """When something on show is over: the last start of each window, the end of each warning and of work in
    the week's order; and when a barred job's window begins."""
    texts: list[str] = []
    for name, key, moment in (
        ("windows", "windows", "latest_start"),
        ("windows", "barred", "next_window"),
        ("warnings", "warnings", "ends"),
        ("week", "work", "end"),
    ):
        if name in items:
            texts += [row[moment] for row in json.loads(items[name].body)[key] if row[moment] is not None]
    # A window still holds in the minute of its last start.
    return [datetime.fromisoformat(text) + timedelta(seconds=1) for text in texts]


def _aged(name: str, found: Item, now: datetime, answers: Mapping[str, Any]) -> Item:
    if found.content_type != _JSON:
        return found
    answer = json.loads(found.body)
    if name == "now":
        others = (answers.get(one) for one in ("windows", "warnings", "due", "week"))
        told = now_as_of(answer, now, *others)
        return item(found.content_type, encode(told))
    if isinstance(answer, dict) and "forecast" in answer:
        return item(found.content_type, encode(as_of(answer, now)))
    return found
