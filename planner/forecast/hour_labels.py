"""A service's hour labels as seconds since 1970 UTC, and end-of-hour values on the hour's own row."""

from __future__ import annotations

from calendar import timegm
from datetime import datetime
from typing import Any

import numpy as np

from planner.errors import ForecastMalformed
from planner.weather import HOUR_S, Array

#: 1850-01-01 and 2200-01-01: what lies outside is not weather.
FIRST_LABEL_S, LAST_LABEL_S = -3_786_825_600, 7_258_118_400

Labels = np.ndarray[Any, np.dtype[np.int64]]


def epoch_labels(times: Any, *, declared: str, utc_offset_s: Any, who: str) -> Labels:
    """Labels in seconds since 1970 UTC from a list of Unix times or of local times without a zone.

    One offset holds for the whole list, as the service labels it, clock changes or not. An offset that is not
    of whole hours is refused: such lists carry each value up to 45 minutes from its true hour.
    """
    if not isinstance(times, list) or not times:
        raise ForecastMalformed(f"The answer of {who} has no list of times.")
    if not isinstance(utc_offset_s, int) or isinstance(utc_offset_s, bool):
        raise ForecastMalformed(
            f"The answer of {who} gives the offset from UTC as {utc_offset_s!r}: seconds were expected."
        )
    if utc_offset_s % HOUR_S:
        raise ForecastMalformed(
            f"The answer of {who} is in a zone {utc_offset_s / HOUR_S:+g} h from UTC. In zones that are "
            "not whole hours "
            "away the service labels each value up to 45 minutes from its true hour: ask with timezone=GMT."
        )
    if declared == "unixtime":
        if not all(isinstance(moment, int) and not isinstance(moment, bool) for moment in times):
            raise ForecastMalformed(
                f"The times of {who} are declared unixtime but are not all whole numbers."
            )
        return _credible(np.asarray(times, dtype=np.int64), who)
    if declared == "iso8601":
        local = np.asarray([_iso_s(text, who) for text in times], dtype=np.int64)
        return _credible(local - utc_offset_s, who)
    raise ForecastMalformed(f'The times of {who} are declared "{declared}"; known are unixtime and iso8601.')


def _credible(labels: Labels, who: str) -> Labels:
    outside = labels[(labels < FIRST_LABEL_S) | (labels > LAST_LABEL_S)]
    if outside.size:
        raise ForecastMalformed(
            f"A time of {who} is {int(outside[0])} s from 1970, which is not between 1850 and 2200: "
            "whole seconds were expected."
        )
    return labels


def _iso_s(text: Any, who: str) -> int:
    try:
        moment = datetime.fromisoformat(text)
    except (TypeError, ValueError):
        raise ForecastMalformed(f"A time of {who} is {text!r}: YYYY-MM-DDTHH:MM was expected.") from None
    if moment.tzinfo is not None:
        raise ForecastMalformed(
            f"A time of {who} is {text!r}: it has a zone, and the list has an offset of its own."
        )
    return timegm(moment.timetuple())


def from_hour_end(values: Array, labels: Labels) -> Array:
    """Values labelled at the END of their hour, laid on the row of that hour; shape (..., hours) kept.

    The row labelled t takes the value labelled one hour later; where that label is not listed, it is unknown.
    """
    shifted = np.full(values.shape, np.nan)
    follows = np.flatnonzero(np.diff(labels) == HOUR_S)
    shifted[..., follows] = values[..., follows + 1]
    return shifted
