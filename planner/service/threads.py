"""Threads of their own for what may wait long: a weather service or a mail server that hangs holds up neither the
leases nor what is answered, both of which else share a few threads with it.
"""

from __future__ import annotations

import asyncio
from collections.abc import Callable
from concurrent.futures import ThreadPoolExecutor
from typing import TypeVar

_Found = TypeVar("_Found")


class Threads:
    """So many for one sort of work, of however many sites; what is more waits its turn."""

    def __init__(self, name: str, most: int) -> None:
        self._pool = ThreadPoolExecutor(most, thread_name_prefix=name)

    async def do(self, work: Callable[..., _Found], *given: object) -> _Found:
        """The work in one of them. One that is cancelled before its turn has come is not done."""
        return await asyncio.get_running_loop().run_in_executor(self._pool, work, *given)

    def close(self) -> None:
        """Takes no more work, and waits for none."""
        self._pool.shutdown(wait=False, cancel_futures=True)


#: Each waits for a weather service for as long as `budget_s`, and then computes: more at once make none of them faster.
PASSES = Threads("pass", 6)
#: Looks at files and the store, and what they find to show.
LOOKS = Threads("look", 2)
SENDS = Threads("send", 4)
