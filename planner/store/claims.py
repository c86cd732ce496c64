"""One process of several runs a pass: a row with a lease, taken by a single statement."""

from __future__ import annotations

from datetime import datetime

from sqlalchemy import Connection, text

from planner.store.times import DAY_S, epoch_s

_TAKE = text(
    "insert into claims (job, slot, until) values (:job, :slot, :until) "
    "on conflict (job, slot) do update set until = excluded.until "
    "where claims.done is null and claims.until < :now"
)
_FINISH = text("update claims set done = :now where job = :job and slot = :slot and done is null")
_PRUNE = text("delete from claims where until < :before")
KEEP_DAYS = 30


def take(connection: Connection, job: str, slot: str, lease_s: float, now: datetime) -> bool:
    """Whether the caller now holds that job's slot, until the lease runs out or it is finished."""
    now_s = epoch_s(now, "the time of a claim")
    values = {"job": job, "slot": slot, "until": now_s + lease_s, "now": now_s}
    return connection.execute(_TAKE, values).rowcount == 1


def finish(connection: Connection, job: str, slot: str, now: datetime) -> None:
    """Marks the slot as done for good, and forgets slots long past."""
    now_s = epoch_s(now, "the end of a claim")
    connection.execute(_FINISH, {"job": job, "slot": slot, "now": now_s})
    connection.execute(_PRUNE, {"before": now_s - KEEP_DAYS * DAY_S})
