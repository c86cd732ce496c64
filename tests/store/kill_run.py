"""Kills a working process again and again, and counts what was lost, torn or told twice.

Run as a program by test_kill.py: ADDRESS FOLDER KILLS SEED. Prints the counts as JSON. The worker is forked,
so that a kill costs milliseconds and not the start of a Python; it opens the store afresh each time, as after
a restart.
"""

from __future__ import annotations

import json
import os
import random
import signal
import sys
import time
from collections import Counter
from datetime import UTC, datetime
from pathlib import Path

from planner.store import Answer, Entry, Outgoing, Store, WarningState

ANSWERS = ("days", "hours", "now", "warnings", "week", "windows")
LEASE_S = 0.02


def append(file: Path, line: str) -> None:
    """One line, by one system call: what is written before a kill -9 stays."""
    with open(file, "ab", buffering=0) as sink:
        sink.write(f"{line}\n".encode())


def lines(file: Path) -> list[str]:
    return file.read_text().split() if file.exists() else []


def work(url: str, folder: Path, *, rounds: int | None = None) -> None:
    """Write the diary, make a pass, send what is due: for ever, or until nothing is due."""
    store = Store.open(url)
    number = len(store.entries(with_withdrawn=True)) + 1
    done = 0
    while rounds is None or done < rounds:
        now = datetime.now(UTC)
        if rounds is None:
            entry = Entry(job="mow", kind="mowing", surface="green", started_at=now, finished_at=now)
            stored = store.add_entry(entry, now)
            append(folder / "entries", stored.uuid)
            text = f"{number} {os.getpid()}"
            warning = WarningState(
                id=f"w{number}-{os.getpid()}",
                kind="frost",
                surface="green",
                state="raised",
                level="heed",
                document={"pass": text},
                first_at=now,
                changed_at=now,
            )
            store.keep_pass(
                now,
                {name: Answer(content_type="text/plain", body=text.encode() * 300) for name in ANSWERS},
                warnings=[warning],
                outbox=[
                    Outgoing(warning_id=warning.id, change=1, output=output, body={}, due_at=now)
                    for output in ("mail", "hook")
                ],
            )
        while taken := store.take_due(datetime.now(UTC), LEASE_S, idempotent=["hook"]):
            for due in taken:
                append(folder / due.output, due.key)
                store.mark_sent(due.id, datetime.now(UTC))
        number += 1
        done += 1
    store.close()


def torn(store: Store) -> bool:
    """Whether the newest pass is not whole, or not together with its warning."""
    answers = store.answers_like("")
    if not answers:
        return bool(store.warnings())
    whole = tuple(answer.name for answer in answers) == ANSWERS and len({a.body for a in answers}) == 1
    newest = {warning.document["pass"] for warning in store.warnings()}
    text = answers[0].body[: len(answers[0].body) // 300].decode()
    return (
        not whole or text not in newest or max(int(one.split()[0]) for one in newest) > int(text.split()[0])
    )


def main(url: str, folder: Path, kills: int, seed: int) -> dict[str, int]:
    moments = random.Random(seed)
    Store.open(url).close()
    count: Counter[str] = Counter()
    for _ in range(kills):
        child = os.fork()
        if child == 0:
            try:
                work(url, folder)
            finally:
                os._exit(9)
        time.sleep(moments.uniform(0.005, 0.15))
        os.kill(child, signal.SIGKILL)
        _, status = os.waitpid(child, 0)
        count["killed"] += os.WIFSIGNALED(status)
        store = Store.open(url)
        count["torn"] += torn(store)
        there = {entry.uuid for entry in store.entries()}
        count["entries lost"] += len(set(lines(folder / "entries")) - there)
        store.close()
    time.sleep(LEASE_S * 2)
    work(url, folder, rounds=1)
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
