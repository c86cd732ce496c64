"""Passes made by the service: on a schedule, once at a time, the last good answers kept when one fails."""

from __future__ import annotations

import json
import logging
from collections.abc import Callable, Mapping
from datetime import datetime, timedelta
from typing import Any

from planner.answers import JSON, encode, render
from planner.config.load import Config
from planner.config.watch import Watched
from planner.cycle import Passed, again, run
from planner.errors import PlannerError
from planner.headline import cut
from planner.service.shelf import Shelf
from planner.store import Store

Answers = Mapping[str, tuple[str, bytes]]
#: When the pass was made, when its forecast counts as stale, and its answers.
Laid = tuple[datetime, datetime, Answers]

log = logging.getLogger("planner.passes")
#: A pass that takes longer than this is taken for dead, and another process may make it.
_LEASE_S = 600.0


class Passes:
    """Makes passes and lays their answers on the shelf."""

    def __init__(self, config: Config, store: Store, shelf: Shelf, clock: Callable[[], datetime]) -> None:
        self._watched = Watched(config)
        self._known = config
        self._told_fault: str | None = None
        self._store = store
        self._shelf = shelf
        self._clock = clock
        self.last_fault: str | None = None
        self.last_good: datetime | None = None
        self._laid: Laid | None = None
        self._load_stored()

    @property
    def config(self) -> Config:
        """The config in force."""
        return self._watched.current()

    def messages(self) -> dict[str, dict[str, int]]:
        """How many messages of each output stand where: due, sent, unsure, given up."""
        counts: dict[str, dict[str, int]] = {}
        for one in self._store.outbox_counts():
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
        """One pass, unless another process makes it. A fault is told in the log and in health, not raised."""
        self._run(self.config, "")

    def look(self) -> None:
        """Look whether the config has changed: a good change is worked with at once, a fault told at once."""
        config, told = self.config, self._told_fault
        self._told_fault = self._watched.fault
        if config is not self._known:
            self._run(config, f"-changed-{self._clock().timestamp():.0f}")
        elif self._told_fault != told and self._laid is not None:
            self._put(*noted(self._laid, told, self._told_fault))

    def renew(self) -> None:
        """A pass from the kept forecast, asking nobody: for when the diary has changed."""
        config = self.config
        self._told_fault = self._watched.fault
        extra = (self._told_fault,) if self._told_fault else ()
        passed = again(config, self._store, now=self._clock(), extra_faults=extra)
        if passed is not None:
            self._lay(passed)

    def _run(self, config: Config, mark: str) -> None:
        self._known = config
        now = self._clock()
        every_s = config.forecast.every_minutes * 60
        slot = f"{int(now.timestamp() // every_s)}{mark}"
        if not self._store.claim("pass", slot, _LEASE_S, now):
            self._load_stored()
            return
        self._told_fault = self._watched.fault
        extra = (self._told_fault,) if self._told_fault else ()
        try:
            passed = run(config, self._store, now=now, extra_faults=extra)
        except PlannerError as error:
            self.last_fault = str(error)
            log.warning("pass failed: %s", error)
            return
        self._store.finish("pass", slot, self._clock())
        self.last_fault = "; ".join(passed.faults) or None
        self._lay(passed)

    def _lay(self, passed: Passed) -> None:
        briefing = passed.briefing
        self.last_good = briefing.made_at
        self._put(briefing.made_at, briefing.stale_at, passed.answers)

    def _put(self, made_at: datetime, stale_at: datetime, answers: Answers) -> None:
        self._laid = (made_at, stale_at, answers)
        self._shelf.put(made_at, stale_at, answers)

    def _load_stored(self) -> None:
        """Take up the newest stored pass, made by an earlier run or by another process."""
        made_at = self._store.last_pass_at()
        if made_at is None or (self.last_good is not None and made_at <= self.last_good):
            return
        answers = {
            row.name: (row.content_type, row.body)
            for row in self._store.answers_like("")
            if row.made_at == made_at
        }
        if "now" not in answers:
            return
        self.last_good = made_at
        self._put(made_at, _stale_at(answers["now"][1]), answers)


def noted(laid: Laid, old: str | None, new: str | None) -> Laid:
    """The answers with one note of the head taken off and another put on."""
    made_at, stale_at, answers = laid
    told = {}
    for name, (kind, body) in answers.items():
        found: Any = json.loads(body) if kind == JSON else None
        if isinstance(found, dict) and "forecast" in found:
            notes = [note for note in found["forecast"]["notes"] if note != old]
            found["forecast"]["notes"] = [*notes, new] if new else notes
            body = encode(found)
        elif name == "now":
            found["fault"] = _fault(found["fault"], old, new)
            body = encode(found)
        told[name] = (kind, body)
    return made_at, stale_at, told


def _fault(told: str | None, old: str | None, new: str | None) -> str | None:
    """The fault of the flat object without the old one and with the new one."""
    rest = (told or "").replace(cut(old), "").strip("; ") if old else told
    return cut("; ".join(part for part in (new, rest) if part)) or None


def _stale_at(body: bytes) -> datetime:
    flat: dict[str, Any] = json.loads(body)
    return datetime.fromisoformat(flat["stale_at"])


def demo_shelf(config: Config, shelf: Shelf, briefing: Any) -> None:
    """Lay a briefing of the shipped forecast on the shelf."""
    shelf.put(briefing.made_at, briefing.stale_at, render(briefing))
