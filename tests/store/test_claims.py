"""One of several processes gets a slot; a lease that ran out can be taken over; what is done stays done."""

from __future__ import annotations

import subprocess
import sys
from datetime import UTC, datetime, timedelta
from pathlib import Path

import pytest

from planner.errors import InputError
from planner.store.records import AlreadyKept
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
    store.keep_pass(NOON, {}, schema=1, once="12")
    assert not store.claim("pass", "12", 60, NOON + timedelta(days=20))


def test_a_time_without_a_zone_is_refused(store: Store) -> None:
    with pytest.raises(InputError, match="no zone"):
        store.claim("pass", "12", 60, datetime(2026, 4, 12, 12))  # noqa: DTZ001


_COMPETE = """
import sys
from datetime import UTC, datetime
from planner.store.records import AlreadyKept
from planner.store import engine
from planner.store.store import Store
# Who hammers a file is not let in by turns; how long one waits for it is not what is asked here.
engine.BUSY_S = 120
url, slots, runs = sys.argv[1], int(sys.argv[2]), sys.argv[3]
noon = datetime(2026, 4, 12, 12, tzinfo=UTC)
store = Store.open(url)
print("ready", flush=True)
sys.stdin.readline()
for slot in range(slots):
    while store.claim("pass", str(slot), 60, noon):
        # Every seventh comes to nothing the first time, and is given back: whoever takes it then runs it.
        with open(f"{runs}.tried", "ab", buffering=0) as tried:
            tried.write(f"{slot}\\n".encode())
        if slot % 7 == 0 and open(f"{runs}.tried").read().split().count(str(slot)) == 1:
            store.release("pass", str(slot))
            continue
        with open(runs, "ab", buffering=0) as ran:
            ran.write(f"{slot}\\n".encode())
        store.keep_pass(noon, {}, schema=1, once=str(slot))
"""


def each_slot_runs_once(url: str, folder: Path, slots: int) -> None:
    """Four processes ask for every slot, at once and in the same order."""
    runs = folder / "runs"
    racers = [
        subprocess.Popen(
            [sys.executable, "-c", _COMPETE, url, str(slots), str(runs)],
            stdin=subprocess.PIPE,
            stdout=subprocess.PIPE,
            text=True,
        )
        for _ in range(4)
    ]
    for racer in racers:
        assert racer.stdout is not None
        assert racer.stdout.readline() == "ready\n"
    for racer in racers:
        assert racer.stdin is not None
        racer.stdin.write("go\n")
        racer.stdin.flush()
    for racer in racers:
        racer.communicate(timeout=600)
    assert [racer.returncode for racer in racers] == [0] * 4
    assert sorted(runs.read_text().split(), key=int) == [str(slot) for slot in range(slots)]


def test_competing_processes_run_each_slot_once(store: Store, url: str, tmp_path: Path) -> None:
    each_slot_runs_once(url, tmp_path, 40)


@pytest.mark.replay
def test_four_processes_run_each_of_five_hundred_slots_once(store: Store, url: str, tmp_path: Path) -> None:
    each_slot_runs_once(url, tmp_path, 500)
    assert all(store.is_finished("pass", str(slot)) for slot in range(500))


def test_a_pass_of_one_name_is_kept_once_with_all_it_holds(store: Store) -> None:
    store.keep_pass(NOON, {"report": b"first"}, schema=1, once="fleet 1")
    with pytest.raises(AlreadyKept, match="fleet 1"):
        store.keep_pass(NOON, {"report": b"second"}, schema=1, once="fleet 1")
    assert store.is_finished("pass", "fleet 1")
    found = store.part("report")
    assert found is not None
    assert found.body == b"first"
    other = store.bound_to("other", "")
    other.keep_pass(NOON, {"report": b"of another site"}, schema=1, once="fleet 1")
    assert store.keep_pass(NOON, {"report": b"third"}, schema=1, once="fleet 2") is not None
