"""Kills a worker that writes the diary and makes real passes, again and again, and counts what went wrong.

Run as a program by test_kill_pass.py: ADDRESS FOLDER KILLS SEED. Prints the counts as JSON. The worker is the
service's own maker of passes, with its claims; only the pull is replaced by invented weather that turns from dry to a
storm and back, so that warnings are raised, changed and stood down all the time. Each worker first makes the pass that
the dead one was making, once what that one had claimed is free again.
"""

from __future__ import annotations

import json
import os
import sys
from collections import Counter
from dataclasses import dataclass, replace
from datetime import UTC, datetime, timedelta
from pathlib import Path

from sqlalchemy import text

from planner.actions import messages, one_pass, record_work
from planner.actions.pass_input import LAST_PULL
from planner.config.kit_schema import LogPart
from planner.config.load import Config
from planner.forecast import ENSEMBLE, Fetched, RawForecast
from planner.outputs import Message
from planner.reports.answers import decode_report
from planner.service.cache import ReportCache
from planner.service.passes import PassRunner
from planner.site import Sowing
from planner.store.store import Store
from tests.killing import ROUND, SENT, STEP, Tell, killed, untold
from tests.made import config, forecast, weather
from tests.store.kill_run import append, lines, session, wait_for_the_server

BEGUN = datetime(2026, 4, 8, 6, tzinfo=UTC)
H = timedelta(hours=1)
#: What a killed pass has claimed is free after this: longer than asking and computing may take.
FREED = timedelta(minutes=3)
PARTS = {"report", "workings", "past-days", "grass-nights", "last-pull"}
PLAIN = "open-meteo"


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


def ground() -> Config:
    found = config(outputs=(LogPart(name="mail"), LogPart(name="hook")), quiet_hours=None)
    # Few jobs, so that a pass takes milliseconds and many of its moments can be hit.
    surface = found.site.surface("apron strip")
    sowing = Sowing(surface=surface.name, at=BEGUN - 96 * H, grass=surface.grass)
    return replace(found, sowings=(sowing,), jobs=found.jobs[:1], wanted=(), morning=None)


def opened(url: str) -> Store:
    found = ground()
    return Store.open(url, found.site.key, found.site.place)


def answer(provider: str, now: datetime) -> RawForecast:
    """What a service is said to have sent; it holds nothing but what shows that it is whole."""
    raw = f"{provider} {now.isoformat()}\n".encode() * 400
    return RawForecast(raw=raw, url="", fetched_at=now)


def sky(number: int, now: datetime) -> Fetched:
    """Weather of pass `number`: a storm in two of three, stronger and later from pass to pass."""
    storm = {0: 0.0, 1: 6.0 + number % 5, 2: 12.0}[number % 3]
    hours = weather(
        now.replace(minute=0, second=0, microsecond=0) - 72 * H, 24 * 8, rain_mm={90 + number % 7: storm}
    )
    return Fetched(
        forecast=replace(forecast(hours, now), provider=PLAIN),
        ensemble=None,
        answers={name: answer(name, now) for name in (PLAIN, ENSEMBLE)},
        stale=False,
        age_h=0.0,
        faults=(),
    )


class Clock:
    """Stands until it is moved: by the rounds that were made, so that no lease runs out on a slow machine."""

    now = BEGUN

    def __call__(self) -> datetime:
        return self.now


def work(url: str, folder: Path, tell: Tell, *, rounds: int | None = None) -> None:
    """Make the pass of whoever was killed; then write down work, make a pass, send what is due: for ever, or so many
    times.
    """
    os.environ["PGAPPNAME"] = session(os.getpid())
    outputs = [
        Lines(folder / "mail", "mail", False, tell),
        Lines(folder / "hook", "hook", True, tell),
    ]
    messages.outputs_of = lambda _: (outputs, [])  # type: ignore[assignment]
    found, clock = ground(), Clock()
    store = opened(url)
    number = len(store.entries(with_withdrawn=True))
    if number:
        # Whoever made that pass may have been killed more than once, each time with a claim of its own.
        append(folder / f"after-{number}", str(os.getpid()))
        clock.now = BEGUN + (number - 1) * H + len(lines(folder / f"after-{number}")) * FREED
    # Begun as after a restart: with what is stored, under the clock of then.
    runner = PassRunner(found, store, ReportCache(clock), clock)
    if number:
        one_pass.fetched_now = lambda *_, now: sky(number - 1, now)  # type: ignore[misc]
        made(runner)
        tell(STEP)
    done = 0
    while rounds is None or done < rounds:
        # The clock runs an hour a round, so that warnings pass as well.
        clock.now = BEGUN + number * H
        if rounds is None:
            stored = record_work.add(
                {
                    "job": "mow",
                    "kind": "other",
                    "counts_as": "nothing",
                    "surface": "green",
                    "finished": clock.now.isoformat(),
                    "started": clock.now.isoformat(),
                },
                found,
                store,
                clock.now,
            )
            append(folder / "entries", stored.uuid)
            tell(STEP)
        one_pass.fetched_now = lambda *_, now, number=number: sky(number, now)  # type: ignore[misc]
        made(runner)
        tell(ROUND)
        number += 1
        done += 1
    store.close()


