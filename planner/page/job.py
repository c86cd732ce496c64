"""One job: its windows on every surface, hour by hour with the cause, and what it asks of the weather."""

from __future__ import annotations

from datetime import timedelta
from typing import Any

from planner.explaining import when_words
from planner.page.frame import Answers, clock, write
from planner.page.ribbon import Scale
from planner.page.rows import blocks, cautions
from planner.page.times import figure

_DAYS = 8


def job(answers: Answers, name: str) -> bytes:
    """The page of a job, by its name in the rules. KeyError when there is no such job here."""
    now = clock(answers)
    today = now.now.date()
    found = blocks(answers, Scale.days(today, _DAYS, now.zone), name)
    if not found:
        raise KeyError(name)
    rows = []
    for number in range(_DAYS):
        date = today + timedelta(days=number)
        parts = blocks(answers, Scale.days(date, 1, now.zone), name)
        if any(part["drawn"] for part in parts):
            rows.append({"date": date.isoformat(), "blocks": parts})
    first = found[0]
    key = f"workings/{name}/{first['surfaces'][0]}"
    return write(
        "job.html.j2",
        answers,
        job=first["ribbon"],
        found=found,
        rows=rows,
        needs=[_need(row) for row in answers[key]["needs"]] if key in answers else [],
        needs_surface=first["surfaces"][0],
        cautions=cautions([first["ribbon"]]),
    )


def _need(row: dict[str, Any]) -> dict[str, Any]:
    """A need with its limits in words."""
    unit = row.get("unit") or ""

    def side(low: Any, high: Any) -> str:
        if low is None and high is None:
            return ""
        if unit == "0/1":
            return "no" if high == 0 else "yes"
        if low is None:
            return f"at most {figure(high, 2).rstrip('0').rstrip('.')}"
        if high is None:
            return f"at least {figure(low, 2).rstrip('0').rstrip('.')}"
        return f"{_short(low)} to {_short(high)}"

    return {
        "label": row["label"],
        "unit": "" if unit == "0/1" else unit,
        "when": when_words(row),
        "hard": side(row.get("hard_min"), row.get("hard_max")),
        "best": side(row.get("best_from"), row.get("best_to")),
        "source": row.get("source", ""),
        "guess": row.get("confidence") == "C",
        "label_limit": bool(row.get("from_label")),
        "optional": bool(row.get("optional")),
    }


def _short(value: float) -> str:
    return figure(value, 2).rstrip("0").rstrip(".") if value != 0 else "0"
