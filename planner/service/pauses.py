"""What a pass is not to cost those who are answered beside it: pauses, and memory that is held after it."""

from __future__ import annotations

import ctypes
import gc
import sys
import threading
from collections.abc import Iterator
from contextlib import contextmanager
from functools import cache

#: A pass gives way to who waits for an answer after this long, a tenth of what Python does by itself. [s]
_GIVES_WAY_S = 0.0005
#: The number of M_ARENA_MAX in glibc's malloc.h.
_ARENA_MAX = -8
_counting = threading.Lock()
_made_now = 0


def give_way() -> None:
    """Before the service starts: from now on a pass gives way often, and all threads share their memory. Else each that
    has made a pass keeps what the largest one needed.
    """
    sys.setswitchinterval(_GIVES_WAY_S)
    _ask_libc("mallopt", _ARENA_MAX, 1)


@cache
def set_aside() -> None:
    """Sets aside what is loaded for good, once: else it is gone through again and again, with a stop of some 100 ms,
    in the midst of passes.
    """
    gc.collect()
    gc.freeze()


@contextmanager
def making() -> Iterator[None]:
    """Around a pass. When the first that are made at once have ended, all that a pass loads is loaded and set aside:
    not while another is made, whose own would then be kept for good.
    """
    global _made_now
    with _counting:
        _made_now += 1
    try:
        yield
    finally:
        with _counting:
            _made_now -= 1
            if not _made_now:
                set_aside()


def give_back() -> None:
    """Gives the memory that a pass no longer needs back to the machine."""
    gc.collect()
    _ask_libc("malloc_trim", 0)


def _ask_libc(name: str, *what: int) -> None:
    """Asks the C library, where it is one that can do that."""
    try:
        asked = getattr(ctypes.CDLL(None), name, None)
    except (OSError, TypeError):
        return
    if asked is not None:
        asked(*what)