def made(runner: PassRunner) -> None:
    """A pass, unless it was made; a fault, which a service notes and outlives, ends this run."""
    runner.run()
    if runner.last_fault is not None or runner.failed_pulls:
        raise RuntimeError(f"a pass failed: {runner.last_fault}")


def torn(store: Store) -> bool:
    """Whether the newest pass is not whole, or its warnings are not those that stand, or its forecast is not kept."""
    parts = {part.name: part for part in store.parts()}
    if not parts:
        return bool(store.warnings()) or bool(store.outbox_counts())
    if not set(parts) >= PARTS:
        return True
    report = decode_report(parts["report"].body)
    shown = {row.id for row in report.warnings}
    standing = {one.id for one in store.warnings() if one.state != "over"}
    pulled_at = datetime.fromisoformat(json.loads(parts[LAST_PULL].body)["at"])
    kept = store.last_forecast(PLAIN, report.forecast.fetched_at)
    return (
        abs(report.made_at - parts["report"].made_at) > timedelta(milliseconds=1)
        or shown != standing
        or pulled_at != report.made_at
        or kept is None
        or kept.fetched_at != report.forecast.fetched_at
    )


def broken_forecasts(store: Store) -> int:
    """How many kept forecasts are not as they came."""
    return sum(
        one.raw != answer(name, one.fetched_at).raw
        for name in (PLAIN, ENSEMBLE)
        for one in store.forecasts(name, BEGUN - H, BEGUN + 9999 * H)
    )


def messages_without_warning(store: Store) -> int:
    """How many messages are of no warning that is kept, or of a change that it has not come to."""
    asked = text(
        "select count(*) from outbox left join warnings on warnings.id = outbox.warning_id "
        "where warnings.id is null or warnings.change < outbox.change"
    )
    with store._reading() as connection:
        return int(connection.execute(asked).scalar_one())


def main(url: str, folder: Path, kills: int, seed: int) -> dict[str, int]:
    opened(url).close()
    count: Counter[str] = Counter()
    # The weather turns every three rounds.
    need = {ROUND: 2, SENT: 1}
    for pid, by_us in killed(kills, seed, lambda tell: work(url, folder, tell), need=need, rounds=3):
        wait_for_the_server(url, pid)
        count["killed"] += by_us
        store = opened(url)
        count["torn"] += torn(store)
        count["messages without their warning"] += messages_without_warning(store)
        there = {entry.uuid for entry in store.entries()}
        count["entries lost"] += len(set(lines(folder / "entries")) - there)
        store.close()
    work(url, folder, untold, rounds=1)
    store = opened(url)
    count["forecasts broken"] = broken_forecasts(store)
    with store._reading() as connection:
        left = text("select count(*) from claims where done is null")
        count["passes never made"] = int(connection.execute(left).scalar_one())
    mail, hook = Counter(lines(folder / "mail")), Counter(lines(folder / "hook"))
    count["mailed twice"] = sum(times - 1 for times in mail.values())
    states = Counter()
    for one in store.outbox_counts():
        states[f"{one.output} {one.state}"] = one.messages
    count["mail sent but not written"] = max(0, states["mail sent"] - len(mail))
    count["hook sent but not written"] = max(0, states["hook sent"] - len(hook))
    count["given up"] = states["mail given up"] + states["hook given up"]
    count["left over"] = sum(
        states[f"{name} {state}"] for name in ("mail", "hook") for state in ("due", "sending")
    )
    count["entries"] = len(store.entries())
    count["warnings"] = len(store.warnings())
    count["mailed"] = len(mail)
    count["mail unsure"] = states["mail unsure"]
    store.close()
    return dict(count)


if __name__ == "__main__":
    result = main(sys.argv[1], Path(sys.argv[2]), int(sys.argv[3]), int(sys.argv[4]))
    sys.stdout.write(json.dumps(result))
