"""Where warnings stand, and what is still to be told about them.

A message goes due -> sending -> sent. It is marked as sending, on the disk, before it is handed to an
output. If the program dies in between, nobody knows whether it went out. An output that drops repeats by the
key of the message gets it again. For any other it becomes `unsure` and is not sent again, because a warning
that comes twice teaches people to ignore warnings; the health page shows it.
"""

from __future__ import annotations

import json
from collections.abc import Collection, Iterable
from datetime import datetime

from sqlalchemy import Connection, and_, delete, func, insert, or_, select, update

from planner.store.diary import document_text
from planner.store.engine import one_at_a_time
from planner.store.records import Due, OutboxCount, Outgoing, WarningState
from planner.store.tables import outbox, warnings
from planner.store.times import DAY_S, epoch_s, moment

KEEP_OVER_DAYS = 90
_STOPPED = "the program stopped while this was being sent; not sent again, since that might tell people twice"


def keep(
    connection: Connection, made_at: datetime, states: Iterable[WarningState], messages: Iterable[Outgoing]
) -> None:
    """Writes where warnings stand and the messages that follow from it; a message known already stays one."""
    one_at_a_time(connection, "outbox")
    for state in states:
        connection.execute(delete(warnings).where(warnings.c.id == state.id))
        connection.execute(
            insert(warnings).values(
                id=state.id,
                kind=state.kind,
                surface=state.surface,
                state=state.state,
                level=state.level,
                document=document_text(state.document, f"The warning {state.id}"),
                first_at=epoch_s(state.first_at, "the time a warning was raised"),
                changed_at=epoch_s(state.changed_at, "the time a warning changed"),
                change=state.change,
            )
        )
    for message in messages:
        _queue(connection, message)
    _prune(connection, made_at)


def _queue(connection: Connection, message: Outgoing) -> None:
    same = and_(outbox.c.warning_id == message.warning_id, outbox.c.output == message.output)
    others = connection.execute(select(outbox.c.change, outbox.c.state, outbox.c.tries).where(same)).all()
    if any(row.change == message.change for row in others):
        return
    told = any(row.tries > 0 for row in others)
    # Whoever was not told of a change yet is told of the newest only.
    connection.execute(
        update(outbox)
        .where(same, outbox.c.state == "due", outbox.c.change < message.change)
        .values(state="overtaken")
    )
    connection.execute(
        insert(outbox).values(
            warning_id=message.warning_id,
            change=message.change,
            output=message.output,
            body=document_text(message.body, f"A message about the warning {message.warning_id}"),
            closes=message.closes,
            state="needless" if message.closes and not told else "due",
            due_at=epoch_s(message.due_at, "the time a message is due"),
            taken_until=None,
            tries=0,
            sent_at=None,
            note="",
        )
    )


def _prune(connection: Connection, now: datetime) -> None:
    before = epoch_s(now, "the time of a pass") - KEEP_OVER_DAYS * DAY_S
    connection.execute(delete(warnings).where(warnings.c.state == "over", warnings.c.changed_at < before))
    # A message goes only with its warning: the two together keep a change from being told a second time.
    connection.execute(
        delete(outbox).where(outbox.c.due_at < before, outbox.c.warning_id.not_in(select(warnings.c.id)))
    )


def standing(connection: Connection, states: Collection[str] | None) -> tuple[WarningState, ...]:
    """Warnings in these states (None: in any), the first raised first."""
    wanted = select(warnings)
    if states is not None:
        wanted = wanted.where(warnings.c.state.in_(list(states)))
    return tuple(
        WarningState(
            id=row.id,
            kind=row.kind,
            surface=row.surface,
            state=row.state,
            level=row.level,
            document=json.loads(row.document),
            first_at=moment(row.first_at),
            changed_at=moment(row.changed_at),
            change=row.change,
        )
        for row in connection.execute(wanted.order_by(warnings.c.first_at, warnings.c.id))
    )


