"""The workings behind every verdict, as columns: kept with the report, an hour of them shown when asked.

A column is the figures of a need, or its margins, at every start hour; jobs and surfaces that share one share its
place in the table. Made by a pass; read without a numerical library.
"""

from __future__ import annotations

from collections.abc import Iterable
from datetime import datetime
from struct import unpack_from
from typing import Literal

from msgspec import Struct

from planner.reports.rows import JobRow

#: Hours before the pass that can still be asked about.
HOURS_BEFORE = 24
#: Bytes of a figure: IEEE 754, eight bytes, little-endian; NaN where it is unknown.
_BYTES = 8


class NeedFacts(Struct, frozen=True, kw_only=True):
    """What a need asks, as the rules have it."""

    id: str
    label: str
    unit: str
    hard_min: float | None
    best_from: float | None
    best_to: float | None
    hard_max: float | None
    low: str
    high: str
    when: str
    """Which hours it looks at, in words."""
    is_after: bool
    optional: bool
    from_label: bool
    source: str
    confidence: Literal["A", "B", "C"]


class NeedColumns(Struct, frozen=True, kw_only=True):
    """A need of one job on one surface: its facts, and where its columns stand in the table."""

    facts: int
    low: int
    high: int
    margin: int


class JobWorkings(JobRow, frozen=True, kw_only=True):
    """The verdicts of one job on one surface at every start hour."""

    why: str
    duration_min: float
    cautions: tuple[str, ...]
    states: bytes
    """One code an hour."""
    limiting: bytes
    """One number of a need an hour."""
    score: int
    share: int | None
    needs: tuple[NeedColumns, ...]


class Workings(Struct, frozen=True, kw_only=True):
    """The workings of a pass."""

    first: datetime
    """The first start hour, UTC."""
    count: int
    facts: tuple[NeedFacts, ...]
    columns: tuple[bytes, ...]
    jobs: tuple[JobWorkings, ...]

    def figure(self, column: int, hour: int) -> float:
        """The figure of a column at a start hour; NaN where it is unknown."""
        found: float = unpack_from("<d", self.columns[column], hour * _BYTES)[0]
        return found

    def of(self, job: str, surface: str) -> JobWorkings | None:
        """The workings of a job on a surface, if it is judged there."""
        return next((one for one in self.jobs if (one.job, one.surface) == (job, surface)), None)

    def needs_of(self, job: JobWorkings) -> Iterable[NeedFacts]:
        """The facts of the needs of a job on its surface."""
        return (self.facts[need.facts] for need in job.needs)
