"""Each message once; a failing output stops no other; what nobody knows is not sent again."""

from __future__ import annotations

import subprocess
import sys
from dataclasses import replace
from datetime import timedelta

import pytest

from planner.errors import InputError, NotKnown
from planner.outputs import OUTPUTS, OutputFailed, OutputUnsure, make_output
from planner.outputs.base import LEASE_S, MOST_AT_ONCE, MOST_TRIES, Delivery, LogOutput, deliver
from planner.store.records import Outgoing
from planner.store.store import Store
from tests.outputs.frost import FROST, NOW, Pigeon


def queue(store: Store, *names: str, change: int = 1, closes: bool = False) -> None:
    message = replace(FROST, change=change)
    store.keep_pass(NOW, {}, schema=1, outbox=message.for_outputs(names, NOW, closes=closes))


def states(store: Store) -> dict[str, str]:
    return {count.output: count.state for count in store.outbox_counts()}


def test_a_message_arrives_whole_and_once(store: Store) -> None:
    pigeon = Pigeon()
    queue(store, "pigeon")
    assert deliver(store, [pigeon], NOW) == Delivery(sent=1)
    assert pigeon.got == [FROST]
    assert deliver(store, [pigeon], NOW + timedelta(days=1)) == Delivery()
    queue(store, "pigeon")
    assert deliver(store, [pigeon], NOW + timedelta(days=1)) == Delivery()


def test_a_failing_output_stops_no_other(store: Store) -> None:
    lame, well = Pigeon(name="lame", fault=OutputFailed("no wind")), Pigeon(name="well")
    for change in (1, 2):
        store.keep_pass(
            NOW,
            {},
            schema=1,
            outbox=replace(FROST, id=f"w{change}", change=1).for_outputs(["lame", "well"], NOW),
        )
    assert deliver(store, [lame, well], NOW) == Delivery(sent=2, failed=1)
    assert [message.id for message in well.got] == ["w1", "w2"]


def test_a_failed_message_waits_longer_each_time_and_is_given_up(store: Store) -> None:
    lame = Pigeon(name="lame", fault=OutputFailed("no wind"))
    queue(store, "lame")
    now, waits = NOW, []
    for _ in range(MOST_TRIES - 1):
        assert deliver(store, [lame], now) == Delivery(failed=1)
        with store._reading() as connection:
            due_s = connection.exec_driver_sql("select due_at from outbox").scalar_one()
        waits.append((due_s - now.timestamp()) / 60)
        assert deliver(store, [lame], now + timedelta(minutes=waits[-1] - 0.1)) == Delivery()
        now += timedelta(minutes=waits[-1])
    assert waits == [1, 4, 16, 64, 256, 360, 360]
    assert deliver(store, [lame], now) == Delivery(given_up=1)
    assert states(store) == {"lame": "given up"}
    assert store.outbox_counts()[0].note == "no wind"


def test_the_other_sides_wish_to_wait_is_kept(store: Store) -> None:
    busy = Pigeon(name="busy", fault=OutputFailed("later", retry_after_s=1800.0))
    queue(store, "busy")
    deliver(store, [busy], NOW)
    assert deliver(store, [busy], NOW + timedelta(seconds=1799)) == Delivery()
    assert deliver(store, [busy], NOW + timedelta(seconds=1800)) == Delivery(failed=1)


@pytest.mark.parametrize("fault", [OutputUnsure("broke off"), RuntimeError("a fault of its own")])
def test_what_nobody_knows_is_sent_again_only_where_repeats_are_dropped(
    store: Store, fault: Exception
) -> None:
    mail, hook = Pigeon(name="mail", fault=fault), Pigeon(name="hook", fault=fault, idempotent=True)
    queue(store, "mail", "hook")
    assert deliver(store, [mail, hook], NOW) == Delivery(failed=1, unsure=1)
    assert states(store) == {"mail": "unsure", "hook": "due"}
    mail.fault = hook.fault = None
    assert deliver(store, [mail, hook], NOW + timedelta(hours=1)) == Delivery(sent=1)
    assert (mail.got, hook.got) == ([], [FROST])


