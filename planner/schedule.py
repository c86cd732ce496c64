"""When a pass is made. The only room that knows the scheduler."""

from __future__ import annotations

from collections.abc import Awaitable, Callable
from datetime import UTC

from apscheduler.schedulers.asyncio import AsyncIOScheduler  # type: ignore[import-untyped]
from apscheduler.triggers.interval import IntervalTrigger  # type: ignore[import-untyped]

from planner.errors import InputError

#: A pass missed by less than this (the machine slept) is made late; by more, the next one is soon enough.
MISFIRE_GRACE_S = 3600
PASS_ID = "pass"


def make_scheduler(
    run_once: Callable[[], object] | Callable[[], Awaitable[object]], every_minutes: float, jitter_s: int = 60
) -> AsyncIOScheduler:
    """A scheduler, not yet started, that calls run_once at an interval, in UTC, never twice at a time.

    A plain function runs in the scheduler's own threads, so that it may block. Each time is put off by up to
    jitter_s seconds, either way, so that not every keeper asks the weather service at the full hour.
    """
    if every_minutes <= 0:
        raise InputError(f"A pass every {every_minutes} minutes cannot be. Write a number above 0.")
    seconds = max(1, round(every_minutes * 60))
    # A quarter at most, so that two passes never fall together.
    trigger = IntervalTrigger(seconds=seconds, timezone=UTC, jitter=min(jitter_s, seconds // 4) or None)
    scheduler = AsyncIOScheduler(timezone=UTC)
    scheduler.add_job(
        run_once,
        trigger,
        id=PASS_ID,
        coalesce=True,
        max_instances=1,
        misfire_grace_time=MISFIRE_GRACE_S,
    )
    return scheduler
