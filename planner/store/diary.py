"""The diary: entries are added, never changed. An edit is a new revision, a deletion a revision withdrawn."""

from __future__ import annotations

import json
from dataclasses import replace
from datetime import datetime
from typing import Any

from sqlalchemy import Connection, Row, and_, func, insert, select

from planner.diary.entry import Entry, StoredEntry
from planner.errors import Contradiction, InputError, NotKnown, Overtaken
from planner.store.engine import Database, one_at_a_time
from planner.store.records import KeyReused, document_text, epoch_s, is_key, key_of, moment
from planner.store.tables import entries


class Diary(Database):
    """The diary of a site."""

    def add_entry(self, entry: Entry, now: datetime, key: str | None = None) -> StoredEntry:
        """Adds to the diary. With a key (a UUID, which becomes the entry's own) a repeat is harmless."""
        with self._writing() as connection:
            one_at_a_time(connection, "diary")
            name = key_of(key)
            known = self._by_key(connection, name)
            if known is not None:
                return _same(known, known.revision == 1, entry, name)
            return self._write(connection, name, 1, name, entry, now)

    def edit_entry(
        self,
        uuid: str,
        entry: Entry,
        now: datetime,
        *,
        reason: str = "",
        key: str | None = None,
        of_revision: int | None = None,
    ) -> StoredEntry:
        """Writes a new revision of a diary entry; the old ones stay readable.

        `of_revision` is what the entry was made of: Overtaken where another has been written since.
        """
        with self._writing() as connection:
            one_at_a_time(connection, "diary")
            key = key_of(key)
            known = self._by_key(connection, key)
            if known is not None:
                return _same(known, known.uuid == uuid.lower() and known.revision > 1, entry, key)
            last = self._revisions(connection, uuid)[-1]
            if last.withdrawn:
                raise Contradiction(
                    f"The diary entry {uuid} was withdrawn on {last.written_at.isoformat()} ({last.reason}). "
                    "Add a new entry instead."
                )
            _require_revision(last, of_revision)
            return self._write(connection, last.uuid, last.revision + 1, key, entry, now, reason)

    def withdraw_entry(
        self,
        uuid: str,
        now: datetime,
        *,
        reason: str,
        key: str | None = None,
        of_revision: int | None = None,
    ) -> StoredEntry:
        """Marks a diary entry as withdrawn, for a reason; it stays readable in its history.

        A second time changes nothing.
        """
        if not reason.strip():
            raise InputError(f"The diary entry {uuid} cannot be withdrawn without a reason. Write why.")
        key = key_of(key)
        with self._writing() as connection:
            one_at_a_time(connection, "diary")
            last = self._revisions(connection, uuid)[-1]
            if last.withdrawn:
                return last
            _require_revision(last, of_revision)
            if self._by_key(connection, key) is not None:
                raise KeyReused(f"The key {key} was used for another diary entry. Send a new one.")
            return self._write(
                connection, last.uuid, last.revision + 1, key, last.entry, now, reason, withdrawn=True
            )

    def entries(
        self,
        since: datetime | None = None,
        until: datetime | None = None,
        job: str | None = None,
        surface: str | None = None,
        *,
        with_withdrawn: bool = False,
    ) -> tuple[StoredEntry, ...]:
        """The newest revision of each entry started from since up to, not including, until, oldest first."""
        newest = (
            select(entries.c.uuid, func.max(entries.c.revision).label("revision"))
            .where(entries.c.site == self.site)
            .group_by(entries.c.uuid)
            .subquery()
        )
        wanted = (
            select(entries)
            .join(newest, and_(entries.c.uuid == newest.c.uuid, entries.c.revision == newest.c.revision))
            .where(entries.c.site == self.site)
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
        with self._reading() as connection:
            rows = connection.execute(wanted.order_by(entries.c.started_at, entries.c.id))
            return tuple(_stored(row) for row in rows)

    def history(self, uuid: str) -> tuple[StoredEntry, ...]:
        """Every revision of one diary entry, oldest first; NotKnown when there is none."""
        with self._reading() as connection:
            return self._revisions(connection, uuid)

    def _revisions(self, connection: Connection, uuid: str) -> tuple[StoredEntry, ...]:
        mine = entries.c.site == self.site
        wanted = select(entries).where(mine, entries.c.uuid == uuid.lower()).order_by(entries.c.revision)
        rows = connection.execute(wanted).all() if is_key(uuid) else []
        if not rows:
            first = select(entries.c.uuid).where(mine, entries.c.revision == 1)
            recent = connection.execute(first.order_by(entries.c.id.desc()).limit(5)).scalars()
            raise NotKnown("diary entry", uuid, list(recent))
        return tuple(_stored(row) for row in rows)

    def _by_key(self, connection: Connection, key: str) -> StoredEntry | None:
        wanted = select(entries).where(entries.c.site == self.site, entries.c.key == key)
        row = connection.execute(wanted).first()
        return None if row is None else _stored(row)

    def _write(
        self,
        connection: Connection,
        uuid: str,
        revision: int,
        key: str,
        entry: Entry,
        now: datetime,
        reason: str = "",
        *,
        withdrawn: bool = False,
    ) -> StoredEntry:
        connection.execute(
            insert(entries).values(
                site=self.site,
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
        written = self._by_key(connection, key)
        if written is None:
            raise RuntimeError("a row just written is not there")
        return written


def _require_revision(last: StoredEntry, wanted: int | None) -> None:
    if wanted not in (None, last.revision):
        raise Overtaken(
            f"The diary entry {last.uuid} is at revision {last.revision} and no longer at {wanted}: read it again."
        )


def _same(known: StoredEntry, same_act: bool, entry: Entry, key: str) -> StoredEntry:
    document = json.loads(document_text(entry.document, "A diary entry's document"))
    if same_act and not known.withdrawn and replace(entry, document=document) == known.entry:
        return known
    raise KeyReused(
        f"The key {key} was already used, for revision {known.revision} of the diary entry {known.uuid}. "
        "Send a new key with a new content."
    )


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
