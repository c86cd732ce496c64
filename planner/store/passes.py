"""The answers of each pass: all of them appear at once, or none."""

from __future__ import annotations

from collections.abc import Mapping
from datetime import datetime
from typing import Any

from sqlalchemy import Connection, Row, Select, delete, func, insert, select
from sqlalchemy.sql.elements import ColumnElement

from planner.store.records import Answer, StoredAnswer, etag_of
from planner.store.tables import answers, passes
from planner.store.times import epoch_s, moment


def keep(connection: Connection, made_at: datetime, given: Mapping[str, Answer], keep_last: int) -> int:
    """Writes one pass and prunes old ones; its number."""
    made = connection.execute(insert(passes).values(made_at=epoch_s(made_at, "the time of a pass")))
    number = int(made.inserted_primary_key[0]) if made.inserted_primary_key else 0
    rows = [
        {
            "pass_id": number,
            "name": name,
            "content_type": answer.content_type,
            "etag": etag_of(answer.body),
            "body": answer.body,
        }
        for name, answer in given.items()
    ]
    if rows:
        connection.execute(insert(answers), rows)
    oldest_kept = select(passes.c.id).order_by(passes.c.id.desc()).limit(1).offset(keep_last - 1)
    oldest = connection.execute(oldest_kept).scalar()
    if oldest is not None:
        connection.execute(delete(answers).where(answers.c.pass_id < oldest))
        connection.execute(delete(passes).where(passes.c.id < oldest))
    return number


def one(connection: Connection, name: str) -> StoredAnswer | None:
    """The answer of that name in the newest pass."""
    row = connection.execute(_newest(answers.c.name == name)).first()
    return None if row is None else _stored(row)


def like(connection: Connection, prefix: str) -> tuple[StoredAnswer, ...]:
    """The newest pass's answers whose name begins so, by name."""
    wanted = answers.c.name.startswith(prefix, autoescape=True)
    rows = connection.execute(_newest(wanted).order_by(answers.c.name))
    return tuple(_stored(row) for row in rows if row.name.startswith(prefix))


def last_made_at(connection: Connection) -> datetime | None:
    """When the newest pass was made."""
    found = connection.execute(select(passes.c.made_at).order_by(passes.c.id.desc()).limit(1)).scalar()
    return None if found is None else moment(found)


def _newest(wanted: ColumnElement[bool]) -> Select[Any]:
    # By number, not by time: a clock set back must not hide the passes made after it.
    newest = select(func.max(passes.c.id)).scalar_subquery()
    return (
        select(answers.c.name, answers.c.content_type, answers.c.body, answers.c.etag, passes.c.made_at)
        .join(passes, passes.c.id == answers.c.pass_id)
        .where(passes.c.id == newest, wanted)
    )


def _stored(row: Row[Any]) -> StoredAnswer:
    return StoredAnswer(
        name=row.name,
        content_type=row.content_type,
        body=bytes(row.body),
        etag=row.etag,
        made_at=moment(row.made_at),
    )
