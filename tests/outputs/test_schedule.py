"""The pass runs at its time, one at a time, in UTC."""

from __future__ import annotations

import asyncio
import threading
from datetime import timedelta

import pytest

from planner.errors import InputError
from planner.schedule import MISFIRE_GRACE_S, PASS_ID, make_scheduler


def test_the_settings_are_those_that_keep_a_pass_single() -> None:
    (job,) = make_scheduler(lambda: None, 60).get_jobs()
    assert job.id == PASS_ID
    assert (job.coalesce, job.max_instances, job.misfire_grace_time) == (True, 1, MISFIRE_GRACE_S)
    assert job.trigger.interval == timedelta(hours=1)
    assert str(job.trigger.timezone) == "UTC"
    assert job.trigger.jitter == 60


def test_jitter_never_eats_the_interval() -> None:
    (job,) = make_scheduler(lambda: None, 1, jitter_s=600).get_jobs()
    assert job.trigger.jitter == 15


def test_a_pass_that_blocks_runs_beside_the_loop_and_never_twice() -> None:
    seen: list[int] = []
    running = threading.Semaphore(1)

    def run_once() -> None:
        assert running.acquire(blocking=False)
        seen.append(threading.get_ident())
        running.release()

    async def main() -> None:
        scheduler = make_scheduler(run_once, 1 / 60, jitter_s=0)
        scheduler.start()
        await asyncio.sleep(2.3)
        scheduler.shutdown()

    asyncio.run(main())
    assert len(seen) == 2
    assert threading.get_ident() not in seen


@pytest.mark.parametrize("wrong", [0, -5])
def test_an_interval_that_cannot_be_is_refused(wrong: float) -> None:
    with pytest.raises(InputError, match="above 0"):
        make_scheduler(lambda: None, wrong)
