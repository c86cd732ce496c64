"""What is over leaves a stored answer, and whatever leaves is said to have left: nothing drops out in silence."""

from __future__ import annotations

from datetime import datetime
from typing import Any


def windows_as_of(answer: dict[str, Any], now: datetime) -> None:
    """Windows whose last start has passed go; a job left without one is listed with the reason, and a barred
    job's next window is one still to come."""
    pairs = {_pair(row): row for row in reversed(answer["windows"])}
    answer["windows"] = [row for row in answer["windows"] if _time(row["latest_start"]) >= now]
    ahead: dict[tuple[str, str], str] = {}
    for row in answer["windows"]:
        first = ahead.setdefault(_pair(row), row["start"])
        ahead[_pair(row)] = min(first, row["start"], key=_time)
    kept = []
    for row in answer["barred"]:
        told = row["next_window"]
        if told is not None and _time(told) <= now:
            start = ahead.get(_pair(row))
            if start is not None and _time(start) <= now:
                # Its window has come: it is barred no more.
                continue
            row = _without(row) if start is None else {**row, "next_window": start}
        kept.append(row)
    listed = {_pair(row) for row in kept}
    gone = [row for pair, row in pairs.items() if pair not in ahead and pair not in listed]
    answer["barred"] = kept + [_without(row) for row in gone]


def week_as_of(answer: dict[str, Any], now: datetime) -> None:
    """Work whose hour has passed is listed as without one, since nobody here knows whether it was done."""
    past = [row for row in answer["work"] if _time(row["end"]) <= now]
    answer["work"] = [row for row in answer["work"] if _time(row["end"]) > now]
    if "planned" in answer:
        answer["planned"] = [row for row in answer["planned"] if _time(row["end"]) > now]
    if not past:
        return
    answer["left"] = [*(_passed(row) for row in past), *answer["left"]]
    ahead, whole = len(answer["work"]), len(answer["work"]) + len(answer["left"])
    answer["says"] = (
        f"{ahead} of {whole} jobs have their hour still to come; the hour of {len(past)} has passed since "
        "this was laid out."
    )


def _passed(row: dict[str, Any]) -> dict[str, Any]:
    start, end = _time(row["start"]), _time(row["end"])
    return {
        "job": row["job"],
        "label": row["label"],
        "surface": row["surface"],
        "says": (
            f"its hour, {start:%a %H:%M}-{end:%H:%M}, has passed: write it down if it is done; the next pass "
            "lays the week out anew"
        ),
        "because": row["because"],
    }


def _without(row: dict[str, Any]) -> dict[str, Any]:
    """A job whose windows in this answer have all passed."""
    return {
        **{key: row[key] for key in ("job", "label", "kind", "surface")},
        "next_window": None,
        "because": {
            "need": None,
            "says": "Its windows in this answer have passed; the next pass looks for others.",
            "hours_lost": 0,
            "also": [],
        },
        "hours_unread": 0,
    }


def _pair(row: dict[str, Any]) -> tuple[str, str]:
    return row["job"], row["surface"]


def _time(text: str) -> datetime:
    return datetime.fromisoformat(text)
