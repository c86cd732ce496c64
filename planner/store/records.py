"""What goes into the store and comes out of it, and what is wrong when it cannot be used. Loads no database library.

Moments are kept as seconds since 1970 in UTC, because SQLite drops the offset of a time.
"""

from __future__ import annotations

import json
from collections.abc import Mapping
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

from msgspec import Struct

from planner.errors import InputError, PlannerError
from planner.terms import require_aware

DAY_S = 86400


def epoch_s(moment: datetime, what: str) -> float:
    """Seconds since 1970-01-01 UTC; a moment without a zone is refused."""
    return require_aware(moment, what).timestamp()


def maybe_epoch_s(moment: datetime | None, what: str) -> float | None:
    """The same, where the moment may be unknown."""
    return None if moment is None else epoch_s(moment, what)


class PassRow(Struct, frozen=True, kw_only=True):
    """That a pass was made; its schema is 0 where a store of an earlier form was brought on."""

    number: int
    made_at: datetime
    stale_at: datetime | None
    schema: int


class StoredPart(Struct, frozen=True, kw_only=True):
    """One part of a pass, as it was handed in, with the number, moment and schema of the pass."""

    name: str
    body: bytes
    number: int
    made_at: datetime
    schema: int


class Beside(Struct, frozen=True, kw_only=True):
    """The passes of other sites that a pass was planned beside."""

    part: str
    """The part of theirs that was read."""
    passes: Mapping[str, int]
    """The number of the newest pass by site."""


def moment(seconds: float) -> datetime:
    """The aware moment, in UTC."""
    return datetime.fromtimestamp(seconds, UTC)


def maybe_moment(seconds: float | None) -> datetime | None:
    """The same, where the moment may be unknown."""
    return None if seconds is None else moment(seconds)


def document_text(document: Mapping[str, object], what: str) -> str:
    """The document as JSON in ASCII; InputError for what JSON cannot hold."""
    try:
        return json.dumps(document, allow_nan=False, sort_keys=True)
    except (TypeError, ValueError) as error:
        raise InputError(
            f"{what} holds a value that JSON cannot keep ({error}). Write null for what is not known."
        ) from error


def key_of(key: str | None) -> str:
    """The UUID under which a write is known: the one sent along, or a new one. InputError for what is none."""
    # Here, since reading commands want no part of it: it loads what is slow to load.
    from uuid import UUID, uuid4

    if key is None:
        return str(uuid4())
    try:
        return str(UUID(key))
    except ValueError as error:
        raise InputError(
            f'The key "{key}" is not a UUID. Send one such as {uuid4()}, the same at each attempt.'
        ) from error


def is_key(text: str) -> bool:
    """Whether the text can be the key of anything kept; a database server refuses to look some other texts up."""
    from uuid import UUID

    try:
        UUID(text)
    except ValueError:
        return False
    return True


class KeptWarning(Struct, frozen=True, kw_only=True):
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
    """1 when raised, one more at each change for which people get a message."""

    def __post_init__(self) -> None:
        if self.state not in WARNING_STATES:
            raise InputError(
                f'A warning\'s state is "{self.state}" ({self.id}); allowed: {", ".join(WARNING_STATES)}.'
            )


WARNING_STATES = ("raised", "changed", "eased", "over")


class Outgoing(Struct, frozen=True, kw_only=True):
    """One message to one output about one change of one warning."""

    warning_id: str
    change: int
    output: str
    body: Mapping[str, object]
    due_at: datetime
    closes: bool = False
    """Only ends a warning: not sent by an output that never sent anything about that warning."""


class OutboxItem(Struct, frozen=True, kw_only=True):
    """A message taken for sending."""

    id: int
    warning_id: str
    change: int
    output: str
    body: Mapping[str, object]
    tries: int

    @property
    def key(self) -> str:
        """The same for every attempt at this message, so that a receiver can drop a repeat."""
        return f"{self.warning_id}:{self.change}:{self.output}"


class OutboxCount(Struct, frozen=True, kw_only=True):
    """How many messages of one output are in one state, for the health page."""

    output: str
    state: str
    """`due`, `sending`, `sent`, `unsure`, `given up`, `overtaken` or `needless`."""
    messages: int
    note: str
    """What was said of the newest of them; empty when nothing went wrong."""


class StoreError(PlannerError):
    """The store cannot be opened, read or written."""


class AlreadyKept(PlannerError):
    """A pass that is made once only is there: another has made it."""


class BesideChanged(StoreError):
    """Another site's pass, which this one was planned beside, has been made anew meanwhile."""


class KeyReused(InputError):
    """A key that makes a repeated write harmless came back with other content."""


_GRANT = "Give the user that runs haysel the right to write it."

#: What the database says, what that means to a keeper, and what to do. The first that fits is taken.
_KNOWN: tuple[tuple[str, str, str], ...] = (
    ("disk is full", "the disk is full", "Free some space, then run the command again."),
    ("no space left", "the disk is full", "Free some space, then run the command again."),
    ("disk quota", "the disk is full", "Free some space, then run the command again."),
    ("readonly", "the file may not be written", _GRANT),
    ("permission denied", "the place may not be written", _GRANT),
    ("unable to open", "the file cannot be opened", "Check that its folder exists and may be written."),
    ("disk i/o", "the disk failed while reading or writing", "Check the disk, then the backup."),
    ("is not a database", "the file is not a store", "Name another file; this one was left as it is."),
    ("malformed", "the file is damaged", "Move it out of the way, then `haysel restore` the last backup."),
    ("locked", "another program holds the file", "Wait for it or stop it, then run the command again."),
    ("queuepool limit", "every line to it is in use", "Try again in a moment."),
    ("timeout expired", "the database server does not answer", "See that it runs and can be reached."),
    ("connection refused", "the database server does not answer", "Start it, or correct the address."),
    ("could not translate host", "the database server's name is not known", "Correct the address."),
    ("does not exist", "something in it does not exist", "Check the database's name and its user."),
)


def store_error(error: BaseException, where: str) -> StoreError:
    """A store error that says what is wrong, where, and what to do, from the database's own error."""
    said = " ".join(str(getattr(error, "orig", None) or error).split())
    for mark, what, remedy in _KNOWN:
        if mark in said.lower():
            return StoreError(f'The store {where}: {what} (it says "{said}"). {remedy}')
    return StoreError(f'The store {where} refused: "{said}". Nothing was written; see the log for the step.')


def sqlite_file(url_or_path: str | Path) -> Path | None:
    """The file of an SQLite address or a bare path; None for any other database."""
    text = str(url_or_path)
    if "://" not in text:
        return Path(text)
    scheme, _, rest = text.partition("://")
    if scheme.split("+")[0] != "sqlite" or not rest.startswith("/") or rest.startswith("/:memory:"):
        return None
    return Path(rest[1:].partition("?")[0])
