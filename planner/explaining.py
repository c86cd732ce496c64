"""Why an hour is what it is, read from stored workings: nothing is computed again."""

from __future__ import annotations

from datetime import UTC, datetime
from types import SimpleNamespace
from typing import Any
from zoneinfo import ZoneInfo

from planner.errors import InputError
from planner.words import STATES, clause, held_against, roomier, sentence


def explain(workings: dict[str, Any], moment: datetime) -> dict[str, Any]:
    """Each need at that start hour: figure, limits, verdict and source, and what would have to change."""
    first = datetime.fromisoformat(workings["first_hour"])
    zone = ZoneInfo(workings["site"]["timezone"])
    count = len(workings["states"])
    index = int((moment.timestamp() - first.timestamp()) // 3600)
    if not 0 <= index < count:
        last = datetime.fromtimestamp(first.timestamp() + count * 3600, UTC)
        raise InputError(
            f"{moment.astimezone(zone):%Y-%m-%d %H:%M} lies outside the hours of this forecast, which run from "
            f"{first.astimezone(zone):%Y-%m-%d %H:%M} to {last.astimezone(zone):%Y-%m-%d %H:%M}. "
            "Ask for an hour within."
        )
    state = STATES[int(workings["states"][index])]
    hour = datetime.fromtimestamp(first.timestamp() + index * 3600, UTC)
    needs = [_need(row, index) for row in workings["needs"]]
    limiting = workings["limiting"][index]
    chances = workings["chances"]
    keep = ("made_at", "site", "forecast", "job", "label", "kind", "surface", "why", "duration_min")
    return {
        **{key: workings[key] for key in keep},
        "time": hour.astimezone(zone).isoformat(),
        "state": state,
        "score": workings["scores"][index],
        "chance": None if chances is None else chances[index],
        "limiting": {
            "need": needs[limiting]["need"],
            "says": _says(state, workings["needs"][limiting], index),
        },
        "needs": needs,
        "would_have_to_change": [row["wants"] for row in needs if row["wants"]],
        "cautions": workings["cautions"],
    }


def _row(row: dict[str, Any]) -> SimpleNamespace:
    keys = ("label", "unit", "hard_min", "best_from", "best_to", "hard_max", "low", "high")
    return SimpleNamespace(**{key: row.get(key) for key in keys})


def _value(row: dict[str, Any], index: int) -> float | None:
    low = row["values"][index]
    high = row.get("values_high", row["values"])[index]
    if low is None or high is None or low == high:
        return None if low is None else float(low)
    return float(high if roomier(_row(row), low, high) else low)


def _says(state: str, row: dict[str, Any], index: int) -> str:
    value = _value(row, index)
    return sentence(state, _row(row), value if value is not None else float("inf"))


def _need(row: dict[str, Any], index: int) -> dict[str, Any]:
    room = row["room"][index]
    value = _value(row, index)
    verdict = _verdict(row, index)
    facts = _row(row)
    wants = ""
    if verdict.startswith("fails"):
        wants = f"{clause(facts, value if value is not None else 0.0)}: {held_against(facts, value or 0.0)}"
    return {
        "need": row["id"],
        "label": row["label"],
        "value": value,
        "unit": row["unit"],
        "when": when_words(row),
        "limits": {key: row[key] for key in ("hard_min", "best_from", "best_to", "hard_max")},
        "room": room,
        "verdict": verdict,
        "optional": row["optional"],
        "from_label": row["from_label"],
        "source": row["source"],
        "confidence": row["confidence"],
        "wants": wants,
    }


#: Letters under which a verdict is stored, in `verdicts` of the workings.
VERDICTS = {"h": "holds", "j": "only just", "f": "fails", "u": "not read"}


def _verdict(row: dict[str, Any], index: int) -> str:
    verdict = VERDICTS[row["verdicts"][index]]
    return "fails after" if verdict == "fails" and row["is_after"] else verdict


def when_words(row: dict[str, Any]) -> str:
    """Which hours a need looks at, in words."""
    kind = row.get("kind", "limit")
    if kind == "gap":
        return f"{row['direction']} {', '.join(row['other']).replace('_', ' ')}"
    if kind == "clock":
        return f"{row['opens']} to {row['closes']}"
    if kind != "limit":
        return str(kind)
    first, last = row["hours"]
    if row["when"] == "before":
        return f"{first:g} to {last:g} h before"
    if row["when"] == "after":
        return f"{first:g} to {last:g} h after the end"
    if row["when"] == "start":
        return "at the start"
    extra = [f"{first:g} h before" if first else "", f"{last:g} h after" if last else ""]
    return " and ".join(["during", *(part for part in extra if part)])
