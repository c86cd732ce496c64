"""Moments as the store keeps them: seconds since 1970 in UTC, because SQLite drops the offset of a time."""

from __future__ import annotations

from datetime import UTC, datetime

from planner.errors import InputError
from planner.site import require_aware

DAY_S = 86400
#: Years 1900 to 2999. Near the ends of the calendar a moment can be written that cannot be read back.
_FIRST_S = -2_208_988_800.0
_LAST_S = 32_503_680_000.0


def epoch_s(moment: datetime, what: str) -> float:
    """Seconds since 1970-01-01 UTC; a moment without a zone is refused."""
    seconds = require_aware(moment, what).timestamp()
    if not _FIRST_S <= seconds < _LAST_S:
        raise InputError(f"{what} is {moment.isoformat()}; a moment from 1900 to 2999 is wanted.")
    return seconds


def maybe_epoch_s(moment: datetime | None, what: str) -> float | None:
    """The same, where the moment may be unknown."""
    return None if moment is None else epoch_s(moment, what)


def moment(seconds: float) -> datetime:
    """The aware moment, in UTC."""
    return datetime.fromtimestamp(seconds, UTC)


def maybe_moment(seconds: float | None) -> datetime | None:
    """The same, where the moment may be unknown."""
    return None if seconds is None else moment(seconds)
