"""Passes made by the service: when one is due, once at a time, the last good report kept when one fails."""

from __future__ import annotations

import logging
import threading
import time
from collections.abc import Callable
from datetime import datetime
from itertools import count

from msgspec.structs import replace

from planner.actions.one_pass import Passed, again, run
from planner.actions.stored import stored_pass
from planner.config.load import Config
from planner.config.watched import Watched
from planner.errors import OtherSchema, PlannerError
from planner.reports.rows import SCHEMA, Report
from planner.reports.workings import Workings
from planner.service.cache import ReportCache
from planner.service.pauses import give_back
from planner.service.together import Together
from planner.store.records import AlreadyKept
from planner.store.store import Store
from planner.terms import place_of

log = logging.getLogger("planner.passes")
#: A pass that takes longer than asking may, and this, is taken for dead: another process may make it.
_COMPUTING_S = 60.0
#: Where another process makes the pass, or nothing can be shown yet, it is looked at again after this long; while
#: asking fails the time doubles, up to the interval.
AGAIN_S = 30.0
#: The part of a pass that holds what the calendar drew last.
_CALENDAR = "calendar"


class PassRunner:
    """Makes passes and puts their reports into the cache."""

    def __init__(
        self,
        config: Config,
        store: Store,
        cache: ReportCache,
        clock: Callable[[], datetime],
        ticks: Callable[[], float] = time.monotonic,
        is_ours: Callable[[], bool] = lambda: True,
    ) -> None:
        """`is_ours`: whether this instance works for the site. One that does not shows the passes of the others."""
        self._is_ours = is_ours
        self._watched = Watched(config)
        self._known = config
        self._noted_fault: str | None = None
        self._store = store
        self._showing = threading.Lock()
        #: Passes by the order in which they are begun; a clock may be set back between two of them.
        self._begins = count(1)
        self._shown_begun = 0
        #: When the pass that is shown was made, where another process or an earlier run made it.
        self._loaded_at: datetime | None = None
        self._renewals = Together(self._renew, "a pass after a diary entry")
        self._cache = cache
        self._clock = clock
        self._ticks = ticks
        self._changes = 0
        self._number: int | None = None
        self._tried_at: float | None = None
        self._wait_s = 0.0
        self._logged: str | None = None
        self.last_fault: str | None = None
        self.failed_pulls = 0
        """How many pulls running got no forecast."""
        self.last_good: datetime | None = None
        self._shown: tuple[Report, Workings] | None = None
        cache.explain_by(lambda: self.last_fault)
        try:
            self._load_stored(config)
        except Exception as error:
            # The next pass replaces what is stored.
            self._failed(error)

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
        """How many messages of each output stand where: due, sent, unsure, given up. StoreError where it is away."""
        counts: dict[str, dict[str, int]] = {}
        for one in self.store.outbox_counts():
            counts.setdefault(one.output, {})[one.state] = one.messages
        return counts

    def kept_calendar(self) -> bytes | None:
        """What an earlier run kept of the calendar; None where the store is away."""
        try:
            return self.store.newest_part(_CALENDAR)
        except PlannerError as error:
            log.warning("the calendar begins anew: %s", error)
            return None

    def keep_calendar(self, kept: bytes) -> None:
        """Keeps the calendar with the newest pass. A store that fails now costs a number, and no pass."""
        try:
            self.store.keep_part(_CALENDAR, kept)
        except PlannerError as error:
            log.warning("the calendar is not kept: %s", error)

    @property
    def config_fault(self) -> str | None:
        """What is wrong with a changed config that was not taken up."""
        return self._watched.fault

    @property
    def is_due(self) -> bool:
        """Whether it is time for a pass: an interval since the last one by the clock, or by one that nobody sets."""
        every_s = self.config.forecast.every_minutes * 60
        if self.last_good is None or (self._tried_at is not None and self._since_tried_s() >= every_s):
            return True
        # A clock set back makes the newest pass one of the future; that is no reason to wait for it.
        return not 0 <= (self._clock() - self.last_good).total_seconds() < every_s

    @property
    def may_try(self) -> bool:
        """Whether the site is ours to work for, and it is not too soon after one that failed or that another makes."""
        if not self._is_ours():
            return False
        return self._tried_at is None or self._since_tried_s() >= self._wait_s

    def _since_tried_s(self) -> float:
        return 0.0 if self._tried_at is None else self._ticks() - self._tried_at

    def run(self) -> None:
        """One pass, unless another process makes it. A fault goes to the log and to health, and is not raised."""
        self._run(self.config, "")

    def look(self) -> None:
        """Look for a changed config: work with a good change at once, note a fault at once. And for a pass made
        elsewhere: show it. A fault goes to the log and to health, and is not raised.
        """
        try:
            self._look()
        except Exception as error:
            self._failed(error)

    def _look(self) -> None:
        config, noted = self.config, self._noted_fault
        self._noted_fault = self._watched.fault
        if config is not self._known and not self._is_ours():
            # Who works for the site makes the pass.
            self._known = config
            self._drop_other_place(config)
        elif config is not self._known:
            # Numbered, since two changes may fall into one second.
            self._changes += 1
            self._run(config, f"-changed-{self._clock().timestamp():.6f}-{self._changes}")
            return
        newest = self.store.newest_pass()
        if newest is not None and newest.number != self._number:
            self._number = newest.number
            self._load_stored(config)
        if self._noted_fault != noted:
            # Held, so that a pass that lands meanwhile is shown after this and not before it.
            with self._showing:
                if self._shown is not None:
                    report, workings = self._shown
                    self._put(with_fault(report, noted, self._noted_fault), workings)

    def renew(self) -> None:
        """A pass from the kept forecast, asking nobody: for when the diary has changed.

        One at a time. Who asks while one is made returns at once, and it is made once more for all of them.
        """
        self._renewals.now()

    def _renew(self) -> None:
        config, begun = self.config, next(self._begins)
        passed = again(config, self._store_of(config), now=self._clock(), extra_faults=self._config_faults())
        if passed is not None:
            self._take(passed, begun, config)
        del passed
        give_back()

    def _config_faults(self) -> tuple[str, ...]:
        self._noted_fault = self._watched.fault
        return (self._noted_fault,) if self._noted_fault else ()

    def _run(self, config: Config, mark: str) -> None:
        self._known = config
        self._tried_at = self._ticks()
        try:
            self._drop_other_place(config)
            self._claim_and_run(config, mark)
        except Exception as error:
            # Nothing that goes wrong in a pass may end the service, or the passes after it.
            self.failed_pulls += 1
            every_s = config.forecast.every_minutes * 60
            again_s = AGAIN_S * 2.0 ** min(self.failed_pulls, 20)
            self._wait_s = every_s if self._shown is not None else min(every_s, again_s)
            self._failed(error)

    def _claim_and_run(self, config: Config, mark: str) -> None:
        now, store, begun = self._clock(), self._store_of(config), next(self._begins)

        def begins() -> datetime:
            # Anew, once the forecast is here: what was begun while it was asked for knows less.
            nonlocal begun
            begun = next(self._begins)
            return self._clock()

        slot = _claimed(config, store, now, mark)
        if slot is None:
            self._load_stored(config)
            self._wait_s = AGAIN_S
            return
        try:
            faults = self._config_faults()
            passed = run(config, store, now=now, clock=begins, extra_faults=faults, once=slot)
        except AlreadyKept:
            # It took so long that another was let at the slot, and was faster.
            self._load_stored(config)
            return
        except BaseException:
            # Else nobody could try again before the claim has run out.
            store.release("pass", slot)
            raise
        store.finish("pass", slot, self._clock())
        self._wait_s = 0.0
        self.failed_pulls = self.failed_pulls + 1 if passed.is_pull_failed else 0
        self._note("; ".join(passed.faults) or None)
        self._take(passed, begun, config)
        del passed
        give_back()

    def _failed(self, error: Exception) -> None:
        if isinstance(error, PlannerError):
            self._note(str(error))
            return
        says = f"A fault of our own ended it: {type(error).__name__}: {error}"
        if says != self._logged:
            log.error("a pass failed", exc_info=error)
        self.last_fault = self._logged = says

    def _note(self, fault: str | None) -> None:
        """Keeps the fault for health; one that has changed goes to the log, once."""
        if fault is not None and fault != self._logged:
            log.warning("a pass found: %s", fault)
        elif fault is None and self._logged is not None:
            log.warning("a pass found nothing wrong any more")
        self.last_fault = self._logged = fault

    def _take(self, passed: Passed, begun: int, config: Config) -> None:
        """Shows a pass, unless one that was begun after it is shown or kept: that one knows more of the diary."""
        if passed.is_overtaken:
            self._load_stored(config)
            return
        with self._showing:
            if not _is_of(passed.report, self.config) or begun < self._shown_begun:
                return
            loaded_at = self._loaded_at
            if loaded_at is not None and passed.report.made_at < loaded_at <= self._clock():
                return
            self._shown_begun, self._loaded_at = begun, None
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
            self._loaded_at = found[0].made_at


def _claimed(config: Config, store: Store, now: datetime, mark: str) -> str | None:
    """The slot of this pass, now ours; None where it is another's, or is made."""
    every_s = config.forecast.every_minutes * 60
    lease_s = config.forecast.budget_s + _COMPUTING_S
    hour = int(now.timestamp() // every_s)
    # With the place and the schema: a pass of another one is of no use here, and bars none.
    slot = f"{hour} {store.place} {SCHEMA}{mark}"
    if store.claim("pass", slot, lease_s, now):
        return slot
    newest = store.newest_pass()
    if newest is None or not store.is_finished("pass", slot):
        return None
    if int(newest.made_at.timestamp() // every_s) == hour:
        return None
    # Made in this hour before the clock was set back to it: this is another one.
    later = f"{slot} after {newest.number}"
    return later if store.claim("pass", later, lease_s, now) else None


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
