"""A stored answer as it reads at a later moment: older, perhaps stale, its past windows gone."""

from __future__ import annotations

from datetime import date, datetime, timedelta
from typing import Any


def as_of(answer: dict[str, Any], now: datetime) -> dict[str, Any]:
    """The answer with its age told for `now`; what is over by then is left out. The answer itself is changed."""
    forecast = answer["forecast"]
    age_h = (now - _time(forecast["issued_at"])) / timedelta(hours=1)
    forecast["age_h"] = round(max(0.0, age_h), 2)
    forecast["stale"] = bool(forecast["stale"] or now >= _time(forecast["stale_at"]))
    if "windows" in answer:
        answer["windows"] = [row for row in answer["windows"] if _time(row["latest_start"]) >= now]
    if "warnings" in answer:
        answer["warnings"] = [
            row for row in answer["warnings"] if row["ends"] is None or _time(row["ends"]) > now
        ]
        for row in answer["warnings"]:
            row["lead_h"] = round((_time(row["begins"]) - now) / timedelta(hours=1), 1)
    return answer


def now_as_of(flat: dict[str, Any], now: datetime) -> dict[str, Any]:
    """The flat object for dashboards as it reads at `now`."""
    age_h = (now - _time(flat["issued_at"])) / timedelta(hours=1)
    flat["forecast_age_h"] = round(max(0.0, age_h), 2)
    flat["stale"] = bool(flat["stale"] or now >= _time(flat["stale_at"]))
    return flat


def only(
    answer: dict[str, Any], *, job: str | None = None, surface: str | None = None, day: date | None = None
) -> dict[str, Any]:
    """Windows and barred jobs of one job or kind, surface or local day."""

    def wanted(row: dict[str, Any]) -> bool:
        return (job is None or job in (row["job"], row["kind"])) and (
            surface is None or row["surface"] == surface
        )

    answer["windows"] = [
        row
        for row in answer["windows"]
        if wanted(row)
        and (day is None or _time(row["start"]).date() <= day <= _time(row["latest_start"]).date())
    ]
    answer["barred"] = [row for row in answer["barred"] if wanted(row)]
    return answer


def _time(text: str) -> datetime:
    return datetime.fromisoformat(text)
