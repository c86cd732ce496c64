"""What the service does on its own, again and again. The only room that knows the scheduler."""

from __future__ import annotations

import asyncio
import logging
from collections.abc import AsyncIterator, Awaitable, Callable, Iterable
from contextlib import asynccontextmanager
from datetime import UTC, datetime, timedelta

from apscheduler.schedulers.asyncio import AsyncIOScheduler  # type: ignore[import-untyped]
from apscheduler.triggers.interval import IntervalTrigger  # type: ignore[import-untyped]

Work = Callable[[], Awaitable[object]]


@asynccontextmanager
async def scheduled(works: Iterable[Work], every_s: float) -> AsyncIterator[AsyncIOScheduler]:
    """Calls each work at once and then every so many seconds, never twice at a time, while it is open."""
    # A pass may take longer than the interval: that the next call waits is meant, and no news.
    logging.getLogger("apscheduler").setLevel(logging.ERROR)
    scheduler = AsyncIOScheduler(timezone=UTC)
    for number, work in enumerate(works):
        scheduler.add_job(
            work,
            IntervalTrigger(seconds=every_s, timezone=UTC),
            id=f"{number}",
            coalesce=True,
            max_instances=1,
            misfire_grace_time=None,
            next_run_time=datetime.now(UTC),
        )
    scheduler.start()
    watch = asyncio.create_task(_follow_clock(scheduler, every_s))
    try:
        yield scheduler
    finally:
        watch.cancel()
        # That a stop finds some work of many sites on its way is no news either.
        logging.getLogger("apscheduler").setLevel(logging.CRITICAL)
        scheduler.shutdown(wait=False)


async def _follow_clock(scheduler: AsyncIOScheduler, every_s: float) -> None:
    """The scheduler waits by the wall clock; set back a day, it would be silent for a day. This sleeps by one that
    nobody sets, and calls what has been put off."""
    while True:
        await asyncio.sleep(every_s)
        now = datetime.now(UTC)
        for job in scheduler.get_jobs():
            if job.next_run_time - now > timedelta(seconds=2 * every_s):
                job.modify(next_run_time=now)
