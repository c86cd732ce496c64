"""What lies ahead as a graph card of a home dashboard takes it: rows of plain values, short enough for one message.

Times are ISO 8601: on the site's clock, but for the hours, which are in UTC with a Z as in
`/api/v1/hours`. What is not known is None: a graph shows a gap there, and no nought.
"""

from __future__ import annotations

from collections.abc import Iterable
from datetime import timedelta

from planner.reports.headline import cut
from planner.reports.rows import DayRow, JobRow, Report
from planner.terms import in_utc

Plain = str | float | int | None
Rows = list[dict[str, Plain]]

#: Hours told. A hub keeps no attributes above 16 kB (`MAX_STATE_ATTRS_BYTES` of its recorder).
_HOURS = 48
_COLUMNS = ("air_temp_c", "grass_temp_c", "rain_mm", "wind_2m_kmh")
_MOST_WARNINGS = 12
_MOST_WINDOWS = 12


def hours_ahead(report: Report) -> Rows:
    """The next 48 hours: air, grass, rain and wind at 2 m, an hour a row, labelled by its start."""
    found = report.hours
    columns = {name: found.columns.get(name) for name in _COLUMNS}
    rows: Rows = []
    for at in range(min(found.count, _HOURS)):
        row: dict[str, Plain] = {"time": in_utc(found.first + at * timedelta(hours=1))}
        row |= {name: None if values is None else values[at] for name, values in columns.items()}
        rows.append(row)
    return rows


def days_ahead(report: Report) -> Rows:
    """A row a day: figures of the site's first surface, and the wash of the surface most at risk."""
    dates: dict[str, list[DayRow]] = {}
    for row in report.days:
        dates.setdefault(row.date, []).append(row)
    rows: Rows = []
    for date, found in dates.items():
        first = found[0]
        rows.append(
            {
                "date": date,
                "growth_potential": first.growth_potential,
                "frost_risk": first.frost_risk,
                "grass_min_c": first.grass_min_c,
                "rain_mm": first.rain_mm,
                "soil_temp_c": first.soil_temp_c,
                "rain_wash_risk": highest(row.rain_wash_risk for row in found),
            }
        )
    return rows


def windows_ahead(report: Report, row: JobRow) -> Rows:
    """The windows of a job on a surface in order of time; of a stale forecast every state is `unread`."""
    mine = [one for one in report.windows if (one.job, one.surface) == (row.job, row.surface)]
    mine.sort(key=lambda one: one.start.timestamp())
    return [
        {
            "start": one.start.isoformat(),
            "end": one.end.isoformat(),
            "latest_start": one.latest_start.isoformat(),
            "state": "unread" if report.forecast.stale else one.state,
            "score": one.score,
            "limiting": cut(one.limiting.says),
        }
        for one in mine[:_MOST_WINDOWS]
    ]


def warnings_ahead(report: Report) -> Rows:
    """The warnings in force, the gravest first."""
    return [
        {
            "kind": one.kind,
            "level": one.level,
            "surface": one.surface,
            "begins": one.begins.isoformat(),
            "ends": None if one.ends is None else one.ends.isoformat(),
            "says": cut(one.says),
        }
        for one in report.warnings[:_MOST_WARNINGS]
    ]


def highest(values: Iterable[float | None]) -> float | None:
    """The highest of the values that are known; None where none is."""
    return max((value for value in values if value is not None), default=None)
