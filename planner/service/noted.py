"""Work that the service does again and again: a fault in it is told once in the log, and the work goes on."""

from __future__ import annotations

import logging
from types import TracebackType

from planner.errors import PlannerError

log = logging.getLogger("planner.service")


class Noted:
    """As `with noted:` around such work. The same fault is not told again before it has gone."""

    def __init__(self, work: str) -> None:
        """`work` as it is read after `failed`: `a look at the messages`."""
        self._work = work
        self._told: str | None = None

    @property
    def is_faulty(self) -> bool:
        """Whether the work failed when it was done last."""
        return self._told is not None

    def __enter__(self) -> Noted:
        return self

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
    ) -> bool:
        if error is None:
            self._told = None
            return False
        if not isinstance(error, Exception):
            # A stop is no fault.
            return False
        says = f"{type(error).__name__}: {error}"
        if says != self._told:
            if isinstance(error, PlannerError):
                log.warning("%s failed: %s", self._work, error)
            else:
                log.error("%s failed", self._work, exc_info=error)
        self._told = says
        return True
