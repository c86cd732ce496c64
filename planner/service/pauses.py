"""Keeps short the pauses in which nobody is answered, while a pass is made beside the answering."""

from __future__ import annotations

import gc
import sys
from functools import cache

#: A pass gives way to who waits for an answer after this long, a tenth of what Python does by itself. [s]
_GIVES_WAY_S = 0.0005


def give_way() -> None:
    """From now on a pass gives way often."""
    sys.setswitchinterval(_GIVES_WAY_S)


@cache
def set_aside() -> None:
    """Sets aside what is loaded for good, once: else it is gone through again and again, with a stop of some 100 ms,
    in the midst of passes.
    """
    gc.collect()
    gc.freeze()
