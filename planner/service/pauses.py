"""What a pass is not to cost those who are answered beside it: pauses, and memory that is held after it."""

from __future__ import annotations

import ctypes
import gc
import sys
from functools import cache

#: A pass gives way to who waits for an answer after this long, a tenth of what Python does by itself. [s]
_GIVES_WAY_S = 0.0005
#: The number of M_ARENA_MAX in glibc's malloc.h.
_ARENA_MAX = -8


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
