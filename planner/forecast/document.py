"""Reading JSON answers without trusting them."""

from __future__ import annotations

import json
from collections.abc import Mapping
from math import isfinite

import numpy as np

from planner.errors import ForecastMalformed
from planner.weather import Array


def load(raw: bytes, *, who: str) -> object:
    """The JSON document in the bytes; ForecastMalformed, saying what they look like, when there is none."""
    try:
        return json.loads(raw, parse_int=_whole)
    except (ValueError, RecursionError) as fault:
        raise ForecastMalformed(
            f"The answer of {who} is not whole JSON ({fault}); {looks_like(raw)}. "
            "It is cut short or not from the service: ask again."
        ) from None


def _whole(digits: str) -> int | float:
    # No reading has nineteen digits; as a float it is out of every range instead of out of the array.
    return int(digits) if len(digits) < 19 else float(digits)


def looks_like(raw: bytes) -> str:
    """A few words on what the bytes are, for a fault message."""
    if not raw.strip():
        return "it is empty"
    text = raw[:60].decode("utf-8", errors="replace").strip().replace("\n", " ")
    if text.startswith("<"):
        return f'it is a web page that begins "{text}"'
    tail = raw[-60:].decode("utf-8", errors="replace").strip().replace("\n", " ")
    return f'it has {len(raw)} bytes and ends "{tail}"'


def table(document: object, key: str, *, who: str) -> Mapping[str, object]:
    """The object under `key`; ForecastMalformed when it is absent or of another shape."""
    if not isinstance(document, Mapping):
        raise ForecastMalformed(
            f"The answer of {who} is a {type(document).__name__}, not an object. Ask for one location as "
            "JSON."
        )
    found = document.get(key)
    if not isinstance(found, Mapping):
        keys = ", ".join(map(str, document)) or "none"
        raise ForecastMalformed(f'The answer of {who} has no object "{key}". Its keys: {keys}.')
    return found


def numbers(values: object, *, length: int, where: str) -> Array:
    """A list of numbers and nulls as an array of shape (length,); null is NaN, -0.0 is 0.0."""
    if not isinstance(values, list):
        raise ForecastMalformed(f"{where} is a {type(values).__name__}, not a list.")
    if len(values) != length:
        raise ForecastMalformed(
            f"{where} has {len(values)} values for {length} hours: the answer is cut short."
        )
    for index, value in enumerate(values):
        if value is not None and (isinstance(value, bool) or not isinstance(value, (int, float))):
            raise ForecastMalformed(
                f"{where}, value {index + 1}, is {value!r}: a number or null was expected."
            )
    return np.asarray([np.nan if value is None else value for value in values], dtype=np.float64) + 0.0


def number(value: object) -> float | None:
    """A finite number, also one that is written as text; None for anything else."""
    try:
        found = float(value)  # type: ignore[arg-type]
    except (TypeError, ValueError, OverflowError):
        return None
    return found if isfinite(found) else None


#: Longest reason that is quoted: some services send back what they were asked.
_LONGEST_REASON = 300


def reason_of(document: object) -> str | None:
    """The reason in an error body, word for word; None when the document is no error body.

    Services write it as `reason` beside `error`, or as `detail` (RFC 9457, and the web frameworks).
    """
    if not isinstance(document, Mapping):
        return None
    if document.get("error") is True:
        return str(document.get("reason", "no reason given"))[:_LONGEST_REASON]
    told = [str(document[key]) for key in ("title", "detail") if document.get(key)]
    return ": ".join(told)[:_LONGEST_REASON] if "detail" in document and told else None
