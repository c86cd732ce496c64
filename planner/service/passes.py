"""Passes made by the service: when one is due, once at a time, the last good report kept when one fails."""

from __future__ import annotations

import logging
import threading
import time
from collections.abc import Callable
from datetime import datetime, timedelta

from msgspec.structs import replace

from planner.actions.one_pass import Passed, again, run
from planner.actions.stored import stored_pass
from planner.config.load import Config
from planner.config.watched import Watched
from planner.errors import OtherSchema, PlannerError
from planner.reports.rows import SCHEMA, Report
from planner.reports.workings import Workings
from planner.service.cache import ReportCache
from planner.service.noted import Noted
from planner.service.pauses import give_back
from planner.service.together import Together
from planner.store.passes import PASS
from planner.store.records import AlreadyKept
from planner.store.store import Store
from planner.terms import place_of

log = logging.getLogger("planner.passes")
#: A pass that takes longer than asking may, and this, is taken for dead: another process may make it.
_COMPUTING_S = 60.0
#: Where another process makes the pass, or nothing can be shown yet, it is looked at again after this long; while
#: asking fails the time doubles, up to the interval.
AGAIN_S = 30.0
#: How often at most a renewal is made anew where another pass was kept while it was made.
_MADE_ANEW = 3
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
        self._noted_fault: str | None = None
        self._store = store
        self._showing = threading.Lock()
        self._renewals = Together(self._renew, "a pass after a diary entry")
        self._cache = cache
        self._clock = clock
        self._ticks = ticks
        self._changes = 0
        self._changing = threading.Lock()
        #: A change of the config that no pass is made for yet: its mark, and when it was found.
        self._change: tuple[str, datetime] | None = None
        #: The number of the pass that is shown, and of the newest that was looked at: by number and not by time, since
        #: the clocks of two machines differ, and one may be set back.
        self._number = self._looked_at = 0
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
        """The config in force. Reads no file: that is for `look`."""
        return self._watched.last

    @property
    def _of_site(self) -> str:
        """Whose a line of the log is, where one log has those of several."""
        site = self.config.site
        return f" of {site.name}" if site.has_own_key else ""

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

    @property
    def is_ours(self) -> bool:
        """Whether this instance works for the site now."""
        return self._is_ours()

    @property
    def has_changed(self) -> bool:
        """Whether a changed config waits for its pass, and the site is ours to make it."""
        return self._change is not None and self._is_ours()

    def kept_calendar(self) -> bytes | None:
        """What was kept of the calendar last, by whoever worked for the site; None where the store is away."""
        try:
            return self.store.newest_part(_CALENDAR)
        except PlannerError as error:
            log.warning("the calendar%s begins anew: %s", self._of_site, error)
            return None

    def keep_calendar(self, kept: bytes) -> None:
        """Keeps the calendar with the newest pass. A store that fails now costs a number, and no pass."""
        try:
            self.store.keep_part(_CALENDAR, kept)
        except PlannerError as error:
            log.warning("the calendar%s is not kept: %s", self._of_site, error)

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
        with self._changing:
            change, self._change = self._change, None
        self._run(self.config, "" if change is None else change[0])

    def look(self) -> None:
        """Look for a changed config: a good change asks for a pass at once (`has_changed`), a fault is noted at once.
        And for a pass made elsewhere: show it. A fault goes to the log and to health, and is not raised.
        """
        try:
            self._look()
        except Exception as error:
            self._failed(error)

    def _look(self) -> None:
        known, noted = self.config, self._noted_fault
        config = self._watched.current()
        self._noted_fault = self._watched.fault
        if config is not known:
            # Numbered, since two changes may fall into one second. Kept where the site is another's: who works for it
            # makes the pass, unless it ends before.
            self._changes += 1
            now = self._clock()
            with self._changing:
                self._change = f"-changed-{now.timestamp():.6f}-{self._changes}", now
            self._drop_other_place(config)
            if self._is_ours():
                return
        newest = self.store.newest_pass()
        if newest is not None and newest.number > self._looked_at:
            self._looked_at = newest.number
            if newest.number > self._number:
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
        for _ in range(_MADE_ANEW):
            config = self.config
            # Where the site is another's, that one sends.
            passed = again(
                config,
                self._store_of(config),
                now=self._clock(),
                extra_faults=self._config_faults(),
                sends=self._is_ours(),
            )
            if passed is None:
                break
            self._take(passed, config)
            # Whether the other one was truly begun later only the clocks say, and theirs may be wrong: what is made
            # from now on knows all that both knew.
            if not passed.is_overtaken:
                break
        passed = None
        give_back()

    def _config_faults(self) -> tuple[str, ...]:
        self._noted_fault = self._watched.fault
        return (self._noted_fault,) if self._noted_fault else ()

    def _run(self, config: Config, mark: str) -> None:
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
        now, store = self._clock(), self._store_of(config)
        slot = _claimed(config, store, now, mark)
        if slot is None:
            self._load_stored(config)
            self._wait_s = AGAIN_S
            return
        try:
            faults = self._config_faults()
            passed = run(config, store, now=now, clock=self._clock, extra_faults=faults, once=slot)
        except AlreadyKept:
            # It took so long that another was let at the slot, and was faster.
            self._load_stored(config)
            return
        except BaseException:
            # Else nobody could try again before the claim has run out.
            store.release(PASS, slot)
            raise
        self._wait_s = 0.0
        self.failed_pulls = self.failed_pulls + 1 if passed.is_pull_failed else 0
        self._note("; ".join(passed.faults) or None)
        self._take(passed, config)
        is_overtaken = passed.is_overtaken
        del passed
        give_back()
        if is_overtaken:
            # As a renewal is: the forecast is kept, and by now the newest.
            with Noted("a pass after one that was overtaken"):
                self.renew()

    def _failed(self, error: Exception) -> None:
        if isinstance(error, PlannerError):
            self._note(str(error))
            return
        says = f"A fault of our own ended it: {type(error).__name__}: {error}"
        if says != self._logged:
            log.error("a pass%s failed", self._of_site, exc_info=error)
        self.last_fault = self._logged = says

    def _note(self, fault: str | None) -> None:
        """Keeps the fault for health; one that has changed goes to the log, once."""
        if fault is not None and fault != self._logged:
            log.warning("a pass%s found: %s", self._of_site, fault)
        elif fault is None and self._logged is not None:
            log.warning("a pass%s found nothing wrong any more", self._of_site)
        self.last_fault = self._logged = fault

    def _take(self, passed: Passed, config: Config) -> None:
        """Shows a pass, unless one that was kept after it is shown, or it was not kept for another that was: that one
        knows more of the diary.
        """
        if passed.number is None:
            self._load_stored(config)
            return
        with self._showing:
            if _is_of(passed.report, self.config) and passed.number > self._number:
                self._number = passed.number
                self.last_good = passed.report.made_at
                self._put(passed.report, passed.workings)

    def _drop_other_place(self, config: Config) -> None:
        """A site that has moved shows nothing until there is a report of where it is."""
        with self._showing:
            if self._shown is not None and not _is_of(self._shown[0], config):
                self._shown = self.last_good = None
                self._number = self._looked_at = 0
                self._cache.clear()

    def _put(self, report: Report, workings: Workings) -> None:
        self._shown = (report, workings)
        self._cache.put(report, workings)

    def _load_stored(self, config: Config) -> None:
        """Take up the newest stored pass, made by an earlier run or by another process."""
        store = self._store_of(config)
        newest = store.newest_pass()
        try:
            found = stored_pass(store)
        except OtherSchema as error:
            log.info("%s", error)
            return
        with self._showing:
            if newest is None or found is None or newest.number <= self._number:
                return
            # What is loaded may be newer still; the next look then finds it.
            self._number = newest.number
            self.last_good = found[0].made_at
            self._put(*found)
        if not self._is_ours():
            # Who works for the site by now tells what is wrong, in the pass that is shown.
            self.failed_pulls = 0
            self._note(None)
            self._drop_change(found[0].made_at)

    def _drop_change(self, made_at: datetime) -> None:
        """A change of the config is worked with by a pass made so long after it that it can have been begun with no
        other.
        """
        begun_by = timedelta(seconds=self.config.forecast.budget_s + _COMPUTING_S)
        with self._changing:
            if self._change is not None and made_at > self._change[1] + begun_by:
                self._change = None


def _claimed(config: Config, store: Store, now: datetime, mark: str) -> str | None:
    """The slot of this pass, now ours; None where it is another's, or is made."""
    every_s = config.forecast.every_minutes * 60
    lease_s = config.forecast.budget_s + _COMPUTING_S
    hour = int(now.timestamp() // every_s)
    # With the place and the schema: a pass of another one is of no use here, and bars none.
    slot = f"{hour} {store.place} {SCHEMA}{mark}"
    if store.claim(PASS, slot, lease_s, now):
        return slot
    newest = store.newest_pass()
    if newest is None or not store.is_finished(PASS, slot):
        return None
    if int(newest.made_at.timestamp() // every_s) == hour:
        return None
    # Made in this hour before the clock was set back to it: this is another one.
    later = f"{slot} after {newest.number}"
    return later if store.claim(PASS, later, lease_s, now) else None


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