def take(
    connection: Connection,
    now: datetime,
    lease_s: float,
    outputs: Collection[str] | None,
    idempotent: Collection[str],
    limit: int,
) -> tuple[Due, ...]:
    """Messages due now, marked as being sent until the lease runs out."""
    one_at_a_time(connection, "outbox")
    now_s = epoch_s(now, "the time of sending")
    lapsed = and_(outbox.c.state == "sending", outbox.c.taken_until < now_s)
    again = outbox.c.output.in_(list(idempotent))
    connection.execute(update(outbox).where(lapsed, again).values(state="due", taken_until=None))
    connection.execute(
        update(outbox).where(lapsed, ~again).values(state="unsure", taken_until=None, note=_STOPPED)
    )
    wanted = select(outbox).where(outbox.c.state == "due", outbox.c.due_at <= now_s)
    if outputs is not None:
        wanted = wanted.where(outbox.c.output.in_(list(outputs)))
    rows = connection.execute(wanted.order_by(outbox.c.due_at, outbox.c.id).limit(limit)).all()
    if rows:
        connection.execute(
            update(outbox)
            .where(outbox.c.id.in_([row.id for row in rows]))
            .values(state="sending", taken_until=now_s + lease_s, tries=outbox.c.tries + 1)
        )
    return tuple(
        Due(
            id=row.id,
            warning_id=row.warning_id,
            change=row.change,
            output=row.output,
            body=json.loads(row.body),
            tries=row.tries + 1,
        )
        for row in rows
    )


def sent(connection: Connection, number: int, now: datetime) -> None:
    """The output has taken the message."""
    values = {
        "state": "sent",
        "sent_at": epoch_s(now, "the time of sending"),
        "taken_until": None,
        "note": "",
    }
    connection.execute(update(outbox).where(outbox.c.id == number).values(values))


def failed(connection: Connection, number: int, next_due: datetime | None, note: str) -> None:
    """The output has surely not taken it: due again then, or given up when there is no next time."""
    values: dict[str, object] = {"state": "given up", "taken_until": None, "note": note}
    if next_due is not None:
        values |= {"state": "due", "due_at": epoch_s(next_due, "the next time a message is due")}
    connection.execute(update(outbox).where(outbox.c.id == number).values(values))
    if next_due is not None:
        _overtake(connection, number)


def _overtake(connection: Connection, number: int) -> None:
    # A newer change may have been queued while this one was being sent.
    mine = (
        select(outbox.c.warning_id, outbox.c.output, outbox.c.change).where(outbox.c.id == number).subquery()
    )
    newer = select(func.count()).where(
        outbox.c.warning_id == mine.c.warning_id,
        outbox.c.output == mine.c.output,
        outbox.c.change > mine.c.change,
        or_(outbox.c.state == "due", outbox.c.state == "sending", outbox.c.state == "sent"),
    )
    if connection.execute(newer).scalar():
        connection.execute(update(outbox).where(outbox.c.id == number).values(state="overtaken"))


def unsure(connection: Connection, number: int, note: str) -> None:
    """Nobody knows whether the output has taken it; it is not sent again."""
    values = {"state": "unsure", "taken_until": None, "note": note}
    connection.execute(update(outbox).where(outbox.c.id == number).values(values))


def put_back(connection: Connection, number: int, due_at: datetime) -> None:
    """Not tried after all (quiet hours): due again then."""
    values = {
        "state": "due",
        "taken_until": None,
        "due_at": epoch_s(due_at, "the next time a message is due"),
        "tries": outbox.c.tries - 1,
    }
    connection.execute(update(outbox).where(outbox.c.id == number).values(values))
    _overtake(connection, number)


def counts(connection: Connection) -> tuple[OutboxCount, ...]:
    """How many messages of each output are in each state, with the newest note among them."""
    groups = connection.execute(
        select(
            outbox.c.output,
            outbox.c.state,
            func.count().label("count"),
            func.max(outbox.c.id).label("newest"),
        )
        .group_by(outbox.c.output, outbox.c.state)
        .order_by(outbox.c.output, outbox.c.state)
    ).all()
    notes = {
        row.id: row.note
        for row in connection.execute(
            select(outbox.c.id, outbox.c.note).where(outbox.c.id.in_([group.newest for group in groups]))
        )
    }
    return tuple(
        OutboxCount(output=row.output, state=row.state, messages=row[2], note=notes[row.newest])
        for row in groups
    )
