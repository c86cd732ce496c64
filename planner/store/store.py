"""The one door to the database. Every method is one transaction: all of it is kept, or nothing."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from contextlib import contextmanager
from datetime import datetime
from pathlib import Path

from sqlalchemy import Connection, Engine
from sqlalchemy.exc import DBAPIError

from planner.store import claims, forecasts, passes
from planner.store.engine import address, connect
from planner.store.faults import store_error
from planner.store.migrate import migrate
from planner.store.records import Answer, KeptForecast, StoredAnswer

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
        with store._told():
            migrate(store._engine)
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
        self, made_at: datetime, answers: Mapping[str, Answer], *, keep_last: int = KEEP_PASSES
    ) -> int:
        """Keeps the answers of one pass, all at once, and prunes passes older than the last few."""
        with self._writing() as connection:
            return passes.keep(connection, made_at, answers, keep_last)

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
            )

    def renew_forecast(self, number: int, checked_at: datetime, expires_at: datetime | None = None) -> None:
        """Notes that the provider says the kept answer is still its newest (status 304)."""
        with self._writing() as connection:
            forecasts.renew(connection, number, checked_at, expires_at)

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
