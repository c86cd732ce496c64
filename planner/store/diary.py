"""The diary: entries are added, never changed. An edit is a new revision, a deletion a revision withdrawn."""

from __future__ import annotations

import json
from collections.abc import Mapping
from dataclasses import replace
from datetime import datetime
from typing import Any
from uuid import UUID, uuid4

from sqlalchemy import Connection, Row, and_, func, insert, select

from planner.errors import InputError, NotKnown
from planner.store.engine import one_at_a_time
from planner.store.faults import KeyReused
from planner.store.records import Entry, StoredEntry
from planner.store.tables import entries
from planner.store.times import epoch_s, moment


def add(connection: Connection, entry: Entry, now: datetime, key: str | None) -> StoredEntry:
    """Writes a first revision. The key names the entry; key and content met before are written once."""
    one_at_a_time(connection, "diary")
    name = _uuid(key)
    known = _by_key(connection, name)
    if known is not None:
        return _same(known, known.revision == 1, entry, name)
    return _write(connection, name, 1, name, entry, now, withdrawn=False, reason="")


def edit(
    connection: Connection, uuid: str, entry: Entry, now: datetime, reason: str, key: str | None
) -> StoredEntry:
    """Writes the next revision of an entry."""
    one_at_a_time(connection, "diary")
    key = _uuid(key)
    known = _by_key(connection, key)
    if known is not None:
        return _same(known, known.uuid == uuid.lower() and known.revision > 1, entry, key)
    last = _last(connection, uuid)
    if last.withdrawn:
        raise InputError(
            f"The diary entry {uuid} was withdrawn on {last.written_at.isoformat()} ({last.reason}). "
            "Add a new entry instead."
        )
    return _write(connection, last.uuid, last.revision + 1, key, entry, now, withdrawn=False, reason=reason)


def withdraw(connection: Connection, uuid: str, now: datetime, reason: str, key: str | None) -> StoredEntry:
    """Marks an entry as withdrawn, for the reason given; a second time changes nothing."""
    if not reason.strip():
        raise InputError(f"The diary entry {uuid} cannot be withdrawn without a reason. Write why.")
    one_at_a_time(connection, "diary")
    last = _last(connection, uuid)
    if last.withdrawn:
        return last
    key = _uuid(key)
    if _by_key(connection, key) is not None:
        raise KeyReused(f"The key {key} was used for another diary entry. Send a new one.")
    return _write(
        connection, last.uuid, last.revision + 1, key, last.entry, now, withdrawn=True, reason=reason
    )


def holding(
    connection: Connection,
    since: datetime | None,
    until: datetime | None,
    job: str | None,
    surface: str | None,
    with_withdrawn: bool,
) -> tuple[StoredEntry, ...]:
    """The newest revision of each entry started from since up to, not including, until, oldest first."""
    newest = (
        select(entries.c.uuid, func.max(entries.c.revision).label("revision"))
        .group_by(entries.c.uuid)
        .subquery()
    )
    wanted = select(entries).join(
        newest, and_(entries.c.uuid == newest.c.uuid, entries.c.revision == newest.c.revision)
    )
    if since is not None:
        wanted = wanted.where(entries.c.started_at >= epoch_s(since, "the start of the time asked about"))
    if until is not None:
        wanted = wanted.where(entries.c.started_at < epoch_s(until, "the end of the time asked about"))
    if job is not None:
        wanted = wanted.where(entries.c.job == job)
    if surface is not None:
        wanted = wanted.where(entries.c.surface == surface)
    if not with_withdrawn:
        wanted = wanted.where(entries.c.withdrawn.is_(False))
    rows = connection.execute(wanted.order_by(entries.c.started_at, entries.c.id))
    return tuple(_stored(row) for row in rows)


def history(connection: Connection, uuid: str) -> tuple[StoredEntry, ...]:
    """Every revision of one entry, oldest first."""
    rows = connection.execute(
        select(entries).where(entries.c.uuid == uuid.lower()).order_by(entries.c.revision)
    ).all()
    if not rows:
        raise _unknown(connection, uuid)
    return tuple(_stored(row) for row in rows)


def document_text(document: Mapping[str, Any], what: str) -> str:
    """The document as JSON in ASCII; InputError for what JSON cannot hold."""
    try:
        return json.dumps(document, allow_nan=False, sort_keys=True)
    except (TypeError, ValueError) as error:
        raise InputError(
            f"{what} holds a value that JSON cannot keep ({error}). Write null for what is not known."
        ) from error


def _write(
    connection: Connection,
    uuid: str,
    revision: int,
    key: str,
    entry: Entry,
    now: datetime,
    *,
    withdrawn: bool,
    reason: str,
) -> StoredEntry:
    connection.execute(
        insert(entries).values(
            uuid=uuid,
            revision=revision,
            key=key,
            job=entry.job,
            kind=entry.kind,
            surface=entry.surface,
            started_at=epoch_s(entry.started_at, "the start of a diary entry"),
            finished_at=epoch_s(entry.finished_at, "the end of a diary entry"),
            operator=entry.operator,
            notes=entry.notes,
            document=document_text(entry.document, "A diary entry's document"),
            written_at=epoch_s(now, "the time of writing"),
            withdrawn=withdrawn,
            reason=reason,
        )
    )
    written = _by_key(connection, key)
    if written is None:
        raise RuntimeError("a row just written is not there")
    return written


def _same(known: StoredEntry, same_act: bool, entry: Entry, key: str) -> StoredEntry:
    document = json.loads(document_text(entry.document, "A diary entry's document"))
    if same_act and not known.withdrawn and replace(entry, document=document) == known.entry:
        return known
    raise KeyReused(
        f"The key {key} was already used, for revision {known.revision} of the diary entry {known.uuid}. "
        "Send a new key with a new content."
    )


def _by_key(connection: Connection, key: str) -> StoredEntry | None:
    row = connection.execute(select(entries).where(entries.c.key == key)).first()
    return None if row is None else _stored(row)


def _last(connection: Connection, uuid: str) -> StoredEntry:
    row = connection.execute(
        select(entries).where(entries.c.uuid == uuid.lower()).order_by(entries.c.revision.desc()).limit(1)
    ).first()
    if row is None:
        raise _unknown(connection, uuid)
    return _stored(row)


def _unknown(connection: Connection, uuid: str) -> NotKnown:
    recent = connection.execute(
        select(entries.c.uuid).where(entries.c.revision == 1).order_by(entries.c.id.desc()).limit(5)
    ).scalars()
    return NotKnown("diary entry", uuid, list(recent))


def _uuid(key: str | None) -> str:
    if key is None:
        return str(uuid4())
    try:
        return str(UUID(key))
    except ValueError as error:
        raise InputError(
            f'The key "{key}" is not a UUID. Send one such as {uuid4()}, the same at each attempt.'
        ) from error


def _stored(row: Row[Any]) -> StoredEntry:
    return StoredEntry(
        uuid=row.uuid,
        revision=row.revision,
        entry=Entry(
            job=row.job,
            kind=row.kind,
            surface=row.surface,
            started_at=moment(row.started_at),
            finished_at=moment(row.finished_at),
            operator=row.operator,
            notes=row.notes,
            document=json.loads(row.document),
        ),
        written_at=moment(row.written_at),
        withdrawn=bool(row.withdrawn),
        reason=row.reason,
    )
