"""What stands at the head of every answer: the site, and whose forecast it is and how old."""

from __future__ import annotations

from datetime import UTC, datetime
from typing import Any
from zoneinfo import ZoneInfo

from planner.briefing import Briefing


def utc(moment: datetime) -> str:
    """ISO 8601 in UTC with a Z."""
    return moment.astimezone(UTC).isoformat().replace("+00:00", "Z")


def local(moment: datetime, zone: ZoneInfo) -> str:
    """ISO 8601 on the site's clock with its offset."""
    return moment.astimezone(zone).isoformat()


def head(briefing: Briefing) -> dict[str, Any]:
    """The common part of all answers. Null where a provider or a file does not tell; `fetched_at` stands beside."""
    site, forecast, age_h = briefing.plan.ground.site, briefing.forecast, briefing.age_h
    return {
        "made_at": utc(briefing.made_at),
        "site": {"name": site.name, "timezone": site.timezone},
        "forecast": {
            "provider": forecast.provider,
            "issued_at": None if forecast.issued_at is None else utc(forecast.issued_at),
            "fetched_at": utc(forecast.fetched_at) if briefing.age_known else None,
            "age_h": None if age_h is None else round(age_h, 2),
            "stale": briefing.stale or briefing.made_at >= briefing.stale_at,
            "stale_at": utc(briefing.stale_at),
            "members": briefing.members,
            "until": utc(forecast.weather.end),
            "credit": forecast.credit,
            "credit_url": forecast.credit_url,
            "licence": forecast.licence,
            "notes": [
                *(one.says for one in briefing.not_read),
                *forecast.notes,
                *(str(flaw) for flaw in forecast.weather.flaws),
                *briefing.faults,
            ],
        },
    }


def known(value: float, digits: int = 2) -> float | None:
    """A rounded figure; None where it is unknown or not finite."""
    rounded = round(float(value), digits)
    return None if rounded != rounded or rounded in (float("inf"), float("-inf")) else rounded
