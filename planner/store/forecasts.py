"""Forecasts as they came, so that any past briefing can be rebuilt from its own."""

from __future__ import annotations

import json
import zlib
from collections.abc import Sequence
from datetime import datetime, timedelta
from typing import Any

from sqlalchemy import Connection, Row, Select, and_, delete, func, insert, select, update

from planner.store.records import KeptForecast
from planner.store.tables import forecasts
from planner.store.times import DAY_S, epoch_s, maybe_epoch_s, maybe_moment, moment

#: Level 1: a quarter of the size in 4 ms; a higher level takes ten times as long for a quarter less.
ZLIB_LEVEL = 1
ALL_DAYS = 14
ONE_A_DAY_DAYS = 400


def keep(
    connection: Connection,
    provider: str,
    *,
    body: bytes,
    url: str,
    fetched_at: datetime,
    etag: str | None,
    last_modified: str | None,
    expires_at: datetime | None,
    issued_at: datetime | None = None,
    notes: Sequence[str] = (),
) -> int:
    """Writes one answer of a provider; its number."""
    fetched = epoch_s(fetched_at, "the time of a fetch")
    made = connection.execute(
        insert(forecasts).values(
            provider=provider,
            url=url,
            etag=etag,
            last_modified=last_modified,
            expires_at=maybe_epoch_s(expires_at, "the time a forecast expires"),
            fetched_at=fetched,
            checked_at=fetched,
            day=int(fetched // DAY_S),
            body=zlib.compress(body, ZLIB_LEVEL),
            issued_at=maybe_epoch_s(issued_at, "the time a forecast was issued"),
            notes=_listed(notes),
        )
    )
    return int(made.inserted_primary_key[0]) if made.inserted_primary_key else 0


def renew(
    connection: Connection,
    number: int,
    checked_at: datetime,
    expires_at: datetime | None,
    issued_at: datetime | None = None,
    notes: Sequence[str] = (),
) -> None:
    """The provider says (304) that the kept answer is still its newest; a known time of issue is not lost."""
    values: dict[str, Any] = {
        "checked_at": epoch_s(checked_at, "the time of a check"),
        "expires_at": maybe_epoch_s(expires_at, "the time a forecast expires"),
        "notes": _listed(notes),
    }
    if issued_at is not None:
        values["issued_at"] = epoch_s(issued_at, "the time a forecast was issued")
    connection.execute(update(forecasts).where(forecasts.c.id == number).values(values))


def last(connection: Connection, provider: str, at: datetime | None) -> KeptForecast | None:
    """The provider's newest answer, or the newest that was there at that moment."""
    wanted = _columns().where(forecasts.c.provider == provider)
    if at is not None:
        wanted = wanted.where(forecasts.c.fetched_at <= epoch_s(at, "the moment asked about"))
    row = connection.execute(
        wanted.order_by(forecasts.c.fetched_at.desc(), forecasts.c.id.desc()).limit(1)
    ).first()
    return None if row is None else _kept(row)


def between(
    connection: Connection, provider: str, since: datetime, until: datetime
) -> tuple[KeptForecast, ...]:
    """The provider's answers fetched from since up to, not including, until, oldest first."""
    rows = connection.execute(
        _columns()
        .where(
            forecasts.c.provider == provider,
            forecasts.c.fetched_at >= epoch_s(since, "the start of the time asked about"),
            forecasts.c.fetched_at < epoch_s(until, "the end of the time asked about"),
        )
        .order_by(forecasts.c.fetched_at, forecasts.c.id)
    )
    return tuple(_kept(row) for row in rows)


def prune(
    connection: Connection, now: datetime, all_days: int = ALL_DAYS, one_a_day_days: int = ONE_A_DAY_DAYS
) -> int:
    """Drops what is too old: all are kept for some days, then the last of each UTC day; how many went."""
    epoch_s(now, "the time of pruning")
    gone = connection.execute(
        delete(forecasts).where(forecasts.c.fetched_at < (now - timedelta(days=one_a_day_days)).timestamp())
    ).rowcount
    # Where two were fetched at the same second, both stay: dropping one needs a second grouping for nothing.
    old = (now - timedelta(days=all_days)).timestamp()
    latest = (
        select(forecasts.c.provider, forecasts.c.day, func.max(forecasts.c.fetched_at).label("at"))
        .group_by(forecasts.c.provider, forecasts.c.day)
        .subquery()
    )
    stays = select(forecasts.c.id).join(
        latest, and_(forecasts.c.provider == latest.c.provider, forecasts.c.fetched_at == latest.c.at)
    )
    gone += connection.execute(
        delete(forecasts).where(forecasts.c.fetched_at < old, forecasts.c.id.not_in(stays))
    ).rowcount
    return gone


def _columns() -> Select[Any]:
    table = forecasts.c
    return select(
        table.id,
        table.provider,
        table.url,
        table.body,
        table.etag,
        table.last_modified,
        table.expires_at,
        table.fetched_at,
        table.checked_at,
        table.issued_at,
        table.notes,
    )


def _listed(notes: Sequence[str]) -> str | None:
    return json.dumps(list(notes), ensure_ascii=False) if notes else None


def _kept(row: Row[Any]) -> KeptForecast:
    return KeptForecast(
        id=row.id,
        provider=row.provider,
        url=row.url,
        body=zlib.decompress(row.body),
        etag=row.etag,
        last_modified=row.last_modified,
        expires_at=maybe_moment(row.expires_at),
        fetched_at=moment(row.fetched_at),
        checked_at=moment(row.checked_at),
        issued_at=maybe_moment(row.issued_at),
        notes=tuple(json.loads(row.notes)) if row.notes else (),
    )
