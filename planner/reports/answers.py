"""The answers of the outside contract: a part of a report each, filtered where less is asked for.

The JSON of the commands and of HTTP is these rows, encoded; the schemas in `/openapi.json` are these types.
"""

from __future__ import annotations

import csv
import io
from collections.abc import Mapping, Sequence
from datetime import UTC, date, datetime, timedelta
from typing import TypeVar

import msgspec

from planner.errors import OtherSchema, require_known
from planner.reports.mine import of_mine
from planner.reports.rows import (
    BarredRow,
    DayRow,
    ElsewhereRow,
    EndedRow,
    Head,
    HourColumns,
    JobRow,
    LeftRow,
    NotReadRow,
    Report,
    RibbonRow,
    WarningRow,
    WeekRow,
    WindowRow,
    WorkRow,
)
from planner.reports.surface_rows import DueRow, GroundRow, SprayRow, SurfaceRow
from planner.reports.workings import Workings

HourRow = dict[str, datetime | float | None]
Job = TypeVar("Job", bound=JobRow)


class Days(Head, frozen=True, kw_only=True):
    """Indices per local day and surface."""

    days: tuple[DayRow, ...]


class Windows(Head, frozen=True, kw_only=True):
    """All windows in order of rank, and the jobs that have none soon."""

    windows: tuple[WindowRow, ...]
    barred: tuple[BarredRow, ...]


class Warnings(Head, frozen=True, kw_only=True):
    """What is about to go wrong, what has ended, and what cannot be read."""

    warnings: tuple[WarningRow, ...]
    ended: tuple[EndedRow, ...]
    not_read: tuple[NotReadRow, ...]


class Ribbons(Head, frozen=True, kw_only=True):
    """Every hour's state and cause, in runs."""

    ribbons: tuple[RibbonRow, ...]


class Ground(Head, frozen=True, kw_only=True):
    """How each surface is underfoot, and the seed in it."""

    surfaces: tuple[GroundRow, ...]


class DueWork(Head, frozen=True, kw_only=True):
    """What is due and by when, and how each surface stands."""

    due: tuple[DueRow, ...]
    surfaces: tuple[SurfaceRow, ...]
    sprays: tuple[SprayRow, ...]


class Week(Head, frozen=True, kw_only=True):
    """The week's order, and what found no hour."""

    days: int
    hours_a_day: float | None
    method: str
    says: str
    work: tuple[WorkRow, ...]
    left: tuple[LeftRow, ...]
    planned: tuple[WorkRow, ...]
    done: tuple[LeftRow, ...]
    elsewhere: tuple[ElsewhereRow, ...]


class Demo(Head, frozen=True, kw_only=True):
    """Everything that the demo shows."""

    windows: tuple[WindowRow, ...]
    barred: tuple[BarredRow, ...]
    days: tuple[DayRow, ...]
    warnings: tuple[WarningRow, ...]
    week: tuple[WorkRow, ...]


Answer = TypeVar("Answer", bound=Head)


def _answer(kind: type[Answer], report: Report, **parts: object) -> Answer:
    """The head of the report with the parts."""
    return kind(
        schema=report.schema,
        made_at=report.made_at,
        as_of=report.as_of,
        site=report.site,
        place=report.place,
        forecast=report.forecast,
        **parts,
    )


def days(report: Report, *, surface: str | None = None) -> Days:
    """Days, of one surface where one is named. NotKnown for another name."""
    _require_names(report, None, surface)
    return _answer(Days, report, days=tuple(row for row in report.days if surface in (None, "", row.surface)))


def windows(
    report: Report,
    *,
    job: str | None = None,
    surface: str | None = None,
    day: date | None = None,
    mine: bool = False,
) -> Windows:
    """Windows and barred jobs, of one job or kind, surface or local day. NotKnown for another name.

    `mine`: where no job is named, only those of this keeper.
    """
    _require_names(report, job, surface)
    found, barred = _chosen(report.windows, job, surface), _chosen(report.barred, job, surface)
    if mine and not job:
        found, barred = of_mine(report, found), of_mine(report, barred)
    return _answer(
        Windows,
        report,
        windows=tuple(
            row for row in found if day is None or row.start.date() <= day <= row.latest_start.date()
        ),
        barred=barred,
    )


def warnings(report: Report) -> Warnings:
    """Warnings, the gravest first."""
    return _answer(Warnings, report, warnings=report.warnings, ended=report.ended, not_read=report.not_read)


