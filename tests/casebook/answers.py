"""Questions to the answers of a pass, asked as a keeper asks: does it hold then, and if not, why?

A pass is computed as `haysel windows --forecast FILE --now TIME --config FILE` computes it. A start hour is held
against what `windows` offers and what `explain` says of it. Hours are local, days count from the day of asking.
"""

from __future__ import annotations

import re
from collections.abc import Iterable, Sequence
from datetime import datetime, timedelta
from pathlib import Path
from typing import Any

from planner.cli.options import Source, compute
from planner.reports import answers
from planner.reports.explain import Explanation, explain
from planner.reports.now import now as flat_now
from planner.reports.rows import BarredRow, DayRow, Report, WarningRow, WindowRow, WorkRow
from planner.reports.workings import Workings
from tests.casebook.recipes import Sky
from tests.casebook.sites import NORTH, Row, write_site

HOLDS = ("steady", "narrow")
FAILS = ("barred", "broken")


def ask(
    folder: Path, sky: Sky, hour: int, surfaces: Sequence[Row], *, place: Row = NORTH, **site: Any
) -> Found:
    """The answers of a pass at a local hour of the day of asking."""
    path = write_site(folder, surfaces, place=place, **site)
    hours = sky.write(folder / "hours.csv")
    return Found(path, hours, sky, sky.at(0, hour))


class Found:
    """The answers of one pass."""

    def __init__(self, config: Path, hours: Path, sky: Sky, now: datetime) -> None:
        report, workings = compute(Source(str(config), str(hours), now.isoformat()))
        self._take(report, workings, sky, now)

    @classmethod
    def of(cls, report: Report, workings: Workings, sky: Sky, now: datetime) -> Found:
        """The answers of a pass that was made with a diary."""
        found = cls.__new__(cls)
        found._take(report, workings, sky, now)
        return found

    def _take(self, report: Report, workings: Workings, sky: Sky, now: datetime) -> None:
        self.report, self.workings, self.sky, self.now = report, workings, sky, now
        self.offered, self.week = answers.windows(report), answers.week(report)

    def explain(self, job: str, surface: str, day: int, hour: int, minute: int = 0) -> Explanation:
        """Everything behind a start."""
        return explain(self.report, self.workings, job, self.sky.at(day, hour, minute), surface)

    def state(self, job: str, surface: str, day: int, hour: int) -> str:
        """The state of a start hour."""
        return self.explain(job, surface, day, hour).state

    def windows(self, job: str, surface: str) -> list[WindowRow]:
        """Windows of a job on a surface, the first of rank first."""
        return [row for row in self.offered.windows if (row.job, row.surface) == (job, surface)]

    def starts(self, job: str, surface: str, day: int | None = None) -> list[int]:
        """Local start hours that are offered: of one day its hours, of all days hours from its midnight on."""
        midnight = self.sky.at(0, 0)
        found = [
            int((hour.start - midnight) // timedelta(hours=1))
            for row in self.windows(job, surface)
            for hour in row.hours
        ]
        return sorted(one - 24 * (day or 0) for one in found if day is None or 0 <= one - 24 * day < 24)

    def days_offered(self, job: str, surface: str) -> list[int]:
        """Days with an offered start."""
        return sorted({start // 24 for start in self.starts(job, surface)})

    def barred(self, job: str, surface: str) -> BarredRow:
        """What is said of a job without a window soon."""
        return next(row for row in self.offered.barred if (row.job, row.surface) == (job, surface))

    def why(self, job: str, surface: str, day: int, hour: int) -> str:
        """Every reason that `explain` gives against a start: what limits it, and each need that is not roomy."""
        found = self.explain(job, surface, day, hour)
        against = [row for row in found.needs if row.verdict not in ("holds", "not read")]
        return "; ".join(
            [
                found.limiting.says,
                *(f"{row.label} {row.wants}" for row in against),
                *found.would_have_to_change,
            ]
        )

    def warnings(self, kind: str = "", surface: str = "") -> list[WarningRow]:
        """Warnings, of a kind, for a surface or for all of them."""
        return [
            row
            for row in answers.warnings(self.report).warnings
            if (not kind or row.kind == kind) and (not surface or row.surface in (surface, None))
        ]

    def day(self, surface: str, day: int) -> DayRow:
        """The figures of a day on a surface."""
        date = f"{self.sky.at(day, 12):%Y-%m-%d}"
        return next(row for row in self.report.days if (row.surface, row.date) == (surface, date))

    def work(self, job: str = "", surface: str = "") -> list[WorkRow]:
        """Rows of the week in order of time."""
        return [
            row
            for row in self.week.work
            if (not job or row.job == job) and (not surface or row.surface == surface)
        ]

    def work_days(self, job: str, surface: str = "") -> list[int]:
        """The days on which the week places a job."""
        midnight = self.sky.at(0, 0)
        return [(row.start.date() - midnight.date()).days for row in self.work(job, surface)]

    def left(self, job: str) -> str:
        """What is said of a job that found no hour; empty where it is not told."""
        return "; ".join(f"{row.says} {row.because}" for row in self.week.left if row.job == job)

    def now_object(self) -> dict[str, Any]:
        """The flat object of a home dashboard."""
        return dict(flat_now(self.report))

    # What is decided

    def holds(self, job: str, surface: str, day: int, hours: int | Iterable[int]) -> None:
        """Every one of these starts is offered, and `explain` agrees."""
        for hour in [hours] if isinstance(hours, int) else hours:
            said = f"{job} on day {day} at {hour}: {self.why(job, surface, day, hour)}"
            assert self.state(job, surface, day, hour) in HOLDS, said
            assert hour in self.starts(job, surface, day), said

    def holds_within(self, job: str, surface: str, day: int, hours: Iterable[int]) -> None:
        """At least one of these starts is offered."""
        hours = list(hours)
        found = set(self.starts(job, surface, day)) & set(hours)
        assert found, f"{job} on day {day}: {self.why(job, surface, day, hours[len(hours) // 2])}"

    def fails(self, job: str, surface: str, day: int, hours: int | Iterable[int], matter: str = ".") -> None:
        """None of these starts is offered, and `explain` names the matter of the reason."""
        for hour in [hours] if isinstance(hours, int) else hours:
            why = self.why(job, surface, day, hour)
            state = self.state(job, surface, day, hour)
            assert state in FAILS, f"{job} on day {day} at {hour} is {state}: {why}"
            assert hour not in self.starts(job, surface, day)
            assert re.search(matter, why, re.IGNORECASE), f"{job} on day {day} at {hour}: {why}"

    def is_not_steady(
        self, job: str, surface: str, day: int, hours: int | Iterable[int], matter: str
    ) -> None:
        """Each of these starts is narrow, broken or barred, and the matter of the reason is named."""
        for hour in [hours] if isinstance(hours, int) else hours:
            why = self.why(job, surface, day, hour)
            state = self.state(job, surface, day, hour)
            assert state in ("narrow", *FAILS), f"{job} on day {day} at {hour} is {state}: {why}"
            assert re.search(matter, why, re.IGNORECASE), f"{job} on day {day} at {hour}: {why}"

    def never(self, job: str, surface: str, matter: str = ".", *, days: Iterable[int] | None = None) -> None:
        """No start is offered at all, or none on these days; and what is said of it names the matter."""
        wrong = set(self.days_offered(job, surface)) & set(days if days is not None else range(60))
        assert not wrong, f"{job} is offered on {sorted(wrong)}"
        if days is None:
            row = self.barred(job, surface)
            told = f"{row.because.says} {' '.join(one.label for one in row.because.also)}"
            assert re.search(matter, told, re.IGNORECASE), told
