"""Days, hours and warnings as rows."""

from __future__ import annotations

from dataclasses import fields
from datetime import timedelta

from planner.indices.outlook import DayFigures
from planner.reports.assessment import Assessment
from planner.reports.rows import DayRow, EndedRow, HourColumns, NotReadRow, WarningRow
from planner.reports.verdicts import all_known
from planner.warnings.base import Notice
from planner.warnings.life import OVER, body
from planner.weather import VARIABLES, mean_of_members

#: Indices that go into the hourly rows beside the weather columns.
HOURLY_INDICES = (
    "wind_2m_kmh",
    "delta_t_k",
    "surface_temp_c",
    "grass_temp_c",
    "leaf_wet",
    "inversion_likely",
    "sun_altitude_deg",
    "soil_temp_c",
)

_DAY = tuple(field.name for field in fields(DayFigures))


def day_rows(assessment: Assessment) -> tuple[DayRow, ...]:
    """Indices per local day and surface, day by day."""
    zone = assessment.plan.conditions.site.zone
    rows = [
        DayRow(
            surface=surface,
            **{name: getattr(day, name) for name in _DAY}
            | {"date": f"{day.date}", "off_frost_at": day.off_frost_at and day.off_frost_at.astimezone(zone)},
        )
        for surface, days in assessment.days.items()
        for day in days
    ]
    return tuple(sorted(rows, key=lambda row: row.date))


def hour_columns(assessment: Assessment) -> HourColumns:
    """Weather and indices of the sky from the hour of the pass on."""
    sky = assessment.plan.conditions.sky
    weather = sky.weather
    first = max(0, weather.index(assessment.made_at))
    names = [variable.name for variable in VARIABLES if variable.name in weather]
    names += [name for name in HOURLY_INDICES if name not in names]
    return HourColumns(
        first=weather.time(first),
        count=weather.hours - first,
        columns={name: tuple(all_known(mean_of_members(sky[name][:, first:]), 3)) for name in names},
    )


def warning_rows(assessment: Assessment) -> tuple[WarningRow, ...]:
    """What is about to go wrong, the gravest first."""
    return tuple(_warning_row(assessment, notice) for notice in assessment.notices)


def _warning_row(assessment: Assessment, notice: Notice) -> WarningRow:
    zone = assessment.plan.conditions.site.zone
    states = assessment.life.states if assessment.life is not None else ()
    life = next((one for one in states if one.id == notice.id), None)
    return WarningRow(
        id=notice.id,
        kind=notice.kind,
        surface=notice.surface,
        begins=notice.begins.astimezone(zone),
        ends=None if notice.ends is None else notice.ends.astimezone(zone),
        lead_h=round((notice.begins - assessment.made_at) / timedelta(hours=1), 1),
        level=notice.level,
        state=None if life is None else life.state,
        since=None if life is None else life.first_at.astimezone(zone),
        chance=notice.chance,
        share=notice.share,
        says=notice.says,
        advice=notice.advice,
        figures=dict(notice.figures),
    )


def ended_rows(assessment: Assessment) -> tuple[EndedRow, ...]:
    """Warnings that this pass ended: nothing goes without a word."""
    news = assessment.life.news if assessment.life is not None else ()
    return tuple(EndedRow(id=one.id, says=body(one)) for one in news if one.state == OVER)


def not_read_rows(assessment: Assessment) -> tuple[NotReadRow, ...]:
    """Kinds of warning that cannot be read within their look-ahead."""
    zone = assessment.plan.conditions.site.zone
    return tuple(
        NotReadRow(kind=one.kind, begins=one.begins.astimezone(zone), says=one.says)
        for one in assessment.not_read
    )
