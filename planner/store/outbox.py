"""Where warnings stand, and what is still to be sent about them.

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

from planner.store import records
from planner.store.engine import Database, one_at_a_time, with_signs
from planner.store.tables import outbox, warnings

KEEP_OVER_DAYS = 90
KEEP_LEFT_DAYS = 400
_STOPPED = "the program stopped while this was being sent; not sent again, since people might get it twice"


class Outbox(Database):
    """The warnings of a site, and the messages about them."""

    def warnings(self, states: Collection[str] | None = None) -> tuple[records.KeptWarning, ...]:
        """Where warnings stand: those in these states, or all; the first raised first."""
        wanted = select(warnings).where(warnings.c.site == self.site)
        if states is not None:
            wanted = wanted.where(warnings.c.state.in_(list(states)))
        with self._reading() as connection:
            return tuple(
                records.KeptWarning(
                    id=row.id,
                    kind=row.kind,
                    surface=row.surface,
                    state=row.state,
                    level=row.level,
                    document=json.loads(row.document),
                    first_at=records.moment(row.first_at),
                    changed_at=records.moment(row.changed_at),
                    change=row.change,
                )
                for row in connection.execute(wanted.order_by(warnings.c.first_at, warnings.c.id))
            )

    def take_due(
        self,
        now: datetime,
        lease_s: float,
        *,
        outputs: Collection[str] | None = None,
        idempotent: Collection[str] = (),
        limit: int = 1,
    ) -> tuple[records.OutboxItem, ...]:
        """Messages due, marked as being sent. Of those whose lease ran out, only `idempotent` ones return."""
        with self._writing() as connection:
            one_at_a_time(connection, f"outbox {self.site}")
            now_s = records.epoch_s(now, "the time of sending")
            mine = outbox.c.site == self.site
            lapsed = and_(mine, outbox.c.state == "sending", outbox.c.taken_until < now_s)
            again = outbox.c.output.in_(list(idempotent))
            connection.execute(update(outbox).where(lapsed, again).values(state="due", taken_until=None))
            connection.execute(
                update(outbox).where(lapsed, ~again).values(state="unsure", taken_until=None, note=_STOPPED)
            )
            wanted = select(outbox).where(mine, outbox.c.state == "due", outbox.c.due_at <= now_s)
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
                records.OutboxItem(
                    id=row.id,
                    warning_id=row.warning_id,
                    change=row.change,
                    output=row.output,
                    body=json.loads(row.body),
                    tries=row.tries + 1,
                )
                for row in rows
            )

    def mark_sent(self, number: int, now: datetime) -> None:
        """The output has taken the message."""
        self._mark(number, "sent", note="", sent_at=records.epoch_s(now, "the time of sending"))

    def mark_failed(self, number: int, next_due: datetime | None, note: str) -> None:
        """The output has surely not taken it: due again then, given up when there is no next time."""
        # It may repeat what the other side said, and that may be anything.
        said = with_signs(note)
        if next_due is None:
            self._mark(number, "given up", note=said)
        else:
            self._mark(
                number, "due", note=said, due_at=records.epoch_s(next_due, "the next time a message is due")
            )

    def mark_unsure(self, number: int, note: str) -> None:
        """Nobody knows whether the output has taken it; it is not sent again."""
        self._mark(number, "unsure", note=with_signs(note))

    def put_back(self, number: int, due_at: datetime) -> None:
        """Not tried after all (quiet hours): due again then."""
        due_s = records.epoch_s(due_at, "the next time a message is due")
        self._mark(number, "due", due_at=due_s, tries=outbox.c.tries - 1)

    def _mark(self, number: int, state: str, **values: object) -> None:
        message = update(outbox).where(outbox.c.site == self.site, outbox.c.id == number)
        with self._writing() as connection:
            connection.execute(message.values(state=state, taken_until=None, **values))
            if state != "due":
                return
            # A newer change may have been queued while this one was being sent.
            mine = (
                select(outbox.c.warning_id, outbox.c.output, outbox.c.change)
                .where(outbox.c.id == number)
                .subquery()
            )
            newer = select(func.count()).where(
                outbox.c.site == self.site,
                outbox.c.warning_id == mine.c.warning_id,
                outbox.c.output == mine.c.output,
                outbox.c.change > mine.c.change,
                outbox.c.state.in_(["due", "sending", "sent"]),
            )
            if connection.execute(newer).scalar():
                connection.execute(message.values(state="overtaken"))

    def sent_messages(self, output: str, warning_ids: Collection[str]) -> tuple[dict[str, object], ...]:
        """What this output has been sent of these warnings, the newest last."""
        wanted = (
            select(outbox.c.body)
            .where(
                outbox.c.site == self.site,
                outbox.c.output == output,
                outbox.c.state == "sent",
                outbox.c.warning_id.in_(list(warning_ids)),
            )
            .order_by(outbox.c.sent_at, outbox.c.id)
        )
        with self._reading() as connection:
            return tuple(json.loads(row.body) for row in connection.execute(wanted))

    def outbox_counts(self) -> tuple[records.OutboxCount, ...]:
        """How many messages of each output are in each state, with the newest note among them."""
        wanted = (
            select(
                outbox.c.output,
                outbox.c.state,
                func.count().label("messages"),
                func.max(outbox.c.id).label("newest"),
            )
            .where(outbox.c.site == self.site)
            .group_by(outbox.c.output, outbox.c.state)
            .subquery()
        )
        noted = (
            select(wanted, outbox.c.note)
            .join(outbox, outbox.c.id == wanted.c.newest)
            .order_by(wanted.c.output, wanted.c.state)
        )
        with self._reading() as connection:
            return tuple(
                records.OutboxCount(output=row.output, state=row.state, messages=row.messages, note=row.note)
                for row in connection.execute(noted)
            )

    def _keep_warnings(
        self,
        connection: Connection,
        made_at: datetime,
        states: Iterable[records.KeptWarning],
        messages: Iterable[records.Outgoing],
    ) -> None:
        """Writes where warnings stand and the messages that follow from it; a message known already stays one."""
        one_at_a_time(connection, f"outbox {self.site}")
        mine = warnings.c.site == self.site
        named = list(states)
        for state in named:
            connection.execute(delete(warnings).where(mine, warnings.c.id == state.id))
            connection.execute(
                insert(warnings).values(
                    site=self.site,
                    id=state.id,
                    kind=state.kind,
                    surface=state.surface,
                    state=state.state,
                    level=state.level,
                    document=records.document_text(state.document, f"The warning {state.id}"),
                    first_at=records.epoch_s(state.first_at, "the time a warning was raised"),
                    changed_at=records.epoch_s(state.changed_at, "the time a warning changed"),
                    change=state.change,
                )
            )
        for message in messages:
            self._queue(connection, message)
        made_s = records.epoch_s(made_at, "the time of a pass")
        before = made_s - KEEP_OVER_DAYS * records.DAY_S
        is_over = and_(warnings.c.state == "over", warnings.c.changed_at < before)
        # Nobody follows it any more: another version wrote it, and no pass reads or names it.
        is_left = and_(
            warnings.c.changed_at < made_s - KEEP_LEFT_DAYS * records.DAY_S,
            warnings.c.id.not_in([state.id for state in named]),
        )
        connection.execute(delete(warnings).where(mine, or_(is_over, is_left)))
        # A message goes only with its warning: the two together keep a change from being sent a second time.
        connection.execute(
            delete(outbox).where(
                outbox.c.site == self.site,
                outbox.c.due_at < before,
                outbox.c.warning_id.not_in(select(warnings.c.id).where(mine)),
            )
        )

    def _queue(self, connection: Connection, message: records.Outgoing) -> None:
        same = and_(
            outbox.c.site == self.site,
            outbox.c.warning_id == message.warning_id,
            outbox.c.output == message.output,
        )
        earlier = connection.execute(
            select(outbox.c.change, outbox.c.state, outbox.c.tries).where(same)
        ).all()
        if any(row.change == message.change for row in earlier):
            return
        was_sent = any(row.tries > 0 for row in earlier)
        # Of several changes that did not go out yet, only the newest is sent.
        connection.execute(
            update(outbox)
            .where(same, outbox.c.state == "due", outbox.c.change < message.change)
            .values(state="overtaken")
        )
        connection.execute(
            insert(outbox).values(
                site=self.site,
                warning_id=message.warning_id,
                change=message.change,
                output=message.output,
                body=records.document_text(message.body, f"A message about the warning {message.warning_id}"),
                closes=message.closes,
                state="needless" if message.closes and not was_sent else "due",
                due_at=records.epoch_s(message.due_at, "the time a message is due"),
                taken_until=None,
                tries=0,
                sent_at=None,
                note="",
            )
        )
