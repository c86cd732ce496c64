"""A pass gives back what it no longer needs, and gives way to who waits."""

from __future__ import annotations

import subprocess
import sys

from tests.made import ROOT

_PASSES = """
import gc, os, sys, threading
from planner.service.pauses import give_back, give_way, making, set_aside

give_way()
assert sys.getswitchinterval() < 0.001
with making():
    with making():
        pass
    assert gc.get_freeze_count() == 0, "another pass is being made"
frozen = gc.get_freeze_count()
assert frozen > 1000
set_aside()
assert gc.get_freeze_count() == frozen, "once is enough"


class Holds:
    def __init__(self):
        self.itself, self.much = self, bytearray(40_000_000)


def held_mb():
    with open("/proc/self/statm") as read:
        return int(read.read().split()[1]) * os.sysconf("SC_PAGE_SIZE") / 1e6


gc.disable()
before = held_mb()
workers = [threading.Thread(target=Holds) for _ in range(5)]
for worker in workers:
    worker.start()
    worker.join()
give_back()
print(held_mb() - before)
"""


def test_what_passes_of_several_threads_held_is_given_back() -> None:
    if not sys.platform.startswith("linux"):
        return
    ran = subprocess.run(
        [sys.executable, "-c", _PASSES], cwd=ROOT, capture_output=True, text=True, check=False, timeout=60
    )
    assert ran.returncode == 0, ran.stderr
    assert float(ran.stdout) < 40
