"""The pass runs at its time, one at a time, in UTC."""

from __future__ import annotations

import asyncio
import threading
from datetime import timedelta

import pytest
from apscheduler.events import EVENT_JOB_MAX_INSTANCES

from planner.errors import InputError
from planner.service.passes import MISFIRE_GRACE_S, PASS_ID, make_scheduler


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
    ended: list[int] = []
    released = threading.Event()

    def run_once() -> None:
        seen.append(threading.get_ident())
        assert len(seen) == len(ended) + 1, "two passes at a time"
        assert released.wait(60), "the loop stood still while the pass ran"
        ended.append(len(seen))

    async def main() -> None:
        scheduler = make_scheduler(run_once, 1 / 60, jitter_s=0)
        refused = asyncio.Event()
        scheduler.add_listener(lambda _: refused.set(), EVENT_JOB_MAX_INSTANCES)
        scheduler.start()
        async with asyncio.timeout(60):
            # The first pass goes on until the time of the next has come, which is not begun beside it.
            await refused.wait()
            assert len(seen) == 1
            released.set()
            while len(ended) < 2:
                await asyncio.sleep(0.02)
        scheduler.shutdown()
        await asyncio.sleep(0)

    asyncio.run(main())
    assert ended == list(range(1, len(seen) + 1))
    assert threading.get_ident() not in seen


@pytest.mark.parametrize("wrong", [0, -5])
def test_an_interval_that_cannot_be_is_refused(wrong: float) -> None:
    with pytest.raises(InputError, match="above 0"):
        make_scheduler(lambda: None, wrong)
