"""Kills a working process again and again, and counts what was lost, torn or told twice.

Run as a program by test_kill.py: ADDRESS FOLDER KILLS SEED. Prints the counts as JSON. The worker opens the
store afresh each time, as after a restart. Its clock goes by the rounds it has made, so that no lease runs out
because the machine is slow.
"""

from __future__ import annotations

import json
import os
import sys
import time
from collections import Counter
from datetime import UTC, datetime, timedelta
from pathlib import Path

import psycopg

from planner.diary.entry import Entry
from planner.store.records import KeptWarning, Outgoing
from planner.store.store import Store
from tests.killing import PATIENCE_S, ROUND, SENT, STEP, Tell, killed, untold

PARTS = ("days", "hours", "now", "warnings", "week", "windows")
BEGUN = datetime(2026, 4, 8, 6, tzinfo=UTC)
MINUTE = timedelta(minutes=1)
#: A round is a minute: what a killed worker was sending is still held in the next round, and free after it.
LEASE_S = 90.0


def append(file: Path, line: str) -> None:
    """One line, by one system call: what is written before a kill -9 stays."""
    with open(file, "ab", buffering=0) as sink:
        sink.write(f"{line}\n".encode())


def lines(file: Path) -> list[str]:
    return file.read_text().split() if file.exists() else []


def work(url: str, folder: Path, tell: Tell) -> None:
    """Write the diary, make a pass, send what is due: for ever."""
    os.environ["PGAPPNAME"] = session(os.getpid())
    store = Store.open(url)
    number = len(store.entries(with_withdrawn=True)) + 1
    while True:
        now = BEGUN + number * MINUTE
        entry = Entry(job="mow", kind="mowing", surface="green", started_at=now, finished_at=now)
        stored = store.add_entry(entry, now)
        append(folder / "entries", stored.uuid)
        tell(STEP)
        make_pass(store, number, now)
        send(store, folder, now, tell)
        tell(ROUND)
        number += 1


def make_pass(store: Store, number: int, now: datetime) -> None:
    """A pass with one warning of its own, told to two outputs."""
    text = f"{number} {os.getpid()}"
    warning = KeptWarning(
        id=f"w{number}-{os.getpid()}",
        kind="frost",
        surface="green",
        state="raised",
        level="care",
        document={"pass": text},
        first_at=now,
        changed_at=now,
    )
    store.keep_pass(
        now,
        {name: text.encode() * 300 for name in PARTS},
        schema=1,
        warnings=[warning],
        outbox=[
            Outgoing(warning_id=warning.id, change=1, output=output, body={}, due_at=now)
            for output in ("mail", "hook")
        ],
    )


def send(store: Store, folder: Path, now: datetime, tell: Tell) -> None:
    """Whatever is due."""
    while taken := store.take_due(now, LEASE_S, idempotent=["hook"]):
        for due in taken:
            tell(STEP)
            append(folder / due.output, due.key)
            tell(SENT if due.output == "mail" else STEP)
            store.mark_sent(due.id, now)


def session(pid: int) -> str:
    """The name of a worker's session on a database server."""
    return f"haysel kill run {pid}"


def wait_for_the_server(url: str, pid: int) -> None:
    """Until the server has ended the session of a killed worker: a commit on its way may land till then."""
    if url.startswith("sqlite:"):
        return
    patient_until = time.monotonic() + PATIENCE_S
    asked = "select 1 from pg_stat_activity where application_name = %s"
    with psycopg.connect(url, autocommit=True) as server:
        while server.execute(asked, [session(pid)]).fetchone():
            if time.monotonic() > patient_until:
                raise RuntimeError(f"the server keeps the session of a worker killed {PATIENCE_S:.0f} s ago")
            time.sleep(0.002)


def torn(store: Store) -> bool:
    """Whether the newest pass is not whole, or not together with its warning."""
    parts = store.parts()
    if not parts:
        return bool(store.warnings())
    whole = tuple(part.name for part in parts) == PARTS and len({part.body for part in parts}) == 1
    newest = {warning.document["pass"] for warning in store.warnings()}
    text = parts[0].body[: len(parts[0].body) // 300].decode()
    return (
        not whole or text not in newest or max(int(one.split()[0]) for one in newest) > int(text.split()[0])
    )


def main(url: str, folder: Path, kills: int, seed: int) -> dict[str, int]:
    Store.open(url).close()
    count: Counter[str] = Counter()
    lives = killed(kills, seed, lambda tell: work(url, folder, tell), need={ROUND: 2}, rounds=2)
    for pid, by_us in lives:
        wait_for_the_server(url, pid)
        count["killed"] += by_us
        store = Store.open(url)
        count["torn"] += torn(store)
        there = {entry.uuid for entry in store.entries()}
        count["entries lost"] += len(set(lines(folder / "entries")) - there)
        store.close()
    store = Store.open(url)
    # A day later every lease has run out, and what the dead left is dealt with.
    send(store, folder, BEGUN + len(store.entries()) * MINUTE + timedelta(days=1), untold)
    store.close()
    store = Store.open(url)
    mail, hook = Counter(lines(folder / "mail")), Counter(lines(folder / "hook"))
    states = {(one.output, one.state): one.messages for one in store.outbox_counts()}
    warnings = len(store.warnings())
    count["entries"] = len(store.entries())
    count["warnings"] = warnings
    count["mailed twice"] = sum(times - 1 for times in mail.values())
    count["mail unsure"] = states.pop(("mail", "unsure"), 0)
    count["mail unaccounted"] = warnings - states.pop(("mail", "sent"), 0) - count["mail unsure"]
    count["mail sent but not in the log"] = max(0, warnings - count["mail unsure"] - len(mail))
    count["hook never sent"] = warnings - len(hook)
    count["hook unaccounted"] = warnings - states.pop(("hook", "sent"), 0)
    count["left over"] = sum(states.values())
    store.close()
    return dict(count)


if __name__ == "__main__":
    result = main(sys.argv[1], Path(sys.argv[2]), int(sys.argv[3]), int(sys.argv[4]))
    sys.stdout.write(json.dumps(result))
