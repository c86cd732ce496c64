"""Forecasts as they came, so that any past report can be made again from its own."""

from __future__ import annotations

import json
import zlib
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta
from typing import Any

from sqlalchemy import Row, and_, delete, func, insert, or_, select, update
from sqlalchemy.sql.elements import ColumnElement

from planner.forecast.base import RawForecast
from planner.store.engine import Database
from planner.store.records import DAY_S, epoch_s, maybe_epoch_s, maybe_moment, moment
from planner.store.tables import ZLIB_LEVEL, forecasts

ALL_DAYS = 14
#: An ensemble of some 100 kB each: 6 MB at most, gone in a few milliseconds.
PRUNED_AT_ONCE = 60


@dataclass(frozen=True, slots=True, kw_only=True)
class KeptForecast(RawForecast):
    """A provider's answer as it came, with the number it is kept under. Times in UTC."""

    id: int
    provider: str
    checked_at: datetime
    """When the provider last said that this is still its newest answer."""


class Forecasts(Database):
    """The answers of weather services to a site at its place."""

    def keep_forecast(self, provider: str, answer: RawForecast) -> int:
        """Keeps a provider's answer as it came; its number."""
        fetched = epoch_s(answer.fetched_at, "the time of a fetch")
        kept = insert(forecasts).values(
            site=self.site,
            place=self.place,
            provider=provider,
            url=answer.url,
            etag=answer.etag,
            last_modified=answer.last_modified,
            expires_at=maybe_epoch_s(answer.expires, "the time a forecast expires"),
            fetched_at=fetched,
            checked_at=fetched,
            day=int(fetched // DAY_S),
            body=zlib.compress(answer.raw, ZLIB_LEVEL),
            issued_at=maybe_epoch_s(answer.issued_at, "the time a forecast was issued"),
            notes=_listed(answer.notes),
        )
        with self._writing() as connection:
            made = connection.execute(kept)
            return int(made.inserted_primary_key[0]) if made.inserted_primary_key else 0

    def renew_forecast(self, number: int, answer: RawForecast) -> None:
        """The provider sent the kept answer again, or says (304) that it is still its newest.

        A time of issue that was known is not lost.
        """
        values: dict[str, object] = {
            "checked_at": epoch_s(answer.fetched_at, "the time of a check"),
            "expires_at": maybe_epoch_s(answer.expires, "the time a forecast expires"),
            "notes": _listed(answer.notes),
        }
        if answer.issued_at is not None:
            values["issued_at"] = epoch_s(answer.issued_at, "the time a forecast was issued")
        renewed = update(forecasts).where(self._here(), forecasts.c.id == number).values(values)
        with self._writing() as connection:
            connection.execute(renewed)

    def last_forecast(self, provider: str, at: datetime | None = None) -> KeptForecast | None:
        """The provider's newest answer; with `at`, the newest there was at that moment."""
        wanted = select(forecasts).where(self._here(), forecasts.c.provider == provider)
        if at is not None:
            wanted = wanted.where(forecasts.c.fetched_at <= epoch_s(at, "the moment asked about"))
        newest = wanted.order_by(forecasts.c.fetched_at.desc(), forecasts.c.id.desc()).limit(1)
        with self._reading() as connection:
            row = connection.execute(newest).first()
            return None if row is None else _kept(row)

    def forecasts(self, provider: str, since: datetime, until: datetime) -> tuple[KeptForecast, ...]:
        """The provider's answers fetched from since up to, not including, until, oldest first."""
        wanted = (
            select(forecasts)
            .where(
                self._here(),
                forecasts.c.provider == provider,
                forecasts.c.fetched_at >= epoch_s(since, "the start of the time asked about"),
                forecasts.c.fetched_at < epoch_s(until, "the end of the time asked about"),
            )
            .order_by(forecasts.c.fetched_at, forecasts.c.id)
        )
        with self._reading() as connection:
            return tuple(_kept(row) for row in connection.execute(wanted))

    def prune_forecasts(self, now: datetime, days: int) -> int:
        """Drops the site's old forecasts, of any place: all of 14 days stay, then the last of each UTC day for so
        many days; how many went.

        The oldest go first, a few at once: a pass adds fewer, and where much is to go (fewer days than before are
        to be kept) the passes of some days share it.
        """
        epoch_s(now, "the time of pruning")
        mine = forecasts.c.site == self.site
        oldest = (now - timedelta(days=days)).timestamp()
        # Where two were fetched at the same second, both stay: dropping one needs a second grouping for nothing.
        old = (now - timedelta(days=min(ALL_DAYS, days))).timestamp()
        day = (forecasts.c.place, forecasts.c.provider, forecasts.c.day)
        latest = (
            select(*day, func.max(forecasts.c.fetched_at).label("at")).where(mine).group_by(*day).subquery()
        )
        stays = select(forecasts.c.id).join(
            latest,
            and_(
                forecasts.c.place == latest.c.place,
                forecasts.c.provider == latest.c.provider,
                forecasts.c.fetched_at == latest.c.at,
            ),
        )
        goes = or_(
            forecasts.c.fetched_at < oldest, and_(forecasts.c.fetched_at < old, forecasts.c.id.not_in(stays))
        )
        few = select(forecasts.c.id).where(mine, goes).order_by(forecasts.c.fetched_at).limit(PRUNED_AT_ONCE)
        # Found by a read, so that a writer waits only where there is something to drop.
        with self._reading() as connection:
            gone = connection.execute(few).scalars().all()
        if gone:
            with self._writing() as connection:
                connection.execute(delete(forecasts).where(mine, forecasts.c.id.in_(gone)))
        return len(gone)

    def _here(self) -> ColumnElement[bool]:
        """Weather of another place is never found, though the site is the same."""
        return and_(forecasts.c.site == self.site, forecasts.c.place == self.place)


def _listed(notes: Sequence[str]) -> str | None:
    return json.dumps(list(notes)) if notes else None


def _kept(row: Row[Any]) -> KeptForecast:
    return KeptForecast(
        id=row.id,
        provider=row.provider,
        url=row.url,
        raw=zlib.decompress(row.body),
        etag=row.etag,
        last_modified=row.last_modified,
        expires=maybe_moment(row.expires_at),
        fetched_at=moment(row.fetched_at),
        checked_at=moment(row.checked_at),
        issued_at=maybe_moment(row.issued_at),
        notes=tuple(json.loads(row.notes)) if row.notes else (),
    )
