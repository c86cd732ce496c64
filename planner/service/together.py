"""Work that many ask for at once: done by one at a time, and once more for all who asked meanwhile."""

from __future__ import annotations

import threading
from collections.abc import Callable


class Together:
    """Calls the work; may be asked from any thread."""

    def __init__(self, work: Callable[[], object], name: str) -> None:
        self._work = work
        self._name = name
        self._lock = threading.Lock()
        self._is_wanted = self._is_running = False

    def now(self) -> None:
        """The work, here. Where it is being done already: once more after that, and this returns at once.

        Raises what the work raises; who asked meanwhile is then served by the next who asks.
        """
        if self._begin():
            self._until_none_asks()

    def soon(self) -> None:
        """The same in a thread of its own, which no stop of the service waits for."""
        if self._begin():
            threading.Thread(target=self._until_none_asks, name=self._name, daemon=True).start()

    def _begin(self) -> bool:
        """Whether it is ours to do."""
        with self._lock:
            self._is_wanted = True
            is_ours = not self._is_running
            self._is_running = True
            return is_ours

    def _until_none_asks(self) -> None:
        try:
            while self._take():
                self._work()
        except BaseException:
            with self._lock:
                self._is_running = False
            raise

    def _take(self) -> bool:
        with self._lock:
            asked, self._is_wanted = self._is_wanted, False
            self._is_running = asked
            return asked
