"""A warning's life and what is told of it: with the pass, once, and never again when nobody knows."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta

import pytest
from msgspec.structs import replace

from planner.errors import InputError
from planner.store.records import KeptWarning, Outgoing, StoreError
from planner.store.store import Store

NOW = datetime(2026, 4, 12, 12, tzinfo=UTC)
LATER = NOW + timedelta(minutes=10)
FROST = KeptWarning(
    id="frost:green:2026-04-13",
    kind="frost",
    surface="green",
    state="raised",
    level="care",
    document={"says": "Ground frost from 03:00", "lead_h": 14.0},
    first_at=NOW,
    changed_at=NOW,
)


def tell(change: int = 1, output: str = "mail", *, closes: bool = False, due_at: datetime = NOW) -> Outgoing:
    return Outgoing(
        warning_id=FROST.id,
        change=change,
        output=output,
        body={"title": f"change {change}"},
        due_at=due_at,
        closes=closes,
    )


def states(store: Store) -> dict[str, int]:
    return {f"{count.output} {count.state}": count.messages for count in store.outbox_counts()}


def test_a_warning_is_kept_with_its_pass(store: Store) -> None:
    store.keep_pass(NOW, {}, schema=1, warnings=[FROST], outbox=[tell()])
    assert store.warnings() == (FROST,)
    over = replace(FROST, state="over", change=2, changed_at=LATER)
    store.keep_pass(LATER, {}, schema=1, warnings=[over])
    assert store.warnings() == (over,)
    assert store.warnings(["raised", "changed", "eased"]) == ()


def test_pass_states_and_messages_are_all_kept_or_none(store: Store) -> None:
    torn = replace(tell(), output=None)  # type: ignore[arg-type]
    with pytest.raises(StoreError):
        store.keep_pass(NOW, {"a": b"1"}, schema=1, warnings=[FROST], outbox=[torn])
    assert store.part("a") is None
    assert store.warnings() == ()
    assert store.outbox_counts() == ()


def test_a_message_is_taken_once_and_sent_once(store: Store) -> None:
    store.keep_pass(NOW, {}, schema=1, outbox=[tell()])
    (due,) = store.take_due(NOW, 60)
    assert (due.warning_id, due.change, due.output, due.tries) == (FROST.id, 1, "mail", 1)
    assert due.body == {"title": "change 1"}
    assert due.key == "frost:green:2026-04-13:1:mail"
    assert store.take_due(NOW, 60) == ()
    store.mark_sent(due.id, NOW)
    assert store.take_due(NOW + timedelta(days=1), 60) == ()
    assert states(store) == {"mail sent": 1}


def test_a_pass_made_again_queues_nothing_twice(store: Store) -> None:
    store.keep_pass(NOW, {}, schema=1, outbox=[tell(), tell(output="hook")])
    (due,) = store.take_due(NOW, 60, outputs=["mail"])
    store.mark_sent(due.id, NOW)
    store.keep_pass(NOW, {}, schema=1, outbox=[tell(), tell(output="hook")])
    assert states(store) == {"mail sent": 1, "hook due": 1}


def test_nothing_is_taken_before_it_is_due(store: Store) -> None:
    store.keep_pass(NOW, {}, schema=1, outbox=[tell(due_at=LATER)])
    assert store.take_due(NOW, 60) == ()
    assert len(store.take_due(LATER, 60)) == 1


def test_after_a_crash_only_outputs_that_drop_repeats_send_again(store: Store) -> None:
    store.keep_pass(NOW, {}, schema=1, outbox=[tell(), tell(output="hook")])
    assert len(store.take_due(NOW, 60, limit=5)) == 2
    assert store.take_due(NOW + timedelta(seconds=59), 60, idempotent=["hook"]) == ()
    again = store.take_due(NOW + timedelta(seconds=61), 60, idempotent=["hook"], limit=5)
    assert [(due.output, due.tries) for due in again] == [("hook", 2)]
    assert states(store) == {"hook sending": 1, "mail unsure": 1}
    (note,) = [count.note for count in store.outbox_counts() if count.output == "mail"]
    assert "not sent again" in note


def test_a_slow_send_that_ends_well_is_no_longer_unsure(store: Store) -> None:
    store.keep_pass(NOW, {}, schema=1, outbox=[tell()])
    (due,) = store.take_due(NOW, 60)
    store.take_due(LATER, 60)
    store.mark_sent(due.id, LATER)
    assert states(store) == {"mail sent": 1}


def test_a_failed_send_comes_again_and_is_given_up_at_the_end(store: Store) -> None:
    store.keep_pass(NOW, {}, schema=1, outbox=[tell()])
    (due,) = store.take_due(NOW, 60)
    store.mark_failed(due.id, LATER, "no answer")
    assert store.take_due(NOW, 60) == ()
    (due,) = store.take_due(LATER, 60)
    assert due.tries == 2
    store.mark_failed(due.id, None, "no answer")
    assert states(store) == {"mail given up": 1}
    assert [count.note for count in store.outbox_counts()] == ["no answer"]


def test_only_the_newest_change_is_told_when_several_wait(store: Store) -> None:
    store.keep_pass(NOW, {}, schema=1, outbox=[tell(1)])
    store.keep_pass(NOW, {}, schema=1, outbox=[tell(2)])
    (due,) = store.take_due(NOW, 60, limit=5)
    assert due.change == 2
    assert states(store) == {"mail overtaken": 1, "mail sending": 1}


def test_a_failed_change_is_not_tried_again_behind_a_newer_one(store: Store) -> None:
    store.keep_pass(NOW, {}, schema=1, outbox=[tell(1)])
    (due,) = store.take_due(NOW, 60)
    store.keep_pass(NOW, {}, schema=1, outbox=[tell(2)])
    store.mark_failed(due.id, LATER, "no answer")
    assert [due.change for due in store.take_due(LATER, 60, limit=5)] == [2]


def test_the_end_of_a_warning_nobody_heard_of_is_not_told(store: Store) -> None:
    store.keep_pass(NOW, {}, schema=1, outbox=[tell(1, due_at=LATER), tell(1, "hook")])
    (due,) = store.take_due(NOW, 60)
    store.mark_sent(due.id, NOW)
    store.keep_pass(NOW, {}, schema=1, outbox=[tell(2, closes=True), tell(2, "hook", closes=True)])
    assert [due.output for due in store.take_due(LATER, 60, limit=5)] == ["hook"]


def test_a_message_put_back_was_not_tried(store: Store) -> None:
    store.keep_pass(NOW, {}, schema=1, outbox=[tell()])
    (due,) = store.take_due(NOW, 60)
    store.put_back(due.id, LATER)
    assert store.take_due(NOW, 60) == ()
    (due,) = store.take_due(LATER, 60)
    assert due.tries == 1


def test_old_warnings_go_with_their_messages(store: Store) -> None:
    over = replace(FROST, state="over")
    store.keep_pass(NOW, {}, schema=1, warnings=[over], outbox=[tell()])
    store.keep_pass(NOW + timedelta(days=89), {}, schema=1)
    assert len(store.warnings()) == 1
    assert len(store.outbox_counts()) == 1
    store.keep_pass(NOW + timedelta(days=91), {}, schema=1)
    assert store.warnings() == ()
    assert store.outbox_counts() == ()


def test_a_state_not_in_the_life_of_a_warning_is_refused() -> None:
    with pytest.raises(InputError, match="allowed: raised, changed, eased, over"):
        replace(FROST, state="shouting")
