"""Ways to spoil what is read: a JSON document, a text of lines, bytes.

Drawn by hypothesis, so that what is found is made small and told again.
"""

from __future__ import annotations

import copy
import json
import resource
import sys
import time
from collections.abc import Iterator
from contextlib import contextmanager
from typing import Any

from hypothesis import strategies as st

#: Nothing that is read may take longer or hold more, whatever it is. Files here are of some 60 kB.
LONGEST_S, MOST_BYTES = 5.0, 200_000_000

_FIGURES = st.one_of(
    st.none(),
    st.booleans(),
    st.integers(),
    st.sampled_from(
        [0, -1, 1e308, -3276.8, 10**400, 2**63, 1e-320, float("nan"), float("inf"), -float("inf")]
    ),
    st.floats(),
)
_WORDS = st.one_of(
    st.text(max_size=12),
    st.sampled_from(
        [
            "",
            "NaN",
            "null",
            "\x00",
            "2026-04-01T06:00",
            "9999-12-31T23:59:59Z",
            "0001-01-01T00:00+14:00",
            "9" * 5000,
        ]
    ),
)
_SHAPES = st.sampled_from([[], {}, [[]], [{}], [None] * 300, {"values": 3}, {"": {}}, [[1, 2], [3]]])
ANYTHING = st.one_of(_FIGURES, _WORDS, _SHAPES)


def _parts(document: Any) -> list[tuple[Any, Any]]:
    """Every place of the document that holds something: the container and the key."""
    found: list[tuple[Any, Any]] = []
    waiting = [document]
    while waiting:
        part = waiting.pop()
        for key, value in list(part.items() if isinstance(part, dict) else enumerate(part)):
            found.append((part, key))
            if isinstance(value, (dict, list)):
                waiting.append(value)
    return found


@st.composite
def spoilt_json(draw: st.DrawFn, whole: Any) -> bytes:
    """A document with one to three places changed, taken away, doubled or swapped; now and then cut short."""
    document = copy.deepcopy(whole)
    for _ in range(draw(st.integers(1, 3))):
        parts = _parts(document)
        if not parts:
            break
        # Near the root as often as among the figures, which are nearly all.
        low = parts[: min(len(parts), 40)]
        holder, key = draw(st.sampled_from(low) if draw(st.booleans()) else st.sampled_from(parts))
        how = draw(st.sampled_from(["put", "drop", "double", "swap", "figures"]))
        if how == "put":
            holder[key] = draw(ANYTHING)
        elif how == "drop":
            del holder[key]
        elif how == "double" and isinstance(holder[key], list):
            holder[key] = holder[key] * draw(st.sampled_from([2, 3, 50]))
        elif how == "swap":
            other, there = draw(st.sampled_from(low))
            holder[key], other[there] = copy.deepcopy(other[there]), copy.deepcopy(holder[key])
        elif isinstance(holder[key], list):
            holder[key] = [draw(_FIGURES)] * len(holder[key])
    body = json.dumps(document).encode()
    return draw(spoilt_bytes(body)) if draw(st.integers(0, 4)) == 0 else body


@st.composite
def spoilt_bytes(draw: st.DrawFn, whole: bytes) -> bytes:
    """Bytes cut short, with a piece put in, taken out or written over."""
    at = draw(st.integers(0, len(whole)))
    piece = draw(
        st.binary(max_size=12)
        | st.sampled_from([b"[" * 3000, b"{", b'"', b"\xff\xfe", b"1e999", b"-", b"\n\n"])
    )
    how = draw(st.sampled_from(["cut", "put in", "take out", "write over"]))
    if how == "cut":
        return whole[:at]
    length = draw(st.integers(1, 60)) if how != "put in" else 0
    return whole[:at] + (piece if how != "take out" else b"") + whole[at + length :]


@st.composite
def spoilt_lines(draw: st.DrawFn, whole: str, cell: str) -> str:
    """Lines left out, doubled or swapped, and what stands between `cell` and the end of a line written anew."""
    lines = whole.splitlines()
    for _ in range(draw(st.integers(1, 3))):
        at = draw(st.integers(0, len(lines) - 1))
        how = draw(st.sampled_from(["drop", "double", "swap", "cell", "cell", "put in"]))
        if how == "drop" and len(lines) > 1:
            del lines[at]
        elif how == "double":
            lines.insert(draw(st.integers(0, len(lines))), lines[at])
        elif how == "swap":
            other = draw(st.integers(0, len(lines) - 1))
            lines[at], lines[other] = lines[other], lines[at]
        elif how == "cell":
            before, mark, _ = lines[at].rpartition(cell)
            lines[at] = before + mark + str(draw(ANYTHING))
        else:
            lines.insert(at, draw(_WORDS))
    return "\n".join(lines) + "\n"


@contextmanager
def bounded() -> Iterator[None]:
    """What runs in it takes neither long nor much memory: the peak of the process does not rise far."""
    peak, begun = _peak_bytes(), time.monotonic()
    yield
    assert time.monotonic() - begun < LONGEST_S
    assert _peak_bytes() - peak < MOST_BYTES


def _peak_bytes() -> int:
    # Linux tells it in kilobytes, macOS in bytes.
    return resource.getrusage(resource.RUSAGE_SELF).ru_maxrss * (1 if sys.platform == "darwin" else 1024)
