"""One of several processes gets a slot; a lease that ran out can be taken over; what is done stays done."""

from __future__ import annotations

import subprocess
import sys
from datetime import UTC, datetime, timedelta

import pytest

from planner.errors import InputError
from planner.store.store import Store

NOON = datetime(2026, 4, 12, 12, tzinfo=UTC)


def test_a_slot_is_given_once(store: Store) -> None:
    assert store.claim("pass", "12", 60, NOON)
    assert not store.claim("pass", "12", 60, NOON)
    assert store.claim("pass", "13", 60, NOON)
    assert store.claim("digest", "12", 60, NOON)


def test_a_lease_that_ran_out_is_taken_over(store: Store) -> None:
    assert store.claim("pass", "12", 60, NOON)
    assert not store.claim("pass", "12", 60, NOON + timedelta(seconds=60))
    assert store.claim("pass", "12", 60, NOON + timedelta(seconds=61))
    assert not store.claim("pass", "12", 60, NOON + timedelta(seconds=62))


def test_a_finished_slot_is_never_given_again(store: Store) -> None:
    assert store.claim("pass", "12", 60, NOON)
    store.finish("pass", "12", NOON)
    assert not store.claim("pass", "12", 60, NOON + timedelta(days=20))


def test_a_time_without_a_zone_is_refused(store: Store) -> None:
    with pytest.raises(InputError, match="no zone"):
        store.claim("pass", "12", 60, datetime(2026, 4, 12, 12))  # noqa: DTZ001


_COMPETE = """
import sys
from datetime import UTC, datetime
from planner.store.store import Store
store = Store.open(sys.argv[1])
sys.stdin.readline()
for slot in range(40):
    if store.claim("pass", str(slot), 60, datetime(2026, 4, 12, 12, tzinfo=UTC)):
        print(slot)
"""


def test_competing_processes_get_each_slot_once(store: Store, url: str) -> None:
    racers = [
        subprocess.Popen(
            [sys.executable, "-c", _COMPETE, url], stdin=subprocess.PIPE, stdout=subprocess.PIPE, text=True
        )
        for _ in range(4)
    ]
    for racer in racers:
        assert racer.stdin is not None
        racer.stdin.write("go\n")
        racer.stdin.flush()
    won = [line for racer in racers for line in racer.communicate(timeout=600)[0].split()]
    assert sorted(won, key=int) == [str(slot) for slot in range(40)]