def test_after_a_crash_while_sending_the_same_holds(store: Store) -> None:
    mail, hook = Pigeon(name="mail"), Pigeon(name="hook", idempotent=True)
    queue(store, "mail", "hook")
    assert len(store.take_due(NOW, LEASE_S, limit=2)) == 2
    assert deliver(store, [mail, hook], NOW + timedelta(seconds=LEASE_S - 1)) == Delivery()
    assert deliver(store, [mail, hook], NOW + timedelta(seconds=LEASE_S + 1)) == Delivery(sent=1)
    assert (mail.got, hook.got) == ([], [FROST])
    assert states(store) == {"mail": "unsure", "hook": "sent"}


def test_quiet_hours_hold_what_can_wait(store: Store) -> None:
    pigeon = Pigeon()
    queue(store, "pigeon")
    store.keep_pass(
        NOW, {}, schema=1, outbox=replace(FROST, id="w2", level="note").for_outputs(["pigeon"], NOW)
    )
    night = {"quiet": lambda message, now: message.level != "act" and now < NOW + timedelta(hours=10)}
    assert deliver(store, [pigeon], NOW, **night) == Delivery(sent=1, held=1)
    assert [message.level for message in pigeon.got] == ["act"]
    assert deliver(store, [pigeon], NOW + timedelta(hours=10), **night) == Delivery(sent=1)


def test_the_end_of_a_warning_held_all_night_is_not_told(store: Store) -> None:
    pigeon = Pigeon()
    queue(store, "pigeon")
    assert deliver(store, [pigeon], NOW, quiet=lambda *_: True) == Delivery(held=1)
    queue(store, "pigeon", change=2, closes=True)
    assert deliver(store, [pigeon], NOW + timedelta(hours=10)) == Delivery()


def test_one_call_sends_only_so_many(store: Store) -> None:
    pigeon = Pigeon()
    messages = [replace(FROST, id=f"w{number}") for number in range(MOST_AT_ONCE + 2)]
    store.keep_pass(
        NOW, {}, schema=1, outbox=[row for one in messages for row in one.for_outputs(["pigeon"], NOW)]
    )
    assert deliver(store, [pigeon], NOW) == Delivery(sent=MOST_AT_ONCE)
    assert deliver(store, [pigeon], NOW) == Delivery(sent=2)


def test_messages_of_outputs_not_set_up_wait(store: Store) -> None:
    queue(store, "gone")
    assert deliver(store, [Pigeon()], NOW) == Delivery()
    assert states(store) == {"gone": "due"}


def test_a_stored_message_that_cannot_be_read_is_given_up(store: Store) -> None:
    odd = Outgoing(warning_id="w", change=1, output="pigeon", body={"titel": "x"}, due_at=NOW)
    store.keep_pass(NOW, {}, schema=1, outbox=[odd])
    assert deliver(store, [Pigeon()], NOW) == Delivery(given_up=1)
    assert "cannot be read" in store.outbox_counts()[0].note


def test_the_log_has_one_line_a_message(caplog: pytest.LogCaptureFixture) -> None:
    LogOutput().send(replace(FROST, body="two\nlines"))
    assert [record.getMessage() for record in caplog.records] == [
        "[act] Ground frost on the green from 03:00: two lines (frost:green:2026-04-13, change 1)"
    ]


def test_every_row_of_the_table_makes_an_output() -> None:
    settings = {
        "log": {},
        "webhook": {"url": "https://example.org/hook"},
        "email": {"host": "example.org", "sender": "a@example.org", "to": ["b@example.org"]},
        "mqtt": {"host": "127.0.0.1"},
        "apprise": {"url": "json://127.0.0.1"},
    }
    assert list(OUTPUTS) == list(settings)
    for kind, given in settings.items():
        output = make_output(kind, given)
        assert output.name == kind
        assert isinstance(output.idempotent, bool)


def test_a_wrong_kind_or_setting_is_named() -> None:
    with pytest.raises(NotKnown, match='Did you mean "webhook"'):
        make_output("webhok", {})
    with pytest.raises(NotKnown, match='Did you mean "url"'):
        make_output("webhook", {"urls": "https://example.org"})
    with pytest.raises(InputError, match="lacks a setting.*url"):
        make_output("webhook", {})


def test_the_table_loads_nothing_heavy() -> None:
    script = (
        "import sys, planner.outputs, planner.outputs.base\n"
        "print([m for m in ('httpx', 'aiomqtt', 'smtplib', 'sqlalchemy', 'apprise') if m in sys.modules])"
    )
    done = subprocess.run([sys.executable, "-c", script], capture_output=True, text=True, check=True)
    assert done.stdout.strip() == "[]"
