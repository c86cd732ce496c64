"""The table of gaps between jobs: one row makes the needs of both jobs that it stands between.

What is done must leave the job that follows its time: told of the later job it is a need since, told of the
earlier one a need until. Writing one row for both keeps them from drifting apart.
"""

from __future__ import annotations

from collections.abc import Iterable
from typing import Any, Literal

from pydantic import BaseModel, ConfigDict, Field, model_validator


class GapRow(BaseModel):
    """Least and better time between work done and work that follows on the same surface."""

    model_config = ConfigDict(frozen=True, extra="forbid")

    id: str = Field(min_length=1, description="Short name; needs are called after_ID and before_ID.")
    done: tuple[str, ...] = Field(min_length=1, description="Jobs or kinds that come first.")
    next: tuple[str, ...] = Field(min_length=1, description="Jobs or kinds that follow.")
    least: float = Field(ge=0, description="Below this the later job is barred.")
    better: float | None = Field(default=None, ge=0, description="Comfortable from here.")
    unit: Literal["h", "d"] = "d"
    after: str = Field(description="What is done, in words: `time since ...`.")
    before: str = Field(description="What follows, in words: `time to ...`.")
    low: str = Field(description="Clause for people when the gap is too short.")
    source: str = Field(default="common practice, no source")
    confidence: Literal["A", "B", "C"] = "C"
    from_label: bool = False

    @model_validator(mode="after")
    def _in_order(self) -> GapRow:
        if self.better is not None and self.better < self.least:
            raise ValueError(f"better {self.better:g} lies below least {self.least:g}")
        return self


def needs_of(rows: Iterable[GapRow], job: str, kind: str) -> list[tuple[int, dict[str, Any]]]:
    """The needs that the rows make for a job, each with the number of its row."""
    needs = []
    for number, row in enumerate(rows):
        if job in row.next or kind in row.next:
            needs.append((number, _need(row, "since")))
        if job in row.done or kind in row.done:
            needs.append((number, _need(row, "until")))
    return needs


def _need(row: GapRow, direction: str) -> dict[str, Any]:
    since = direction == "since"
    return {
        "id": f"{'after' if since else 'before'}_{row.id}",
        "kind": "gap",
        "label": f"time since {row.after}" if since else f"time to {row.before}",
        "unit": row.unit,
        "direction": direction,
        "other": list(row.done if since else row.next),
        "hard_min": row.least,
        "best_from": row.better if row.better is not None else row.least,
        "low": row.low if since else f"too soon before {row.before}",
        "source": row.source,
        "confidence": row.confidence,
        "from_label": row.from_label,
    }
