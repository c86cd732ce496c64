"""What the outside reads: a briefing rendered to answers, once a pass. A new answer is one function, one row."""

from __future__ import annotations

import csv
import io
import json
from collections.abc import Callable
from typing import Any

from planner.answers.due import due
from planner.answers.ground import ground
from planner.answers.now import now
from planner.answers.others import days, hours, warnings, workings
from planner.answers.ribbons import ribbons
from planner.answers.week import week
from planner.answers.windows import windows
from planner.briefing import Briefing

JSON = "application/json"
CSV = "text/csv; charset=utf-8"

#: Name -> the function that makes it from the briefing.
ANSWERS: dict[str, Callable[[Briefing], Any]] = {
    "days": days,
    "windows": windows,
    "warnings": warnings,
    "hours": hours,
    "now": now,
    "ribbons": ribbons,
    "ground": ground,
    "due": due,
    "week": week,
}


def render(briefing: Briefing) -> dict[str, tuple[str, bytes]]:
    """Every answer as (content type, bytes), the workings of each job and surface among them."""
    rendered = {name: (JSON, encode(make(briefing))) for name, make in ANSWERS.items()}
    rendered["hours.csv"] = (CSV, table(hours(briefing)))
    for judged in briefing.plan.judged:
        name = f"workings/{judged.job.name}/{judged.surface.name}"
        rendered[name] = (JSON, encode(workings(briefing, judged)))
    return rendered


def encode(value: Any) -> bytes:
    """Compact JSON; refuses NaN, which is not JSON."""
    return json.dumps(value, ensure_ascii=False, separators=(",", ":"), allow_nan=False).encode()


def table(rows: list[dict[str, Any]]) -> bytes:
    """Rows as CSV; an unknown figure is an empty cell."""
    out = io.StringIO()
    if rows:
        writer = csv.DictWriter(out, fieldnames=list(rows[0]), lineterminator="\n")
        writer.writeheader()
        writer.writerows(rows)
    return out.getvalue().encode()
