"""What goes into the store and comes out of it. Loads no database library."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from datetime import datetime
from hashlib import sha256
from typing import Any

from planner.errors import InputError
from planner.store.times import epoch_s


def etag_of(body: bytes) -> str:
    """A strong entity tag, quotes included, that changes when any byte of the body does."""
    return f'"{sha256(body).hexdigest()[:32]}"'


@dataclass(frozen=True, slots=True, kw_only=True)
class Answer:
    """One rendered answer of a pass."""

    content_type: str
    body: bytes


@dataclass(frozen=True, slots=True, kw_only=True)
class StoredAnswer:
    """An answer as it is served: the bytes, their tag, and when the pass was made (UTC)."""

    name: str
    content_type: str
    body: bytes
    etag: str
    made_at: datetime


@dataclass(frozen=True, slots=True, kw_only=True)
class KeptForecast:
    """A provider's answer as it came, and what its headers said. Times in UTC."""

    id: int
    provider: str
    url: str
    body: bytes
    etag: str | None
    last_modified: str | None
    expires_at: datetime | None
    fetched_at: datetime
    checked_at: datetime
    """When the provider last said that this is still its newest answer."""
    issued_at: datetime | None = None
    """When its model run came out, where a second call told."""
    notes: tuple[str, ...] = ()
    """What that call found odd."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Entry:
    """One job done, as the keeper tells it.

    `document` holds what not every job has, as JSON: materials with amounts, water, wind and weather on the
    spot, cover, tackifier, grass sown, target, licence number, product as on the label, its registration
    number, rate, area. Its keys end in their unit.
    """

    job: str
    kind: str
    surface: str
    started_at: datetime
    finished_at: datetime
    operator: str = ""
    notes: str = ""
    document: Mapping[str, Any] = field(default_factory=dict)

    def __post_init__(self) -> None:
        epoch_s(self.started_at, "the start of a diary entry")
        epoch_s(self.finished_at, "the end of a diary entry")
        if self.finished_at < self.started_at:
            raise InputError(
                f"A diary entry ends at {self.finished_at.isoformat()}, before it starts at "
                f"{self.started_at.isoformat()}. Correct one of the two."
            )
        for name in ("job", "kind", "surface"):
            if not getattr(self, name).strip():
                raise InputError(f"A diary entry has no {name}. Write one.")
        for name in ("job", "kind", "surface", "operator", "notes"):
            _storable(getattr(self, name), name)


def _storable(text: str, name: str) -> None:
    try:
        text.encode()
    except UnicodeEncodeError as error:
        raise InputError(
            f"A diary entry's {name} holds a character that is none ({error.reason})."
        ) from error
    if "\0" in text:
        raise InputError(f"A diary entry's {name} holds the character with code 0. Leave it out.")


@dataclass(frozen=True, slots=True, kw_only=True)
class StoredEntry:
    """One revision of a diary entry. Revision 1 is the first; the highest holds."""

    uuid: str
    revision: int
    entry: Entry
    written_at: datetime
    withdrawn: bool
    reason: str
    """Why it was changed or withdrawn; empty on the first revision."""


@dataclass(frozen=True, slots=True, kw_only=True)
class WarningState:
    """Where a warning stands in its life."""

    id: str
    kind: str
    surface: str
    state: str
    """`raised`, `changed`, `eased` or `over`."""
    level: str
    document: Mapping[str, Any]
    first_at: datetime
    changed_at: datetime
    change: int = 1
    """1 when raised, one more at each change of which people are told."""

    def __post_init__(self) -> None:
        if self.state not in WARNING_STATES:
            raise InputError(
                f'A warning\'s state is "{self.state}" ({self.id}); allowed: {", ".join(WARNING_STATES)}.'
            )


WARNING_STATES = ("raised", "changed", "eased", "over")


@dataclass(frozen=True, slots=True, kw_only=True)
class Outgoing:
    """One message to one output about one change of one warning."""

    warning_id: str
    change: int
    output: str
    body: Mapping[str, Any]
    due_at: datetime
    closes: bool = False
    """Only ends a warning: not sent by an output that never sent anything about that warning."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Due:
    """A message taken for sending."""

    id: int
    warning_id: str
    change: int
    output: str
    body: Mapping[str, Any]
    tries: int

    @property
    def key(self) -> str:
        """The same for every attempt at this message, so that a receiver can drop a repeat."""
        return f"{self.warning_id}:{self.change}:{self.output}"


@dataclass(frozen=True, slots=True, kw_only=True)
class OutboxCount:
    """How many messages of one output are in one state, for the health page."""

    output: str
    state: str
    """`due`, `sending`, `sent`, `unsure`, `given up`, `overtaken` or `needless`."""
    messages: int
    note: str
    """What was said of the newest of them; empty when nothing went wrong."""