def ribbons(report: Report, *, job: str | None = None, surface: str | None = None) -> Ribbons:
    """Runs of hours, of one job or kind or surface. NotKnown for another name."""
    _require_names(report, job, surface)
    return _answer(Ribbons, report, ribbons=_chosen(report.ribbons, job, surface))


def ground(report: Report) -> Ground:
    """The ground underfoot."""
    return _answer(Ground, report, surfaces=report.ground)


def due(report: Report) -> DueWork:
    """What is due."""
    return _answer(DueWork, report, due=report.due, surfaces=report.surfaces, sprays=report.sprays)


def week(report: Report) -> Week:
    """The week in order."""
    parts = {name: getattr(report.week, name) for name in WeekRow.__struct_fields__}
    return _answer(Week, report, **parts)


def demo(report: Report) -> Demo:
    """What the demo shows."""
    return _answer(
        Demo,
        report,
        windows=report.windows,
        barred=report.barred,
        days=report.days,
        warnings=report.warnings,
        week=report.week.work,
    )


def hours(report: Report) -> list[HourRow]:
    """One flat row an hour; times in UTC."""
    return hour_rows(report.hours)


def hour_rows(hours: HourColumns) -> list[HourRow]:
    """Columns turned into rows, each with its `time` in UTC."""
    first, names = hours.first.astimezone(UTC), list(hours.columns)
    values = zip(*hours.columns.values(), strict=True)
    return [
        {"time": first + timedelta(hours=number), **dict(zip(names, row, strict=True))}
        for number, row in enumerate(values)
    ]


def hours_csv(report: Report) -> bytes:
    """The hours as CSV; an unknown figure is an empty cell."""
    return csv_of([{**row, "time": f"{row['time']:%Y-%m-%dT%H:%M:%SZ}"} for row in hours(report)]).encode()


def csv_of(rows: Sequence[Mapping[str, object]]) -> str:
    """Rows as CSV: every column that any of them has; what is not known is empty."""
    out = io.StringIO()
    if rows:
        names = list(dict.fromkeys(name for row in rows for name in row))
        writer = csv.DictWriter(out, fieldnames=names, lineterminator="\n")
        writer.writeheader()
        writer.writerows({name: _plain(value) for name, value in row.items()} for row in rows)
    return out.getvalue()


#: A text that begins like this is worked out by a spreadsheet that opens the file.
_FORMULA = ("=", "+", "-", "@", "\t", "\r")


def _plain(value: object) -> object:
    """A text that a spreadsheet takes for text; figures are left alone."""
    return f"'{value}" if isinstance(value, str) and value.startswith(_FORMULA) else value


def _require_names(report: Report, job: str | None, surface: str | None) -> None:
    if job:
        kinds = [row.kind for row in report.ribbons]
        require_known("job", job, [*(row.job for row in report.ribbons), *kinds])
    if surface:
        require_known("surface", surface, [row.surface for row in report.ground])


def _chosen(rows: tuple[Job, ...], job: str | None, surface: str | None) -> tuple[Job, ...]:
    return tuple(
        row
        for row in rows
        if (not job or job in (row.job, row.kind)) and (not surface or row.surface == surface)
    )


def encode(answer: object) -> bytes:
    """Compact JSON of rows; a figure that is not a number is null."""
    return msgspec.json.encode(answer)


_REPORT = msgspec.json.Decoder(Report)
_WORKINGS = msgspec.msgpack.Decoder(Workings)


def encode_report(report: Report) -> bytes:
    """A report as it is kept."""
    return msgspec.json.encode(report)


def decode_report(body: bytes) -> Report:
    """A report as it was kept. OtherSchema when it is of another shape."""
    try:
        return _REPORT.decode(body)
    except msgspec.DecodeError as error:
        raise OtherSchema(
            f"The stored report cannot be read ({error}); the next pass replaces it."
        ) from error


def encode_workings(workings: Workings) -> bytes:
    """Workings as they are kept: msgpack, since columns are bytes."""
    return msgspec.msgpack.encode(workings)


def decode_workings(body: bytes) -> Workings:
    """Workings as they were kept. OtherSchema when they are of another shape."""
    try:
        return _WORKINGS.decode(body)
    except msgspec.DecodeError as error:
        raise OtherSchema(
            f"The stored workings cannot be read ({error}); the next pass replaces them."
        ) from error
