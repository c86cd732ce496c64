"""Kills a working process by its progress, never by the clock, so that a slow machine is as good as a fast one.

A worker is forked, so that a kill costs milliseconds and not the start of a Python. It tells every step through
a pipe: each statement, commit and return of a connection by itself, the rest where its work calls `tell`. The
parent counts what it is told, kills at a place chosen beforehand, and kills at once while the worker runs on:
the last step was told before or after a write, and which of the two is left to chance.
"""

from __future__ import annotations

import os
import random
import select
import signal
import traceback
from collections.abc import Callable, Iterator, Mapping

from sqlalchemy import Engine, event
from sqlalchemy.pool import Pool

#: What a worker tells: a step, a message gone out, a whole round of its work.
STEP, SENT, ROUND = "s", "m", "r"
#: Ends the run when a worker hangs; nothing waits so long otherwise.
PATIENCE_S = 120.0

Tell = Callable[[str], object]


def untold(_: str) -> None:
    """For work that nobody is to kill."""


class Worker:
    """A forked process at work until it is killed."""

    def __init__(self, work: Callable[[Tell], object]) -> None:
        self._pipe, telling = os.pipe()
        self.pid = os.fork()
        if self.pid == 0:
            os.close(self._pipe)
            try:
                tell = _teller(telling)
                _watch(tell)
                work(tell)
            except BaseException:
                traceback.print_exc()
            finally:
                os._exit(9)
        os.close(telling)
        self.told = ""

    def run_until(self, enough: Callable[[str], bool]) -> None:
        """Lets it work on until what it told is enough."""
        while not enough(self.told):
            if not select.select([self._pipe], [], [], PATIENCE_S)[0]:
                raise RuntimeError(f"the worker told nothing for {PATIENCE_S:.0f} s after {self.told}")
            more = os.read(self._pipe, 4096)
            if not more:
                raise RuntimeError(f"the worker ended by itself after {self.told}")
            self.told += more.decode()

    def kill(self) -> bool:
        """kill -9; whether that is what ended it."""
        os.kill(self.pid, signal.SIGKILL)
        _, status = os.waitpid(self.pid, 0)
        os.close(self._pipe)
        return os.WIFSIGNALED(status)


def killed(
    kills: int, seed: int, work: Callable[[Tell], object], *, need: Mapping[str, int], rounds: int
) -> Iterator[tuple[int, bool]]:
    """Lets so many workers live one after another; the process id of each, and whether the kill ended it.

    Every other one, the first among them, dies only after it has told all of `need`, at least two whole rounds;
    the kills are spread evenly over the steps of so many `rounds` after that. Every fourth lives on to the next
    message that goes out and dies over it, where most is at stake. The others die on the way to the end of
    their first round, spread evenly from the first moment on.
    """
    chance = random.Random(seed)
    late, early = _places((kills + 1) // 2, chance), _places(kills // 2, chance)
    first = 0
    for number in range(kills):
        worker = Worker(work)
        if number % 2 == 0:
            worker.run_until(lambda told: all(told.count(what) >= many for what, many in need.items()))
            first, whole = worker.told.index(ROUND) + 1, worker.told.rindex(ROUND) + 1
            a_round = (whole - first) / (worker.told.count(ROUND) - 1)
            last = max(len(worker.told), whole + round(late.pop() * rounds * a_round))
        else:
            last = round(early.pop() * first)
        worker.run_until(lambda told, last=last: len(told) >= last)  # type: ignore[misc]
        if number % 4 == 0:
            worker.run_until(lambda told, last=last: SENT in told[last:])  # type: ignore[misc]
        yield worker.pid, worker.kill()


def _places(many: int, chance: random.Random) -> list[float]:
    """Places from 0 to 1, one in each of so many equal parts, in any order."""
    places = [(part + chance.random()) / many for part in range(many)]
    chance.shuffle(places)
    return places


def _teller(pipe: int) -> Tell:
    def tell(what: str) -> None:
        os.write(pipe, what.encode())

    return tell


def _watch(tell: Tell) -> None:
    def step(*_: object) -> None:
        tell(STEP)

    event.listen(Engine, "before_cursor_execute", step)
    event.listen(Engine, "commit", step)
    event.listen(Pool, "checkin", step)
