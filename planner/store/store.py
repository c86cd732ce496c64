"""The one door to the database. Every method is one transaction: all of it is kept, or nothing."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from datetime import datetime
from pathlib import Path

from planner.store.diary import Diary
from planner.store.engine import address, connect, migrate, one_at_a_time, require_signs
from planner.store.forecasts import Forecasts
from planner.store.leases import Leases
from planner.store.observations import Observations
from planner.store.outbox import Outbox
from planner.store.passes import Passes
from planner.store.records import Beside, KeptWarning, Outgoing

KEEP_PASSES = 8


class Store(Passes, Forecasts, Diary, Observations, Outbox):
    """What is kept of one site, in SQLite or PostgreSQL. May be used from several threads and processes.

    Diary, readings, warnings, messages and claims are those of the site; passes and forecasts those of the site at its
    place, so that a site that moved never finds the weather of where it was.
    """

    @classmethod
    def open(cls, url_or_path: str | Path, site: str = "main", place: str = "") -> Store:
        """The store at that address or file, its tables at the newest form, bound to a site and place."""
        store = cls(connect(address(url_or_path)), site, place)
        require_signs(store._engine)
        try:
            with store._faults():
                migrate(store._engine)
        except BaseException:
            store.close()
            raise
        return store

    def bound_to(self, site: str, place: str) -> Store:
        """The same database, bound to another site or place."""
        return Store(self._engine, site, place)

    def leases(self) -> Leases | None:
        """The leases on the sites of this database; None for a file, which is one machine's and needs none."""
        return Leases(self._engine) if self._engine.dialect.name == "postgresql" else None

    def close(self) -> None:
        """Lets go of every connection, also of those that share this database."""
        self._engine.dispose()

    def keep_pass(
        self,
        made_at: datetime,
        parts: Mapping[str, bytes],
        *,
        schema: int,
        stale_at: datetime | None = None,
        warnings: Iterable[KeptWarning] = (),
        outbox: Iterable[Outgoing] = (),
        keep_last: int = KEEP_PASSES,
        after: int | None = None,
        once: str | None = None,
        beside: Beside | None = None,
    ) -> int | None:
        """Keeps all of one pass at once: its parts, where warnings stand, and what is to be sent; its number.

        Warnings not named stay as they are. A message for the same warning, change and output as an earlier
        one is not queued again. Passes older than the last few go.

        `after` is the number of the newest pass there was when this one was begun, at `made_at`; 0 where there was
        none. None, and nothing is kept, where one that was begun later has been kept since: it knows more.
        A pass of the same `once` is kept once: AlreadyKept. `beside`: passes of other sites that it was planned
        beside. BesideChanged where they are not the newest any more, and nothing is kept.
        """
        with self._writing() as connection:
            one_at_a_time(connection, f"passes {self.site}")
            if once is not None:
                self._once(connection, once, made_at)
            if after is not None and self._is_overtaken(connection, made_at, after):
                return None
            if beside is not None:
                self._hold_beside(connection, beside)
            number = self._keep_parts(connection, made_at, parts, schema, stale_at, keep_last)
            self._keep_warnings(connection, made_at, warnings, outbox)
            return number
