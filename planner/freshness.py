"""A stored answer as it reads at a later moment: older, perhaps stale, its past windows gone."""

from __future__ import annotations

from datetime import date, datetime, timedelta
from typing import Any
from zoneinfo import ZoneInfo

from planner.aged import week_as_of, windows_as_of
from planner.headline import cut, headline, pressing, summed_up


def as_of(answer: dict[str, Any], now: datetime) -> dict[str, Any]:
    """The answer with its age told for `now`; what is over is left out. The answer itself is changed."""
    forecast = answer["forecast"]
    since = forecast["issued_at"] or forecast["fetched_at"]
    if since is not None:
        forecast["age_h"] = round(max(0.0, (now - _time(since)) / timedelta(hours=1)), 2)
    forecast["stale"] = bool(forecast["stale"] or now >= _time(forecast["stale_at"]))
    if "windows" in answer:
        windows_as_of(answer, now)
    if "work" in answer:
        week_as_of(answer, now)
    if "warnings" in answer:
        answer["warnings"] = [
            row for row in answer["warnings"] if row["ends"] is None or _time(row["ends"]) > now
        ]
        for row in answer["warnings"]:
            row["lead_h"] = round((_time(row["begins"]) - now) / timedelta(hours=1), 1)
    return answer


def now_as_of(
    flat: dict[str, Any],
    now: datetime,
    windows: dict[str, Any] | None = None,
    warnings: dict[str, Any] | None = None,
    due: dict[str, Any] | None = None,
    week: dict[str, Any] | None = None,
) -> dict[str, Any]:
    """The flat object for dashboards as it reads at `now`; with the answers, what is over is replaced."""
    since = flat["issued_at"] or flat.get("fetched_at")
    if since is not None:
        flat["forecast_age_h"] = round(max(0.0, (now - _time(since)) / timedelta(hours=1)), 2)
    flat["stale"] = bool(flat["stale"] or now >= _time(flat["stale_at"]))
    if windows is None or warnings is None:
        return summed_up(flat, flat["warnings_count"], flat["warning"]) if "warnings_count" in flat else flat
    rows = [row for row in windows["windows"] if _time(row["latest_start"]) >= now]
    coming = [row for row in warnings["warnings"] if row["ends"] is None or _time(row["ends"]) > now]
    told = week or {}
    pairs = pressing((due or {"due": []})["due"], now, told.get("days", 7))
    zone, work = ZoneInfo(windows["site"]["timezone"]), told.get("work", [])
    _next_windows(flat, rows)
    _next_warnings(flat, coming, {row["kind"] for row in warnings.get("not_read", [])})
    flat["headline"] = cut(headline(rows, coming, now, zone, pairs, work, stale=flat["stale"]))
    return flat


def _next_windows(flat: dict[str, Any], rows: list[dict[str, Any]]) -> None:
    for kind in [key.removesuffix("_next_job") for key in flat if key.endswith("_next_job")]:
        found = [row for row in rows if row["kind"] == kind]
        first = min(found, key=lambda row: (_time(row["start"]), row["rank"]), default=None)
        flat[f"{kind}_next_job"] = None if first is None else first["job"]
        flat[f"{kind}_next_surface"] = None if first is None else first["surface"]
        flat[f"{kind}_next_start"] = None if first is None else first["start"]
        flat[f"{kind}_latest_start"] = None if first is None else first["latest_start"]
        flat[f"{kind}_state"] = None if first is None else first["state"]
        flat[f"{kind}_chance"] = None if first is None else first["chance"]
        flat[f"{kind}_reason"] = None if first is None else cut(first["limiting"]["says"])


def _next_warnings(flat: dict[str, Any], rows: list[dict[str, Any]], not_read: set[str]) -> None:
    for kind in [key.removesuffix("_warning") for key in flat if key.endswith("_warning")]:
        first = next((row for row in rows if row["kind"] == kind), None)
        flat[f"{kind}_warning"] = None if first is None and kind in not_read else first is not None
        flat[f"{kind}_level"] = None if first is None else first["level"]
        flat[f"{kind}_begins"] = None if first is None else first["begins"]
        flat[f"{kind}_says"] = None if first is None else cut(first["says"])
    summed_up(flat, len(rows), rows[0]["says"] if rows else None)


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
