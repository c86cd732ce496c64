"""Readings: added, never changed. A withdrawal is a second row, so that what was told stays."""

from __future__ import annotations

import json
from collections.abc import Iterable
from datetime import datetime
from typing import Any

from sqlalchemy import Connection, Row, insert, select

from planner.diary.observations import Observation, StoredObservation
from planner.errors import InputError, NotKnown
from planner.store.engine import Database, one_at_a_time
from planner.store.records import KeyReused, document_text, epoch_s, is_key, key_of, moment
from planner.store.tables import observations


class Observations(Database):
    """The readings of a site."""

    def add_observation(
        self, observation: Observation, now: datetime, key: str | None = None
    ) -> StoredObservation:
        """Adds a reading. With a key (a UUID, which becomes the reading's own) a repeat is harmless."""
        uuid = key_of(key)
        with self._writing() as connection:
            one_at_a_time(connection, "observations")
            known = self._known(connection, uuid)
            if known is None:
                return self._told(connection, uuid, 1, observation, now)
        if known.withdrawn or known.observation != observation:
            raise KeyReused(
                f"The key {uuid} was already used, for another reading. Send a new key with a new content."
            )
        return known

    def withdraw_observation(self, uuid: str, now: datetime, *, reason: str) -> StoredObservation:
        """Marks a reading as withdrawn, for a reason; a second time changes nothing."""
        if not reason.strip():
            raise InputError(f"The reading {uuid} cannot be withdrawn without a reason. Write why.")
        with self._writing() as connection:
            one_at_a_time(connection, "observations")
            known = self._known(connection, uuid.lower()) if is_key(uuid) else None
            if known is None:
                mine = select(observations.c.uuid).where(observations.c.site == self.site)
                recent = connection.execute(mine.order_by(observations.c.id.desc()).limit(5)).scalars()
                raise NotKnown("reading", uuid, list(dict.fromkeys(recent)))
            if known.withdrawn:
                return known
            return self._told(connection, known.uuid, 2, known.observation, now, reason)

    def observations(
        self,
        since: datetime | None = None,
        until: datetime | None = None,
        surface: str | None = None,
        *,
        with_withdrawn: bool = False,
    ) -> tuple[StoredObservation, ...]:
        """Readings from since up to, not including, until, oldest first."""
        wanted = select(observations).where(observations.c.site == self.site)
        if since is not None:
            wanted = wanted.where(observations.c.at >= epoch_s(since, "the start of the time asked about"))
        if until is not None:
            wanted = wanted.where(observations.c.at < epoch_s(until, "the end of the time asked about"))
        if surface is not None:
            wanted = wanted.where(observations.c.surface == surface)
        with self._reading() as connection:
            found = _newest(connection.execute(wanted.order_by(observations.c.at, observations.c.id)))
        return tuple(one for one in found if with_withdrawn or not one.withdrawn)

    def _known(self, connection: Connection, uuid: str) -> StoredObservation | None:
        mine = (observations.c.site == self.site) & (observations.c.uuid == uuid)
        found = _newest(connection.execute(select(observations).where(mine).order_by(observations.c.id)))
        return found[0] if found else None

    def _told(
        self,
        connection: Connection,
        uuid: str,
        revision: int,
        observation: Observation,
        now: datetime,
        reason: str = "",
    ) -> StoredObservation:
        connection.execute(
            insert(observations).values(
                site=self.site,
                uuid=uuid,
                revision=revision,
                surface=observation.surface,
                at=epoch_s(observation.at, "the time of a reading"),
                document=document_text(observation.figures, "A reading"),
                note=observation.note,
                written_at=epoch_s(now, "the time of writing"),
                withdrawn=revision > 1,
                reason=reason,
            )
        )
        written = self._known(connection, uuid)
        if written is None:
            raise RuntimeError("a row just written is not there")
        return written


def _newest(rows: Iterable[Row[Any]]) -> list[StoredObservation]:
    """The last row of each reading, in the order of the first."""
    found: dict[str, StoredObservation] = {}
    for row in rows:
        found[row.uuid] = StoredObservation(
            uuid=row.uuid,
            observation=Observation(
                at=moment(row.at), figures=json.loads(row.document), surface=row.surface, note=row.note
            ),
            written_at=moment(row.written_at),
            withdrawn=bool(row.withdrawn),
            reason=row.reason,
        )
    return list(found.values())
