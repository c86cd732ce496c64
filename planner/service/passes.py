"""Passes made by the service: on a schedule, once at a time, the last good report kept when one fails."""

from __future__ import annotations

import logging
import threading
from collections.abc import Awaitable, Callable
from datetime import UTC, datetime, timedelta

from apscheduler.schedulers.asyncio import AsyncIOScheduler  # type: ignore[import-untyped]
from apscheduler.triggers.interval import IntervalTrigger  # type: ignore[import-untyped]
from msgspec.structs import replace

from planner.actions.one_pass import Passed, again, run
from planner.actions.stored import stored_pass
from planner.config.load import Config, Watched
from planner.errors import InputError, OtherSchema, PlannerError
from planner.reports.rows import SCHEMA, Report
from planner.reports.workings import Workings
from planner.service.cache import ReportCache
from planner.store.store import Store
from planner.terms import place_of

log = logging.getLogger("planner.passes")
#: A pass that takes longer than this is taken for dead, and another process may make it.
_LEASE_S = 600.0


class PassRunner:
    """Makes passes and puts their reports into the cache."""

    def __init__(
        self, config: Config, store: Store, cache: ReportCache, clock: Callable[[], datetime]
    ) -> None:
        self._watched = Watched(config)
        self._known = config
        self._noted_fault: str | None = None
        self._store = store
        self._showing = threading.Lock()
        self._cache = cache
        self._clock = clock
        self.last_fault: str | None = None
        self.last_good: datetime | None = None
        self._shown: tuple[Report, Workings] | None = None
        self._load_stored(config)

    @property
    def config(self) -> Config:
        """The config in force."""
        return self._watched.current()

    @property
    def store(self) -> Store:
        """The store, bound to the site and place of the config in force."""
        return self._store_of(self.config)

    def _store_of(self, config: Config) -> Store:
        return self._store.bound_to(config.site.key, config.site.place)

    def messages(self) -> dict[str, dict[str, int]]:
        """How many messages of each output stand where: due, sent, unsure, given up."""
        counts: dict[str, dict[str, int]] = {}
        for one in self.store.outbox_counts():
            counts.setdefault(one.output, {})[one.state] = one.messages
        return counts

    @property
    def config_fault(self) -> str | None:
        """What is wrong with a changed config that was not taken up."""
        return self._watched.fault

    @property
    def is_due(self) -> bool:
        """Whether the newest pass is older than the interval."""
        every = timedelta(minutes=self.config.forecast.every_minutes)
        return self.last_good is None or self._clock() - self.last_good >= every

    def run(self) -> None:
        """One pass, unless another process makes it. A fault goes to the log and to health, and is not raised."""
        self._run(self.config, "")

    def look(self) -> None:
        """Look whether the config has changed: work with a good change at once, note a fault at once."""
        config, noted = self.config, self._noted_fault
        self._noted_fault = self._watched.fault
        if config is not self._known:
            self._run(config, f"-changed-{self._clock().timestamp():.0f}")
        elif self._noted_fault != noted:
            # Held, so that a pass that lands meanwhile is shown after this and not before it.
            with self._showing:
                if self._shown is not None:
                    report, workings = self._shown
                    self._put(with_fault(report, noted, self._noted_fault), workings)

    def renew(self) -> None:
        """A pass from the kept forecast, asking nobody: for when the diary has changed."""
        config = self.config
        passed = again(config, self._store_of(config), now=self._clock(), extra_faults=self._config_faults())
        if passed is not None:
            self._take(passed)

    def _config_faults(self) -> tuple[str, ...]:
        self._noted_fault = self._watched.fault
        return (self._noted_fault,) if self._noted_fault else ()

    def _run(self, config: Config, mark: str) -> None:
        self._known = config
        self._drop_other_place(config)
        now, store = self._clock(), self._store_of(config)
        every_s = config.forecast.every_minutes * 60
        # With the place and the schema: a pass of another one is of no use here, and bars none.
        slot = f"{int(now.timestamp() // every_s)} {store.place} {SCHEMA}{mark}"
        if not store.claim("pass", slot, _LEASE_S, now):
            self._load_stored(config)
            return
        try:
            passed = run(config, store, now=now, extra_faults=self._config_faults())
        except PlannerError as error:
            self.last_fault = str(error)
            log.warning("pass failed: %s", error)
            return
        store.finish("pass", slot, self._clock())
        self.last_fault = "; ".join(passed.faults) or None
        self._take(passed)

    def _take(self, passed: Passed) -> None:
        with self._showing:
            if not _is_of(passed.report, self.config):
                return
            self.last_good = passed.report.made_at
            self._put(passed.report, passed.workings)

    def _drop_other_place(self, config: Config) -> None:
        """A site that has moved shows nothing until there is a report of where it is."""
        with self._showing:
            if self._shown is not None and not _is_of(self._shown[0], config):
                self._shown = self.last_good = None
                self._cache.clear()

    def _put(self, report: Report, workings: Workings) -> None:
        self._shown = (report, workings)
        self._cache.put(report, workings)

    def _load_stored(self, config: Config) -> None:
        """Take up the newest stored pass, made by an earlier run or by another process."""
        try:
            found = stored_pass(self._store_of(config))
        except OtherSchema as error:
            log.info("%s", error)
            return
        with self._showing:
            if found is None or (self.last_good is not None and found[0].made_at <= self.last_good):
                return
            self.last_good = found[0].made_at
            self._put(*found)


def _is_of(report: Report, config: Config) -> bool:
    """Whether it is a report of that site at its place."""
    place = place_of(report.place.latitude_deg, report.place.longitude_deg, report.site.timezone)
    return (report.site.key, place) == (config.site.key, config.site.place)


def with_fault(report: Report, old: str | None, new: str | None) -> Report:
    """The report with one note and fault taken off and another put on."""
    notes = [note for note in report.forecast.notes if note != old]
    added = [new] if new else []
    return replace(
        report,
        forecast=replace(report.forecast, notes=(*notes, *added)),
        faults=(*added, *(fault for fault in report.faults if fault != old)),
    )


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
