"""The one door to the database. Every method is one transaction: all of it is kept, or nothing."""

from __future__ import annotations

from collections.abc import Collection, Iterable, Iterator, Mapping, Sequence
from contextlib import contextmanager
from datetime import datetime
from pathlib import Path

from sqlalchemy import Connection, Engine
from sqlalchemy.exc import DBAPIError

from planner.store import claims, diary, forecasts, passes
from planner.store import outbox as _outbox
from planner.store.engine import address, connect
from planner.store.faults import store_error
from planner.store.migrate import migrate
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

KEEP_PASSES = 8


class Store:
    """What is kept, in SQLite or PostgreSQL. May be used from several threads and processes at once."""

    def __init__(self, engine: Engine) -> None:
        self._engine = engine
        self._writer = engine.execution_options(writes=True)
        self.where = engine.url.render_as_string()
        """The database's address, its password hidden."""

    @classmethod
    def open(cls, url_or_path: str | Path) -> Store:
        """The store at that address or file, its tables at the newest form."""
        store = cls(connect(address(url_or_path)))
        try:
            with store._told():
                migrate(store._engine)
        except BaseException:
            store.close()
            raise
        return store

    def close(self) -> None:
        """Lets go of every connection."""
        self._engine.dispose()

    @contextmanager
    def _told(self) -> Iterator[None]:
        try:
            yield
        except DBAPIError as error:
            raise store_error(error, self.where) from error

    @contextmanager
    def _writing(self) -> Iterator[Connection]:
        with self._told(), self._writer.begin() as connection:
            yield connection

    @contextmanager
    def _reading(self) -> Iterator[Connection]:
        with self._told(), self._engine.begin() as connection:
            yield connection

    def keep_pass(
        self,
        made_at: datetime,
        answers: Mapping[str, Answer],
        *,
        warnings: Iterable[WarningState] = (),
        outbox: Iterable[Outgoing] = (),
        keep_last: int = KEEP_PASSES,
    ) -> int:
        """Keeps all of one pass at once: its answers, where warnings stand, and what is to be sent.

        Warnings not named stay as they are. A message for the same warning, change and output as an earlier
        one is not queued again. Passes older than the last few go.
        """
        with self._writing() as connection:
            number = passes.keep(connection, made_at, answers, keep_last)
            _outbox.keep(connection, made_at, warnings, outbox)
            return number

    def answer(self, name: str) -> StoredAnswer | None:
        """The answer of that name in the newest pass."""
        with self._reading() as connection:
            return passes.one(connection, name)

    def answers_like(self, prefix: str) -> tuple[StoredAnswer, ...]:
        """The newest pass's answers whose name begins so, by name."""
        with self._reading() as connection:
            return passes.like(connection, prefix)

    def last_pass_at(self) -> datetime | None:
        """When the newest pass was made (UTC)."""
        with self._reading() as connection:
            return passes.last_made_at(connection)

    def keep_forecast(
        self,
        provider: str,
        *,
        body: bytes,
        url: str,
        fetched_at: datetime,
        etag: str | None = None,
        last_modified: str | None = None,
        expires_at: datetime | None = None,
        issued_at: datetime | None = None,
        notes: Sequence[str] = (),
    ) -> int:
        """Keeps a provider's answer as it came; its number."""
        with self._writing() as connection:
            return forecasts.keep(
                connection,
                provider,
                body=body,
                url=url,
                fetched_at=fetched_at,
                etag=etag,
                last_modified=last_modified,
                expires_at=expires_at,
                issued_at=issued_at,
                notes=notes,
            )

    def renew_forecast(
        self,
        number: int,
        checked_at: datetime,
        expires_at: datetime | None = None,
        *,
        issued_at: datetime | None = None,
        notes: Sequence[str] = (),
    ) -> None:
        """Notes that the provider says the kept answer is still its newest (status 304)."""
        with self._writing() as connection:
            forecasts.renew(connection, number, checked_at, expires_at, issued_at, notes)

    def last_forecast(self, provider: str, at: datetime | None = None) -> KeptForecast | None:
        """The provider's newest answer; with `at`, the newest there was at that moment."""
        with self._reading() as connection:
            return forecasts.last(connection, provider, at)

    def forecasts(self, provider: str, since: datetime, until: datetime) -> tuple[KeptForecast, ...]:
        """The provider's answers fetched from since up to, not including, until, oldest first."""
        with self._reading() as connection:
            return forecasts.between(connection, provider, since, until)

    def prune_forecasts(self, now: datetime) -> int:
        """Drops forecasts: all of 14 days stay, then the last of each day for 400 days; how many went."""
        with self._writing() as connection:
            return forecasts.prune(connection, now)

    def claim(self, job: str, slot: str, lease_s: float, now: datetime) -> bool:
        """Whether the caller now holds that slot of the job; a lease that ran out can be taken over."""
        with self._writing() as connection:
            return claims.take(connection, job, slot, lease_s, now)

    def finish(self, job: str, slot: str, now: datetime) -> None:
        """Marks the slot of the job as done for good."""
        with self._writing() as connection:
            claims.finish(connection, job, slot, now)

    def add_entry(self, entry: Entry, now: datetime, key: str | None = None) -> StoredEntry:
        """Adds to the diary. With a key (a UUID, which becomes the entry's own) a repeat is harmless."""
        with self._writing() as connection:
            return diary.add(connection, entry, now, key)

    def edit_entry(
        self, uuid: str, entry: Entry, now: datetime, *, reason: str = "", key: str | None = None
    ) -> StoredEntry:
        """Writes a new revision of a diary entry; the old ones stay readable."""
        with self._writing() as connection:
            return diary.edit(connection, uuid, entry, now, reason, key)

    def withdraw_entry(self, uuid: str, now: datetime, *, reason: str, key: str | None = None) -> StoredEntry:
        """Marks a diary entry as withdrawn, for a reason; it stays readable in its history."""
        with self._writing() as connection:
            return diary.withdraw(connection, uuid, now, reason, key)

    def entries(
        self,
        since: datetime | None = None,
        until: datetime | None = None,
        job: str | None = None,
        surface: str | None = None,
        *,
        with_withdrawn: bool = False,
    ) -> tuple[StoredEntry, ...]:
        """The newest revision of each entry started from since up to, not including, until."""
        with self._reading() as connection:
            return diary.holding(connection, since, until, job, surface, with_withdrawn)

    def history(self, uuid: str) -> tuple[StoredEntry, ...]:
        """Every revision of one diary entry, oldest first; NotKnown when there is none."""
        with self._reading() as connection:
            return diary.history(connection, uuid)

    def warnings(self, states: Collection[str] | None = None) -> tuple[WarningState, ...]:
        """Where warnings stand: those in the given states, or all."""
        with self._reading() as connection:
            return _outbox.standing(connection, states)

    def take_due(
        self,
        now: datetime,
        lease_s: float,
        *,
        outputs: Collection[str] | None = None,
        idempotent: Collection[str] = (),
        limit: int = 1,
    ) -> tuple[Due, ...]:
        """Messages due, marked as being sent. Of those whose lease ran out, only `idempotent` ones return."""
        with self._writing() as connection:
            return _outbox.take(connection, now, lease_s, outputs, idempotent, limit)

    def mark_sent(self, number: int, now: datetime) -> None:
        """The output has taken the message."""
        with self._writing() as connection:
            _outbox.sent(connection, number, now)

    def mark_failed(self, number: int, next_due: datetime | None, note: str) -> None:
        """The output has surely not taken it: due again then, given up when there is no next time."""
        with self._writing() as connection:
            _outbox.failed(connection, number, next_due, note)

    def mark_unsure(self, number: int, note: str) -> None:
        """Nobody knows whether the output has taken it; it is not sent again."""
        with self._writing() as connection:
            _outbox.unsure(connection, number, note)

    def put_back(self, number: int, due_at: datetime) -> None:
        """Not tried after all: due again then."""
        with self._writing() as connection:
            _outbox.put_back(connection, number, due_at)

    def outbox_counts(self) -> tuple[OutboxCount, ...]:
        """How many messages of each output are in each state."""
        with self._reading() as connection:
            return _outbox.counts(connection)
