"""Kills a worker that writes the diary and makes real passes, again and again, and counts what went wrong.

Run as a program by test_kill_cycle.py: FOLDER KILLS SEED. Prints the counts as JSON. The worker goes through
`planner.actions`; only the pull is replaced by invented weather that turns from dry to a
storm and back, so that warnings are raised, changed and stood down all the time.
"""

from __future__ import annotations

import json
import sys
from collections import Counter
from dataclasses import dataclass, replace
from datetime import UTC, datetime, timedelta
from pathlib import Path

from planner.actions import messages, one_pass, record_work
from planner.config.kit_schema import LogPart
from planner.config.load import Config
from planner.forecast import Fetched
from planner.outputs import Message
from planner.reports.answers import decode_report
from planner.site import Sowing
from planner.store.store import Store
from tests.killing import ROUND, SENT, STEP, Tell, killed, untold
from tests.made import config, forecast, weather

BEGUN = datetime(2026, 4, 8, 6, tzinfo=UTC)
H = timedelta(hours=1)


@dataclass(frozen=True)
class Lines:
    """An output that appends one line, by one system call: what is written before a kill stays."""

    file: Path
    name: str
    idempotent: bool
    tell: Tell

    def send(self, message: Message) -> None:
        self.tell(STEP)
        append(self.file, message.key)
        # A kill from here on, until the sending is marked, leaves a message of which nobody knows.
        self.tell(SENT if self.name == "mail" else STEP)


def append(file: Path, line: str) -> None:
    with open(file, "ab", buffering=0) as sink:
        sink.write(f"{line}\n".encode())


def lines(file: Path) -> list[str]:
    return file.read_text().split() if file.exists() else []


def ground() -> Config:
    found = config(outputs=(LogPart(name="mail"), LogPart(name="hook")), quiet_hours=None)
    # Few jobs, so that a pass takes milliseconds and many of its moments can be hit.
    surface = found.site.surface("apron strip")
    sowing = Sowing(surface=surface.name, at=BEGUN - 96 * H, grass=surface.grass)
    return replace(found, sowings=(sowing,), jobs=found.jobs[:1], wanted=())


def sky(number: int, now: datetime) -> Fetched:
    """Weather of pass `number`: a storm in two of three, stronger and later from pass to pass."""
    storm = {0: 0.0, 1: 6.0 + number % 5, 2: 12.0}[number % 3]
    hours = weather(
        now.replace(minute=0, second=0, microsecond=0) - 72 * H, 24 * 8, rain_mm={90 + number % 7: storm}
    )
    return Fetched(
        forecast=forecast(hours, now), ensemble=None, answers={}, stale=False, age_h=0.0, faults=()
    )


def work(folder: Path, tell: Tell, *, rounds: int | None = None) -> None:
    """Write down work, make a pass, send what is due: for ever, or so many times."""
    outputs = [
        Lines(folder / "mail", "mail", False, tell),
        Lines(folder / "hook", "hook", True, tell),
    ]
    messages.outputs_of = lambda _: (outputs, [])  # type: ignore[assignment]
    found = ground()
    store = Store.open(str(folder / "store.db"))
    number = len(store.entries(with_withdrawn=True))
    done = 0
    while rounds is None or done < rounds:
        # The clock runs an hour a round, so that warnings pass as well.
        now = BEGUN + number * H
        if rounds is None:
            stored = record_work.add(
                {
                    "job": "mow",
                    "kind": "other",
                    "counts_as": "nothing",
                    "surface": "green",
                    "finished": now.isoformat(),
                    "started": now.isoformat(),
                },
                found,
                store,
                now,
            )
            append(folder / "entries", stored.uuid)
            tell(STEP)
        one_pass.fetched_now = lambda *_, now, number=number: sky(number, now)  # type: ignore[misc]
        one_pass.run(found, store, now=now)
        tell(ROUND)
        number += 1
        done += 1
    store.close()


def torn(store: Store) -> bool:
    """Whether the newest pass is not whole, or its warnings are not those that stand."""
    parts = {part.name: part for part in store.parts()}
    if not parts:
        return bool(store.warnings())
    if not {"report", "workings", "past-days"} <= set(parts):
        return True
    report = decode_report(parts["report"].body)
    shown = {row.id for row in report.warnings}
    standing = {one.id for one in store.warnings() if one.state != "over"}
    return abs(report.made_at - parts["report"].made_at) > timedelta(milliseconds=1) or shown != standing


def main(folder: Path, kills: int, seed: int) -> dict[str, int]:
    Store.open(str(folder / "store.db")).close()
    count: Counter[str] = Counter()
    # The weather turns every three rounds.
    need = {ROUND: 2, SENT: 1}
    for _, by_us in killed(kills, seed, lambda tell: work(folder, tell), need=need, rounds=3):
        count["killed"] += by_us
        store = Store.open(str(folder / "store.db"))
        count["torn"] += torn(store)
        there = {entry.uuid for entry in store.entries()}
        count["entries lost"] += len(set(lines(folder / "entries")) - there)
        store.close()
    work(folder, untold, rounds=1)
    store = Store.open(str(folder / "store.db"))
    mail, hook = Counter(lines(folder / "mail")), Counter(lines(folder / "hook"))
    count["mailed twice"] = sum(times - 1 for times in mail.values())
    states = Counter()
    for one in store.outbox_counts():
        states[f"{one.output} {one.state}"] = one.messages
    count["mail sent but not written"] = max(0, states["mail sent"] - len(mail))
    count["hook sent but not written"] = max(0, states["hook sent"] - len(hook))
    count["given up"] = states["mail given up"] + states["hook given up"]
    count["entries"] = len(store.entries())
    count["warnings"] = len(store.warnings())
    count["mailed"] = len(mail)
    count["mail unsure"] = states["mail unsure"]
    store.close()
    return dict(count)


if __name__ == "__main__":
    result = main(Path(sys.argv[1]), int(sys.argv[2]), int(sys.argv[3]))
    sys.stdout.write(json.dumps(result))
