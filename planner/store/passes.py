"""Passes: who makes one, and what each left. All parts of a pass appear at once, or none."""

from __future__ import annotations

import zlib
from collections.abc import Mapping
from datetime import datetime
from typing import Any

from sqlalchemy import ColumnElement, Connection, Select, delete, func, insert, select, text

from planner.store.engine import Database, one_at_a_time
from planner.store.records import (
    DAY_S,
    AlreadyKept,
    Beside,
    BesideChanged,
    PassRow,
    StoredPart,
    epoch_s,
    maybe_epoch_s,
    maybe_moment,
    moment,
)
from planner.store.tables import ZLIB_LEVEL, parts, passes

_TAKE = text(
    "insert into claims (site, job, slot, until) values (:site, :job, :slot, :until) "
    "on conflict (site, job, slot) do update set until = excluded.until "
    "where claims.done is null and claims.until < :now"
)
_ONCE = text(
    "insert into claims (site, job, slot, until, done) values (:site, :job, :slot, :now, :now) "
    "on conflict (site, job, slot) do update set done = excluded.done where claims.done is null"
)
_RELEASE = text("delete from claims where site = :site and job = :job and slot = :slot and done is null")
_IS_DONE = text("select done from claims where site = :site and job = :job and slot = :slot")
_PRUNE = text("delete from claims where site = :site and until < :before")
KEEP_CLAIMS_DAYS = 30
#: The job of a claim on a pass.
PASS = "pass"


