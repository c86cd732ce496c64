"""Moments as the store keeps them: seconds since 1970 in UTC, because SQLite drops the offset of a time."""

from __future__ import annotations

from datetime import UTC, datetime

from planner.site import require_aware

DAY_S = 86400


def epoch_s(moment: datetime, what: str) -> float:
    """Seconds since 1970-01-01 UTC; a moment without a zone is refused."""
    return require_aware(moment, what).timestamp()


def maybe_epoch_s(moment: datetime | None, what: str) -> float | None:
    """The same, where the moment may be unknown."""
    return None if moment is None else epoch_s(moment, what)


def moment(seconds: float) -> datetime:
    """The aware moment, in UTC."""
    return datetime.fromtimestamp(seconds, UTC)


def maybe_moment(seconds: float | None) -> datetime | None:
    """The same, where the moment may be unknown."""
    return None if seconds is None else moment(seconds)