class Passes(Database):
    """The passes of a site at its place, and the claims of those who make them."""

    def claim(self, job: str, slot: str, lease_s: float, now: datetime) -> bool:
        """Whether the caller now holds that slot of the job; a lease that ran out can be taken over."""
        now_s = epoch_s(now, "the time of a claim")
        values = {"site": self.site, "job": job, "slot": slot, "until": now_s + lease_s, "now": now_s}
        with self._writing() as connection:
            return connection.execute(_TAKE, values).rowcount == 1

    def release(self, job: str, slot: str) -> None:
        """Gives back a slot that was claimed and came to nothing, so that it can be tried again at once."""
        with self._writing() as connection:
            connection.execute(_RELEASE, {"site": self.site, "job": job, "slot": slot})

    def is_finished(self, job: str, slot: str) -> bool:
        """Whether the slot of the job was done."""
        with self._reading() as connection:
            found = connection.execute(_IS_DONE, {"site": self.site, "job": job, "slot": slot}).scalar()
        return found is not None

    def part(self, name: str, schema: int | None = None) -> StoredPart | None:
        """That part of the newest pass; None where there is none, or the pass is of another schema."""
        return next((part for part in self.parts(schema, name)), None)

    def parts(self, schema: int | None = None, name: str | None = None) -> tuple[StoredPart, ...]:
        """Every part of the newest pass (or the one of that name), by name; none of a pass of another schema."""
        with self._reading() as connection:
            found = self._newest(connection)
            if found is None or schema not in (None, found.schema):
                return ()
            wanted = select(parts.c.name, parts.c.body).where(parts.c.pass_id == found.number)
            if name is not None:
                wanted = wanted.where(parts.c.name == name)
            return tuple(
                StoredPart(
                    name=row.name,
                    body=zlib.decompress(row.body),
                    number=found.number,
                    made_at=found.made_at,
                    schema=found.schema,
                )
                for row in connection.execute(wanted.order_by(parts.c.name))
            )

    def keep_part(self, name: str, body: bytes) -> None:
        """Puts a part beside those of the newest pass, in place of one of that name; nothing where there is no pass."""
        with self._writing() as connection:
            found = self._newest(connection)
            if found is None:
                return
            mine = {"pass_id": found.number, "name": name}
            connection.execute(delete(parts).where(parts.c.pass_id == found.number, parts.c.name == name))
            connection.execute(insert(parts).values(**mine, body=zlib.compress(body, ZLIB_LEVEL)))

    def newest_part(self, name: str) -> bytes | None:
        """The newest part of that name, of whichever pass; None where there is none."""
        wanted = (
            select(parts.c.body)
            .join(passes, passes.c.id == parts.c.pass_id)
            .where(passes.c.site == self.site, passes.c.place == self.place, parts.c.name == name)
            .order_by(passes.c.id.desc())
            .limit(1)
        )
        with self._reading() as connection:
            row = connection.execute(wanted).first()
            return None if row is None else zlib.decompress(row.body)

    def parts_elsewhere(self, name: str) -> dict[str, StoredPart]:
        """That part of the newest pass of every other site whose newest pass has it, by the site's key."""
        with self._reading() as connection:
            return {
                row.site: StoredPart(
                    name=name,
                    body=zlib.decompress(row.body),
                    number=row.id,
                    made_at=moment(row.made_at),
                    schema=row.schema,
                )
                for row in connection.execute(self._elsewhere(name, parts.c.body))
            }

    def _elsewhere(self, name: str, *more: ColumnElement[Any]) -> Select[Any]:
        newest = select(func.max(passes.c.id)).where(passes.c.site != self.site).group_by(passes.c.site)
        return (
            select(passes, *more)
            .join(parts, parts.c.pass_id == passes.c.id)
            .where(passes.c.id.in_(newest), parts.c.name == name)
            .order_by(passes.c.site)
        )

    def _hold_beside(self, connection: Connection, beside: Beside) -> None:
        """Holds the other sites off until this transaction ends. BesideChanged where one of them was faster."""
        one_at_a_time(connection, beside.part)
        found = {row.site: row.id for row in connection.execute(self._elsewhere(beside.part))}
        if found != dict(beside.passes):
            raise BesideChanged(
                "Another site has just planned with the sprayer that this one shares: try again."
            )

    def newest_pass(self) -> PassRow | None:
        """The newest pass, whatever its schema."""
        with self._reading() as connection:
            return self._newest(connection)

    def _newest(self, connection: Connection) -> PassRow | None:
        # By number, not by time: a clock set back must not hide the passes made after it.
        row = connection.execute(
            select(passes)
            .where(passes.c.site == self.site, passes.c.place == self.place)
            .order_by(passes.c.id.desc())
            .limit(1)
        ).first()
        if row is None:
            return None
        return PassRow(
            number=row.id, made_at=moment(row.made_at), stale_at=maybe_moment(row.stale_at), schema=row.schema
        )

    def _is_overtaken(self, connection: Connection, begun_at: datetime, after: int) -> bool:
        """Whether a pass that was begun later has been kept since there was that one.

        Of those kept before, none counts: a clock set back between two passes makes the earlier one a later one.
        """
        newest = self._newest(connection)
        if newest is None or newest.number <= after:
            return False
        return epoch_s(newest.made_at, "the time of a pass") > epoch_s(begun_at, "the time of a pass")

    def _once(self, connection: Connection, slot: str, made_at: datetime) -> None:
        """Marks that slot, claimed or not, as done with the pass itself; AlreadyKept where it is done."""
        now_s = epoch_s(made_at, "the time of a pass")
        values = {"site": self.site, "job": PASS, "slot": slot, "now": now_s}
        if connection.execute(_ONCE, values).rowcount != 1:
            raise AlreadyKept(f"The pass {slot} of the site {self.site} is kept already.")
        connection.execute(_PRUNE, {"site": self.site, "before": now_s - KEEP_CLAIMS_DAYS * DAY_S})

    def _keep_parts(
        self,
        connection: Connection,
        made_at: datetime,
        bodies: Mapping[str, bytes],
        schema: int,
        stale_at: datetime | None,
        keep_last: int,
    ) -> int:
        """Writes one pass and prunes the site's old ones; its number."""
        made = connection.execute(
            insert(passes).values(
                site=self.site,
                place=self.place,
                schema=schema,
                made_at=epoch_s(made_at, "the time of a pass"),
                stale_at=maybe_epoch_s(stale_at, "the time a pass is stale"),
            )
        )
        number = int(made.inserted_primary_key[0]) if made.inserted_primary_key else 0
        rows = [
            {"pass_id": number, "name": name, "body": zlib.compress(body, ZLIB_LEVEL)}
            for name, body in bodies.items()
        ]
        if rows:
            connection.execute(insert(parts), rows)
        mine = passes.c.site == self.site
        newer = select(passes.c.id).where(mine).order_by(passes.c.id.desc()).limit(1).offset(keep_last - 1)
        oldest = connection.execute(newer).scalar()
        if oldest is not None:
            old = select(passes.c.id).where(mine, passes.c.id < oldest)
            connection.execute(delete(parts).where(parts.c.pass_id.in_(old)))
            connection.execute(delete(passes).where(mine, passes.c.id < oldest))
        return number
